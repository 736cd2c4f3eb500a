"""Nobody fills the server's memory or breaks its answers with a body, a cursor or a name."""

import json
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from pathlib import Path

import anyio
import pytest
from starlette.types import Message

from server.access.people import Changes, change_person
from server.routes import bodies
from server.store.engine import upgrade
from tests.security.callers import MORNING, House, house

EMPTY = {"kind": "opcua", "presses": []}


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("bodies") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as made:
        yield made


def endless(here: House, path: str) -> tuple[int, int]:
    """Send a body that never ends, of no stated length; the answer, and how much of it was taken."""
    taken, answered = 0, 0

    async def receive() -> Message:
        nonlocal taken
        taken += 1 << 16
        return {"type": "http.request", "body": b" " * (1 << 16), "more_body": True}

    async def send(message: Message) -> None:
        nonlocal answered
        answered = int(message.get("status", answered))

    scope = {
        "type": "http", "method": "POST", "path": path, "raw_path": path.encode(), "query_string": b"",
        "headers": [(b"host", b"127.0.0.1:8000"), (b"content-type", b"application/json")],
        "http_version": "1.1", "scheme": "http", "server": ("127.0.0.1", 8000), "root_path": "",
        "client": ("127.0.0.1", 1),
    }  # fmt: skip
    anyio.run(here.app, scope, receive, send)
    return answered, taken


@pytest.mark.parametrize("path", ["/api/v1/login", "/login", "/api/v1/tablet/enter"])
def test_whoever_is_not_known_sends_no_more_than_a_name_and_a_password(here: House, path: str) -> None:
    answered, taken = endless(here, path)
    assert answered == 413
    assert taken <= bodies.OF_NOBODY + (1 << 16)


def test_a_body_is_bounded_on_every_route_that_reads_it_whole(here: House) -> None:
    large = b'{"note": "' + b"x" * bodies.OF_KNOWN + b'"}'
    for path in ("/api/v1/presses/P01/events", "/api/v1/maths/arl", "/api/v1/handovers"):
        answer = here.send("plant_engineer", "POST", path, content=large)
        assert (answer.status_code, answer.json()["code"]) == (413, "too_large"), path
    fits = {"values": [1.5] * 150_000}
    assert here.send("viewer", "POST", "/api/v1/maths/individuals", json=fits).status_code == 200


def test_large_bodies_in_hand_together_are_bounded(here: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bodies, "HELD_MAX", 1_000)
    note = {"kind": "note", "note": "x" * 2_000}
    refused = here.send("plant_engineer", "POST", "/api/v1/presses/P01/events", json=note)
    assert (refused.status_code, refused.headers["retry-after"]) == (503, "1")
    small = here.send(
        "plant_engineer", "POST", "/api/v1/presses/P01/events", json={"kind": "note", "note": "x"}
    )
    assert small.status_code == 201
    monkeypatch.undo()
    again = here.send("plant_engineer", "POST", "/api/v1/presses/P01/events", json=note)
    assert again.status_code == 201  # nothing stayed in hand


def test_a_cursor_of_many_brackets_is_none_of_ours(here: House) -> None:
    for depth in (1, 100, 2_000, 20_000):
        cursor = urlsafe_b64encode(b"[" * depth).decode().rstrip("=")
        answer = here.send("viewer", "GET", f"/api/v1/reports?cursor={cursor}")
        assert (answer.status_code, answer.json()["field"]) == (422, "cursor"), depth


@pytest.mark.parametrize(
    "text",
    [
        json.dumps({**EMPTY, "address": "\ud800"}),
        json.dumps({**EMPTY, "\ud800": 1}),
        json.dumps("\ud800"),
        json.dumps({**EMPTY, "kind": "opc\0ua"}),
        '{"kind": "opcua", "presses": [{"press": "P01", "clock_offset_s": NaN}]}',
        '{"kind": "opcua", "presses": [{"press": "P01", "clock_offset_s": 1e999}]}',
    ],
)
def test_a_source_cannot_break_the_list_of_sources(here: House, text: str) -> None:
    headers = {"Content-Type": "application/json"}
    answer = here.send("key ingest", "PUT", "/api/v1/sources/press", content=text, headers=headers)
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
    assert here.send("viewer", "GET", "/api/v1/sources").status_code == 200


def test_numbers_no_database_takes_are_refused(here: House) -> None:
    for number in ("9" * 40, "-1"):
        answer = here.send("line_lead", "POST", f"/api/v1/handovers/{number}/read")
        assert answer.status_code == 422
        for method, path in (("PUT", ""), ("DELETE", ""), ("POST", "/test")):
            path = f"/api/v1/routes/{number}{path}"
            assert here.send("administrator", method, path, json={}).status_code == 422, path


def test_no_address_holds_a_nul_character(here: House) -> None:
    for path in ("/studies?press=%00", "/api/v1/audit?who=a%00b", "/login?next=/%00"):
        assert here.send("administrator", "GET", path).status_code == 422, path
    assert here.send("administrator", "GET", "/presses/P%0001").status_code == 404
    assert here.send("administrator", "GET", "/studies?press=%2500").status_code == 200


@pytest.mark.parametrize("name", ["week\a.csv", "week\r\nSet-Cookie: a.csv", "\u202evsc.week.csv"])
def test_the_name_of_a_file_keeps_no_sign_that_cannot_be_printed(here: House, name: str) -> None:
    answer = here.send("plant_engineer", "POST", "/api/v1/imports", params={"name": name}, content=b"a,b\n")
    assert answer.status_code == 201
    assert answer.json()["file"].isprintable()
    assert here.send("plant_engineer", "POST", f"/api/v1/imports/{answer.json()['id']}/cancel").is_success


def test_whoever_acts_in_one_area_hands_no_press_to_another(here: House) -> None:
    store = here.objects.store
    store.write(
        lambda c: change_person(c, "plant_engineer", Changes(areas=("Hall 1",)), by="test", now_ms=MORNING)
    )
    try:
        moved = here.send("plant_engineer", "PUT", "/api/v1/presses/P01", json={"area": "Hall 2"})
        assert (moved.status_code, moved.json()["field"]) == (403, "area")
        assert here.send("plant_engineer", "PUT", "/api/v1/presses/P01", json={"area": "Hall 1"}).is_success
    finally:
        store.write(
            lambda c: change_person(c, "plant_engineer", Changes(areas=()), by="test", now_ms=MORNING)
        )


@pytest.mark.parametrize("sent", ["name=%00&password=x", "name=a%00b&password=x", "name=x&password=a%00b"])
def test_the_form_of_the_login_takes_what_the_login_takes(sent: str, postgresql_url: str) -> None:
    """No database takes a NUL character, and PostgreSQL says so."""
    upgrade(postgresql_url)
    with house(postgresql_url) as made:
        headers = {"Content-Type": "application/x-www-form-urlencoded"}
        answer = made.send("nobody", "POST", "/login", content=sent, headers=headers)
    assert answer.status_code == 422
