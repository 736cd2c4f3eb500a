"""Suspect parts by the API: held by what they are found by, sorted, released, and looked up years later."""

import asyncio
import dataclasses
import json
from typing import Any

import httpx
import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from server import clock
from server.access.actors import OPEN, Actor
from server.contract import SHOT_COLUMNS
from server.derived.shift_summary import summarise
from server.record.presses import configure_mold
from server.routes import containments, problems
from server.show.build_containment import Complaint, _without_held, build_containment
from server.show.build_plant import Wanted, build_plant
from server.show.frame import Actor as Shown
from server.show.more_pages import SuspectRow
from server.show.plant_words import Plant as PlantWords
from server.show.plant_words import plant_at
from server.store.audit import audit_of
from server.store.containments import Containment
from server.store.database import Store
from server.store.plant import Setup, keep_setup, need_press, put_press, setup_digest
from server.store.shots import note_arrival, store_shots
from server.words.times import Zone
from server.words.units import Units
from tests.contract.reading_plant import START, As, Objects

CYCLE, COUNT = 20_000, 3_000
NOW = START + COUNT * CYCLE
SIGNALS = ("part_weight_g",)
AT = {"since": "2026-04-01T08:00:00Z", "until": "2026-04-01T10:00:00Z", "why": "short parts at the line"}


class Plant:
    """The routes of held parts over a store, used by somebody with every permission."""

    actor: Actor = OPEN

    def __init__(self, store: Store) -> None:
        app = FastAPI()
        app.include_router(containments.router)
        problems.install(app)
        self.objects = Objects(store, None, NOW)  # type: ignore[arg-type]  # these routes read no settings
        app.state.ringtell = self.objects
        self.app = As(app, self)  # type: ignore[arg-type]  # it asks for an actor alone

    def send(self, method: str, path: str, body: Any = None, expected: int = 200) -> Any:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
                return await client.request(method, f"/api/v1{path}", json=body)

        answer = asyncio.run(ask())
        assert answer.status_code == expected, answer.text
        return answer.json()


def fill(c: sa.Connection) -> None:
    """Two molds on one press, the second from the shot 500 on; a box every 100 shots, a lot every 1,000."""
    put_press(c, "P07", {"screw_diameter_mm": 45.0, "accepted": True}, now_ms=START)
    limits = {"limits": {"part_weight_g": {"lower": 9.0, "upper": 11.0}}, "demand": {"ppk": 1.33}}
    configure_mold(c, "M-2", limits, who="mara", signals=SIGNALS, now_ms=START)
    configure_mold(c, "M-1", {"part": "cap"}, who="mara", signals=SIGNALS, now_ms=START)
    press_id = need_press(c, "P07").press_id
    rows = []
    for mold in ("M-1", "M-2"):
        setup_id = setup_digest(mold, "PP-DEMO", "", "{}")
        keep_setup(c, Setup(press_id, setup_id, mold, "PP-DEMO", "", "{}", START))
        for i in range(COUNT):
            if (i >= 500) == (mold == "M-2"):
                given = {
                    "part_weight_g": 10.0 + 0.1 * ((i * 7919) % 13 - 6) / 6,
                    "box": str(2000 + i // 100),
                    "lot": f"L{i // 1000}",
                    "serial": f"S{i:05}",
                }
                rows.append((START + i * CYCLE, i, setup_id, *(given.get(name) for name in SHOT_COLUMNS)))
    store_shots(c, press_id, rows)
    note_arrival(c, press_id, last_shot_ms=NOW - CYCLE, last_counter=COUNT - 1, now_ms=NOW)


@pytest.fixture
def plant(any_store: Store) -> Plant:
    any_store.write(fill)
    return Plant(any_store)


def test_suspect_shots_are_held_mold_by_mold_with_all_they_are_found_by(plant: Plant) -> None:
    held = plant.send("POST", "/presses/P07/containments", AT, 201)["items"]
    one, other = held
    assert [(item["containment"], item["mold"], item["state"]) for item in held] == [
        (1, "M-1", "held"),
        (2, "M-2", "held"),
    ]
    # 06:00 is the first shot; 08:00 to 10:00 are the shots 360 to 720, the mold changes at 500.
    assert (one["shots"], other["shots"]) == (140, 221)
    assert (one["boxes"], one["lots"]) == (["2003", "2004"], ["L0"])
    assert (other["serials"][0], other["serial_count"]) == ("S00500", 221)
    assert other["shifts"][0]["name"]
    with plant.objects.store.read() as connection:
        rows = audit_of(connection, need_press(connection, "P07").press_id)
    assert [row.action for row in rows].count("containment_held") == 2


def test_held_parts_are_sorted_and_released_each_signed(plant: Plant) -> None:
    plant.send("POST", "/presses/P07/containments", AT, 201)
    at = "/presses/P07/containments/2"
    plant.send("POST", f"{at}/sort", {"parts_checked": 200, "parts_bad": 7, "note": "short at gate 2"})
    assert plant.send("GET", at)["state"] == "sorted"
    plant.send("POST", f"{at}/release", {"note": "bad ones scrapped"})
    one = plant.send("GET", at)
    assert one["state"] == "released"
    assert [(s["action"], s["parts_bad"], s["note"]) for s in one["steps"]] == [
        ("sorted", 7, "short at gate 2"),
        ("released", None, "bad ones scrapped"),
    ]
    assert all(step["who"] and step["at"] for step in one["steps"])
    assert [item["containment"] for item in plant.send("GET", "/containments")["items"]] == [1]
    assert len(plant.send("GET", "/containments?state=all")["items"]) == 2
    plant.send("POST", f"{at}/release", {"note": "again"}, 409)
    plant.send("POST", f"{at}/sort", {"parts_checked": 1, "parts_bad": 0}, 409)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({**AT, "why": ""}, "why"),
        ({"why": "no onset is known"}, "since"),
        ({**AT, "since": "2026-04-01T11:00:00Z"}, "since"),
        ({**AT, "boxes": ["1"]}, "boxes"),
    ],
)
def test_what_cannot_be_held_says_which_field_and_the_way_out(
    plant: Plant, body: dict[str, Any], field: str
) -> None:
    problem = plant.send("POST", "/presses/P07/containments", body, 422)
    assert field in json.dumps(problem)
    assert plant.send("GET", "/containments?state=all")["items"] == []


def test_shots_are_held_once_and_released_with_a_reason_where_nobody_sorted(plant: Plant) -> None:
    plant.send("POST", "/presses/P07/containments", AT, 201)
    plant.send("POST", "/presses/P07/containments", AT, 409)
    problem = plant.send("POST", "/presses/P07/containments/1/release", {}, 422)
    assert "sorted" in problem["detail"]
    plant.send("POST", "/presses/P07/containments/1/sort", {"parts_checked": 5, "parts_bad": 6}, 422)
    plant.send("GET", "/presses/P07/containments/9", expected=404)


def test_a_complaint_finds_its_shots_and_the_capability_of_that_day(plant: Plant) -> None:
    plant.send("POST", "/presses/P07/containments", AT, 201)
    (found,) = plant.send("GET", "/presses/P07/complaint?box=2005")["items"]
    assert (found["mold"], found["shots"], found["containments"]) == ("M-2", 100, [2])
    assert found["likelihood"] is None
    assert found["demand_ppk"] == 1.33
    assert found["ppk"] > 1.33
    (single,) = plant.send("GET", "/presses/P07/complaint?serial=S00042")["items"]
    assert (single["mold"], single["shots"], single["containments"]) == ("M-1", 1, [])
    assert single["capability_text"] == "no limits of the drawing were entered"
    assert plant.send("GET", "/presses/P07/complaint?box=none")["items"] == []
    plant.send("GET", "/presses/P07/complaint", expected=422)


def test_the_page_shows_what_is_held_and_what_a_complaint_leads_to(plant: Plant) -> None:
    plant.send("POST", "/presses/P07/containments", AT, 201)
    with plant.objects.store.read() as connection:
        at = plant_at(connection, now_ms=NOW, actor=Shown())
        page = build_containment(connection, at, complaint=Complaint("P07", box="2004"))
    assert page.answer == "Nothing is suspect. Two records of held parts are open."
    assert {row.labels for row in page.held} == {("2003", "2004"), ("2005", "2006", "2007")}
    (found,) = page.found
    assert (found.held, found.alarms) == ("record 1", "none stood open")


def test_open_records_stand_on_the_plant_page_and_in_the_hand_over(plant: Plant) -> None:
    plant.send("POST", "/presses/P07/containments", AT, 201)
    plant.send("POST", "/presses/P07/containments/1/release", {"note": "checked at the customer"})
    expected = ("P07 record 2, M-2: 221 shots held",)
    with plant.objects.store.read() as connection:
        at = plant_at(connection, now_ms=NOW, actor=Shown())
        assert build_plant(connection, at, wanted=Wanted()).parts_held == expected
        assert summarise(connection, now_ms=NOW).as_facts()["parts_held"] == list(expected)


def test_what_is_held_already_is_not_offered_again() -> None:
    at = PlantWords(settings={}, units=Units.chosen(None), zone=Zone("UTC"), now_ms=NOW, actor=Shown())
    row = SuspectRow("P07", "", "", "", "", "", "leak", "", "", "/hold", clock.as_text(START + 10))
    held = Containment(7, 3, "M-1", START, START + 1_000, None, None, "why", 5, {}, "held", "mara", START)
    kept = _without_held(row, {"press_id": 7}, [("P07", held)], at)
    assert kept.since_at == clock.as_text(START + 1_001)
    assert kept.held_text.startswith("Held in record 3 until ")
    assert _without_held(row, {"press_id": 8}, [("P07", held)], at) is row
    later = dataclasses.replace(held, from_ms=START + 20)
    assert _without_held(row, {"press_id": 7}, [("P07", later)], at) is row
