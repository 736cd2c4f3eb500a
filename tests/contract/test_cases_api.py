"""Cases, setting trials and valves by the API: what people do there, they can do here."""

import asyncio
import dataclasses
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from server.access.actors import OPEN, Actor
from server.record.valves import put_valve
from server.routes import cases, problems, trials, valves
from server.store.audit import audit_of
from server.store.database import Store
from server.store.plant import need_press, put_press
from tests.contract.reading_plant import NOW, As, Objects

HOUR = 3_600_000


class _Hub:
    """Hears what open pages would be told."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, ...]] = []

    def publish(self, *said: str) -> None:
        self.heard.append(said)


@dataclasses.dataclass
class _Acting(Objects):
    hub: Any = dataclasses.field(default_factory=_Hub)

    def wake(self) -> None:
        self.hub.heard.append(("wake",))


class Plant:
    """The routes of cases, trials and valves over a store, used by somebody with every permission."""

    actor: Actor = OPEN

    def __init__(self, store: Store) -> None:
        app = FastAPI()
        for module in (cases, trials, valves):
            app.include_router(module.router)
        problems.install(app)
        self.objects = _Acting(store, None)  # type: ignore[arg-type]  # these routes read no settings
        app.state.ringtell = self.objects
        self.app = As(app, self)  # type: ignore[arg-type]  # it asks for an actor alone

    def send(self, method: str, path: str, body: Any = None, expected: int = 200) -> Any:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
                return await client.request(method, f"/api/v1{path}", json=body)

        answer = asyncio.run(ask())
        assert answer.status_code == expected, answer.text
        return answer.json() if answer.content else None


@pytest.fixture
def plant(store: Store) -> Plant:
    store.write(lambda c: put_press(c, "P07", {}, now_ms=NOW - HOUR))
    return Plant(store)


def opened(plant: Plant) -> Any:
    body = {"about": "scatter", "since": "2026-04-01T07:00:00Z"}
    return plant.send("POST", "/presses/P07/cases", body, 201)


def test_a_case_is_opened_written_in_acted_on_and_closed(plant: Plant, store: Store) -> None:
    case = opened(plant)
    assert (case["id"], case["state"], case["since"]) == (1, "open", "2026-04-01T07:00:00.000Z")
    assert plant.send("POST", "/presses/P07/cases", {"about": "again"}, 409)["code"] == "conflict"
    assert plant.send("PUT", "/presses/P07/cases/1", {"owner": "ines"})["owner"] == "ines"
    plant.send("POST", "/presses/P07/cases/1/notes", {"note": "ring looks shiny"}, 201)
    body = {"kind": "setting", "setting": "decompression", "from": 4, "to": 6, "at": "2026-04-01T08:00:00Z"}
    action = plant.send("POST", "/presses/P07/cases/1/actions", body, 201)
    assert (action["kind"], action["what"]) == ("setting", "decompression 4 → 6")

    whole = plant.send("GET", "/presses/P07/cases/1")
    assert whole["choice"] is None
    fitted = {"shots_before": 10, "fitted_at": "2026-04-01T06:00:00Z"}
    store.write(lambda c: put_valve(c, need_press(c, "P07"), fitted, who="ines", now_ms=NOW))
    choice = plant.send("GET", "/presses/P07/cases/1")["choice"]
    assert (choice["valve"], "has not said what a change" in choice["reason"]) == (1, True)
    proof = whole["actions"][0]["proof"]
    assert (proof["verdict"], proof["more"], proof["at"]) == ("", 50, "2026-04-01T08:00:00.000Z")
    assert "ring looks shiny" in [line["text"] for line in whole["story"]]

    refused = plant.send("POST", "/presses/P07/cases/1/close", {"verdict": "fixed"}, 422)
    assert (refused["field"], "50 more shots" in refused["detail"]) == ("verdict", True)
    closed = plant.send(
        "POST", "/presses/P07/cases/1/close", {"verdict": "cannot_say", "note": "the mold went out"}
    )
    assert (closed["state"], closed["verdict"], closed["evidence"]["more"]) == ("closed", "cannot_say", 50)
    assert plant.send("GET", "/cases")["items"] == []
    assert [one["id"] for one in plant.send("GET", "/cases?state=all&press=P07")["items"]] == [1]
    assert ("press", "P07") in plant.objects.hub.heard
    with store.read() as c:
        done = [row.action for row in audit_of(c, need_press(c, "P07").press_id)]
    assert done == [
        "case_closed", "valve_entered", "case_action_taken_up", "event_recorded", "case_noted",
        "case_changed", "case_opened",
    ]  # fmt: skip


def test_cases_come_page_by_page(plant: Plant) -> None:
    for number in range(3):
        opened(plant)
        plant.send("POST", f"/presses/P07/cases/{number + 1}/close", {"verdict": "cannot_say", "note": "x"})
    first = plant.send("GET", "/cases?state=closed&limit=2")
    rest = plant.send("GET", f"/cases?state=closed&limit=2&cursor={first['next_cursor']}")
    assert [one["id"] for one in first["items"] + rest["items"]] == [3, 2, 1]
    assert rest["next_cursor"] is None


def test_a_trial_is_planned_set_and_ended(plant: Plant) -> None:
    body = {"setting": "back pressure", "unit": "bar", "levels": [60, 80], "today": "60"}
    trial = plant.send("POST", "/presses/P07/trials", {**body, "seed": 4}, 201)
    assert (trial["state"], sorted(trial["plan"])) == ("running", ["60", "60", "80", "80"])
    assert plant.send("POST", "/presses/P07/trials/1/level", {"step": 1})["step"] == 1
    assert plant.send("PUT", "/presses/P07/trials/1/splay", {"shots": 0})["splay"] == 0
    whole = plant.send("GET", "/presses/P07/trials/1")
    assert whole["progress"]["decided_at"] is None
    assert whole["progress"]["power"]["1.5"] > 0.5
    ended = plant.send("POST", "/presses/P07/trials/1/end", {"note": "mold went out"})
    assert (ended["state"], ended["kept"]) == ("stopped", "60")
    assert len(plant.send("GET", "/trials?press=P07")["items"]) == 1
    plant.send("GET", "/presses/P07/trials/2", expected=404)


def test_spares_materials_and_lives(plant: Plant, store: Store) -> None:
    spare = plant.send("POST", "/spares", {"part_number": "RV-50", "on_hand": 2, "lead_days": 14}, 201)
    assert plant.send("PUT", f"/spares/{spare['id']}", {"on_hand": 1})["on_hand"] == 1
    assert len(plant.send("GET", "/spares")["items"]) == 1
    plant.send("DELETE", f"/spares/{spare['id']}", expected=204)
    plant.send("DELETE", f"/spares/{spare['id']}", expected=404)
    plant.send("PUT", "/materials", {"material": "PA-GF", "wear": "strong"})
    assert plant.send("GET", "/materials")["items"] == [{"material": "PA-GF", "wear": "strong"}]
    assert plant.send("GET", "/valve-lives")["items"] == []
    plant.send("GET", "/presses/P07/valves/1", expected=404)


@pytest.mark.parametrize("number", ["9" * 19, "9" * 50, "\u0661", "-1", ""])
def test_an_alarm_with_a_number_nobody_gave_out_is_not_found(plant: Plant, number: str) -> None:
    asked = {"alarm": f"P07-{number}"}
    assert plant.send("POST", "/presses/P07/cases", asked, 404)["field"] == "alarm"
