"""The floor and the outlets over HTTP: who may, what is refused by name, what never shows."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from server.access.passwords import hash_new_password
from server.access.people import add_person
from server.app import build_app, build_objects
from server.notify.alarms import react
from server.notify.conditions import Condition
from server.settings import Settings
from server.store.audit import PLANT, audit_of
from server.store.database import Store
from server.store.people import change_person, person_by_name
from server.store.plant import need_press, put_press
from tests.access.plant import Caller
from tests.notify.plants import HOUR, MORNING

PASSWORD = "correct horse 12"
ROLES = {"vera": "viewer", "lena": "line_lead", "ada": "plant_engineer"}
SECRET = "heron-teasel-42"
HOOK = "https://hooks.example/in/very-private?k=1"


class Floor:
    """A server with people of every kind, called by name."""

    def __init__(self, url: str) -> None:
        settings = Settings(
            database_url=url,
            smtp_host="127.0.0.1",
            smtp_port=9,
            smtp_security="none",
            smtp_password=SECRET,
            webhook_hosts="hooks.example",
            webhook_secret=SECRET,
        )
        self.now = MORNING
        self.objects = build_objects(settings, now_ms=lambda: self.now)
        self.objects.store.write(self._fill)
        self.app = build_app(self.objects, run_pipeline=False)
        self.callers: dict[str, Caller] = {}

    def _fill(self, connection: Any) -> None:
        put_press(connection, "P07", {"name": "Thistle", "area": "Hall A"}, now_ms=MORNING)
        leak = Condition("leak", True, True, "now", "steady_leak", {"likelihood": 0.95})
        react(connection, need_press(connection, "P07"), leak, now_ms=MORNING)
        for name, role in ROLES.items():
            add_person(connection, name, role, by="tests", now_ms=MORNING)
            person = person_by_name(connection, name)
            assert person is not None
            secret = hash_new_password(name, old="", new=PASSWORD)
            change_person(connection, person.person_id, password_hash=secret, must_change=False)

    def ask(self, who: str, method: str, path: str, body: Any = None, key: str = "") -> tuple[int, Any]:
        caller = self.callers.get(who)
        if caller is None:
            caller = self.callers[who] = Caller(self.app, **{"X-Ringtell": "page"})
            entered = caller("POST", "/api/v1/login", {"name": who, "password": PASSWORD})
            assert entered.status_code == 200, entered.text
        headers = {"Idempotency-Key": key} if key else {}
        answer = caller(method, f"/api/v1{path}", body, headers=headers)
        return answer.status_code, answer.json()


@pytest.fixture
def floor(store: Store) -> Iterator[Floor]:
    made = Floor(store.url)
    yield made
    made.objects.pipeline.close()
    made.objects.store.close()


STOP = "/presses/P07/out-of-service/leak"
WRITES: tuple[tuple[str, str, Any, str], ...] = (
    ("PUT", "/presses/P07/ticks", {"step": "weigh", "ticked": True}, "line_lead"),
    ("POST", "/handovers", {"note": "all quiet"}, "line_lead"),
    ("PUT", STOP, {"why": "sensor in repair", "hours": 8}, "plant_engineer"),
    ("DELETE", STOP, None, "plant_engineer"),
    ("POST", "/routes", {"outlet": "mail", "recipient": "line@plant.example"}, "plant_engineer"),
    ("POST", "/messages/again", None, "plant_engineer"),
)


@pytest.mark.parametrize(("method", "path", "body", "needs"), WRITES, ids=lambda one: str(one)[:24])
def test_each_command_is_for_those_whose_work_it_is(
    floor: Floor, method: str, path: str, body: Any, needs: str
) -> None:
    order = list(ROLES.values())
    for who, role in ROLES.items():
        status, answer = floor.ask(who, method, path, body)
        if order.index(role) < order.index(needs):
            assert status == 403, answer
        else:
            assert status in (200, 201), answer


def test_a_hand_over_sent_twice_with_its_key_is_one(floor: Floor) -> None:
    first = floor.ask("lena", "POST", "/handovers", {"note": "P07 watched"}, key="k1")
    again = floor.ask("lena", "POST", "/handovers", {"note": "P07 watched"}, key="k1")
    assert first == again
    assert first[1]["summary"]["staying"][0]["alarm"] == "P07-1"
    status, listed = floor.ask("vera", "GET", "/handovers")
    assert (status, len(listed["items"])) == (200, 1)
    assert floor.ask("ada", "POST", "/handovers/1/read")[1]["read_by"] == "ada"
    assert floor.ask("lena", "POST", "/handovers/1/read")[1]["read_by"] == "ada"
    status, refused = floor.ask("lena", "POST", "/handovers/7/read")
    assert (status, refused["field"]) == (404, "handover")


def test_out_of_service_shows_by_whom_why_and_until_when(floor: Floor) -> None:
    status, stop = floor.ask("ada", "PUT", STOP, {"why": "sensor in repair", "hours": 8})
    assert status == 200
    assert (stop["who"], stop["why"], stop["until"]) == (
        "ada", "sensor in repair", "2026-04-01T14:00:00.000Z",
    )  # fmt: skip
    assert floor.ask("vera", "GET", "/alarms")[1]["items"][0]["state"] == "out_of_service"
    status, moved = floor.ask("ada", "PUT", STOP, {"why": "still", "until": "2026-04-03T06:00:00Z"})
    assert (status, moved["until"]) == (200, "2026-04-03T06:00:00.000Z")
    assert len(floor.ask("vera", "GET", "/out-of-service")[1]["items"]) == 1
    floor.ask("ada", "DELETE", STOP)
    assert floor.ask("vera", "GET", "/alarms")[1]["items"][0]["state"] == "unacknowledged"
    assert floor.ask("vera", "GET", "/out-of-service")[1]["items"] == []


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        (STOP, {"why": "sensor in repair"}, "until"),
        (STOP, {"why": "sensor in repair", "hours": 1, "until": "2026-04-02T06:00:00Z"}, "until"),
        (STOP, {"hours": 1}, "why"),
        (STOP, {"why": "sensor in repair", "hours": 24 * 31}, "until"),
        (STOP, {"why": "sensor in repair", "hours": 1, "who": "vera"}, "who"),
        ("/presses/P07/out-of-service/guess", {"why": "a reason", "hours": 1}, "kind"),
        ("/presses/P07/ticks", {"step": "guess", "ticked": True}, "step"),
        ("/presses/P07/ticks", {"step": "weigh"}, "ticked"),
    ],
)
def test_what_cannot_be_taken_is_named(floor: Floor, path: str, body: Any, field: str) -> None:
    status, answer = floor.ask("ada", "PUT", path, body)
    assert (status, answer["field"]) == (422, field)


def test_ticks_are_the_plants(floor: Floor) -> None:
    floor.ask("lena", "PUT", "/presses/P07/ticks", {"step": "weigh", "ticked": True})
    (tick,) = floor.ask("vera", "GET", "/presses/P07/ticks")[1]["items"]
    assert tick == {"step": "weigh", "ticked": True, "who": "lena", "at": "2026-04-01T06:00:00.000Z"}


def test_the_shift_so_far_and_the_alarms_own_figures_can_be_read(floor: Floor) -> None:
    floor.ask("lena", "POST", "/alarms/P07-1/acknowledge", {"reason": "going"})
    status, shift = floor.ask("vera", "GET", "/shift")
    assert (status, shift["shift"], shift["opened"]) == (200, "early", ["P07-1"])
    assert shift["answered"] == [{"alarm": "P07-1", "who": "lena", "reason": "going"}]
    floor.now = MORNING + 48 * HOUR
    floor.callers.clear()  # nobody's session lasts that long
    status, found = floor.ask("vera", "GET", "/alarm-performance?days=7")
    assert (status, found["alarms"], found["urgencies"][0]["alarms"]) == (200, 1, 1)
    by_id = {one["id"]: one for one in found["measures"]}
    assert by_id["top_ten"]["value"] is None
    assert by_id["top_ten"]["reason"] == "no more than ten different alarms came"
    assert (by_id["rate"]["met"], by_id["rate"]["benchmark"]) == (True, 1.0)
    assert "ISA-18.2" in by_id["rate"]["source"]
    assert found["stale"][0]["id"] == "P07-1"


def test_a_route_lives_from_its_making_to_its_end_and_tells_no_secret(floor: Floor) -> None:
    made = {"outlet": "webhook", "recipient": HOOK, "urgency": "now", "area": "Hall A"}
    status, route = floor.ask("ada", "POST", "/routes", made, key="k1")
    assert (status, route["recipient"]) == (201, "https://hooks.example/…")
    assert floor.ask("ada", "POST", "/routes", made, key="k1")[1] == route
    assert floor.ask("ada", "PUT", "/routes/1", {"active": False})[1]["active"] is False
    assert floor.ask("ada", "POST", "/routes/1/test")[0] == 200
    floor.objects.pipeline.courier.round()
    status, waiting = floor.ask("ada", "GET", "/messages")
    assert (status, waiting["items"][0]["tries"]) == (200, 1)
    page = Caller(floor.app, **floor.callers["ada"].headers)
    page.cookies = floor.callers["ada"].cookies
    shown = page("GET", "/settings/messages").text
    assert "https://hooks.example/…" in shown
    status, listed = floor.ask("ada", "GET", "/routes")
    assert (len(listed["items"]), listed["outlets"]) == (1, ["log", "mail", "webhook"])
    assert floor.ask("ada", "DELETE", "/routes/1") == (200, {"route": 1})
    assert floor.ask("ada", "DELETE", "/routes/1")[0] == 404
    with floor.objects.store.read() as connection:
        trail = audit_of(connection, PLANT)
    actions = [row.action for row in trail if row.action.startswith("route")]
    assert actions == ["route_removed", "route_tested", "route_changed", "route_added"]
    for text in (shown, json.dumps([waiting, listed]), repr(trail)):
        assert "very-private" not in text
        assert SECRET not in text


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "outlet"),
        ({"outlet": "mail", "recipient": "x"}, "recipient"),
        ({"outlet": "mail", "recipient": "a@b.example", "level": 9}, "level"),
        ({"outlet": "mail", "recipient": "a@b.example", "colour": "red"}, "colour"),
        ({"outlet": "webhook", "recipient": "https://169.254.169.254/latest"}, "recipient"),
    ],
)
def test_a_route_that_cannot_work_is_refused(floor: Floor, body: Any, field: str) -> None:
    status, answer = floor.ask("ada", "POST", "/routes", body)
    assert (status, answer["field"]) == (422, field)
    assert floor.ask("ada", "GET", "/routes")[1]["items"] == []


def test_whoever_may_not_set_routes_does_not_read_them(floor: Floor) -> None:
    for path in ("/routes", "/messages"):
        assert floor.ask("lena", "GET", path)[0] == 403
