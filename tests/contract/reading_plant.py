"""A small plant for the reading calls: one press whose cushion thins after its baseline."""

import asyncio
import dataclasses
import functools
import json
import random
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import httpx
import sqlalchemy as sa
from fastapi import FastAPI
from starlette.types import ASGIApp, Receive, Scope, Send

from server.access.actors import OPEN, Actor
from server.clock import as_text
from server.contract import SHOT_COLUMNS
from server.evaluate.press import evaluate_press
from server.record.baselines import capture_baseline
from server.routes import problems, reading
from server.settings import Settings
from server.store import evaluation, intake
from server.store.database import Store
from server.store.plant import Setup, keep_setup, need_press, put_mold, put_press, setup_digest
from server.store.quarantine import Apart, keep_apart
from server.store.records import Event, add_event
from server.store.shots import note_arrival, store_shots

PRESS, MOLD = "Q 01 ä+b", "M-1"
AT = "/presses/" + quote(PRESS, safe="")
START, CYCLE = 1_775_023_200_000, 20_000  # 2026-04-01T06:00Z
NOW = START + 6 * 3_600_000
GOOD, ALL = 400, 900
#: The shot from which on the cushion thins.
ONSET = 500


@dataclasses.dataclass
class Objects:
    """What the reading routes take from the application."""

    store: Store
    settings: Settings
    at_ms: int = NOW

    def now_ms(self) -> int:
        return self.at_ms


class As:
    """Lets every request be one actor's."""

    def __init__(self, app: ASGIApp, plant: "Plant") -> None:
        self.app, self.plant = app, plant

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope.setdefault("state", {})["actor"] = self.plant.actor
        await self.app(scope, receive, send)


class Plant:
    """An application of the reading routes alone."""

    def __init__(self, store: Store) -> None:
        self.objects, self.actor = Objects(store, Settings()), OPEN
        app = FastAPI()
        app.include_router(reading.router)
        problems.install(app)
        app.state.ringtell = self.objects
        self.app = As(app, self)

    def ask(self, path: str, accept: str = "application/json") -> httpx.Response:
        async def send() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
                return await client.get("/api/v1" + path, headers={"Accept": accept})

        return asyncio.run(send())

    def get(self, path: str) -> Any:
        answer = self.ask(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def pages(self, path: str, limit: int) -> list[Any]:
        items, cursor = [], ""
        while True:
            body = self.get(f"{path}{'&' if '?' in path else '?'}limit={limit}{cursor}")
            assert len(body["items"]) <= limit
            items += body["items"]
            if body["next_cursor"] is None:
                return items
            cursor = f"&cursor={quote(body['next_cursor'], safe='')}"


def step(i: int) -> tuple[float, float]:
    """Scatter and loss of the cushion, mm: worse from one shot to the next."""
    return (0.05, 0.0) if i < ONSET else (0.12, 1.5)


def ramp(i: int) -> tuple[float, float]:
    """The same, worse little by little."""
    return (0.05, 0.0) if i < ONSET else (0.1, 0.006 * (i - ONSET))


Story = Callable[[int], tuple[float, float]]


def shot(setup_id: int, i: int, random_: random.Random, story: Story) -> tuple[Any, ...]:
    size = 80 + random_.gauss(0, 0.04)
    spread, low = story(i)
    values: dict[str, Any] = {
        "shot_size_mm": round(size, 2),
        "cushion_mm": round(max(0.0, size - 74 - low + random_.gauss(0, spread)), 2),
        "peak_pressure_bar": round(1000 + random_.gauss(0, 4)),
        "fill_time_s": round(1.4 + random_.gauss(0, 0.005), 3),
        "recovery_time_s": round(6 + random_.gauss(0, 0.05), 2),
        "cycle_time_s": 20.0,
        "part_weight_g": round(41.8 + random_.gauss(0, 0.05), 2),
        "lot": "=L1" if i < 600 else "L2",
        "box": f"B{i // 100}",
        "serial": f"S{i:04d}" if i % 2 else None,
        "zone_temps_c": "[220.0, 225.5]" if i == 0 else None,
    }
    at = START + i * CYCLE
    return (at, i, setup_id, *(values.get(name) for name in SHOT_COLUMNS))


def fill(c: sa.Connection, press: str, count: int, story: Story = step) -> int:
    put_press(c, press, {"screw_diameter_mm": 45.0}, now_ms=START)
    press_id = need_press(c, press).press_id
    setup_id = setup_digest(MOLD, "PP-DEMO", "", "{}")
    keep_setup(c, Setup(press_id, setup_id, MOLD, "PP-DEMO", "", "{}", START))
    dice = random.Random(1)
    store_shots(c, press_id, [shot(setup_id, i, dice, story) for i in range(count)])
    last = START + (count - 1) * CYCLE
    note_arrival(c, press_id, last_shot_ms=last, last_counter=count - 1, now_ms=last)
    intake.add(c, press_id, earliest_ms=START, shots=count, reason="shots", now_ms=last)
    return press_id


def record(c: sa.Connection, press: str) -> None:
    """The first shots as the approved baseline."""
    body = {"mold": MOLD, "from": as_text(START), "to": as_text(START + GOOD * CYCLE), "approve": True}
    capture_baseline(c, need_press(c, press), body, who="open", now_ms=NOW)


def evaluate(store: Store, press_id: int) -> None:
    while True:
        with store.read() as c:
            found = evaluate_press(c, press_id)
        if found is None:
            return
        store.write(functools.partial(evaluation.apply, evaluation=found, now_ms=NOW))


def build(store: Store) -> None:
    def first(c: sa.Connection) -> int:
        limits = {"part_weight_g": {"lower": 41.2, "upper": 42.4, "target": 41.8}}
        put_mold(c, MOLD, {"part": "lid", "cavities": 2, "limits": json.dumps(limits)}, now_ms=START)
        put_mold(c, "M-2", {"part": "cup"}, now_ms=START)
        put_press(c, "P-new", {}, now_ms=START)
        fill(c, "P-bare", 20)
        press_id = fill(c, PRESS, ALL)
        for k in range(3):
            at = START + k * 60_000
            add_event(c, Event(press_id, at, 0, "note", "", "", "", "", f"n{k}", "open", at))
        rows = [
            Apart("P-who", "unknown_press", "press", "unknown_press", "not accepted", f"{k}")
            for k in range(3)
        ]
        keep_apart(c, rows, now_ms=NOW)
        record(c, PRESS)
        return press_id

    press_id = store.write(first)
    evaluate(store, press_id)
    with store.read() as c:
        bare = need_press(c, "P-bare").press_id
    evaluate(store, bare)


def key(press: str, scope: str) -> Actor:
    return Actor("key", "", "key", press, frozenset({scope}))
