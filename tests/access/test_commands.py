"""`Idempotency-Key`: whatever makes something is made once, however often it is sent with its key."""

from collections.abc import Callable
from typing import Any

import pytest
import sqlalchemy as sa

from server.record import events as recording
from server.store import commands as kept
from server.store.commands import REMEMBERED_MS
from server.store.plant import need_press
from server.store.records import events_of
from server.store.tables import command_keys, device_keys, events, people, studies
from tests.access.plant import MORNING, PASSWORD, Caller, Plant, plant
from tests.at_once import all_at_once

EVENT = {"kind": "note", "note": "looked at it"}
EVENTS = "/api/v1/presses/P01/events"
KEY = "Idempotency-Key"


def with_press(here: Plant) -> Caller:
    call = here.person("eda", "plant_engineer")
    assert call("PUT", "/api/v1/presses/P01", {"area": "Hall 1"}).status_code == 201
    return call


def sent(call: Caller, path: str, body: Any, key: str = "tap-1") -> tuple[int, Any]:
    answer = call("POST", path, body, headers={KEY: key})
    return answer.status_code, answer.json()


def count(here: Plant, table: sa.Table) -> int:
    with here.objects.store.read() as connection:
        return int(connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one())


WEIGHTS = {"press": "P01", "weights_g": [10.0, 10.1, 9.9, 10.2, 10.0]}


@pytest.mark.parametrize(
    ("path", "body", "table"), [(EVENTS, EVENT, events), ("/api/v1/studies/short-shot", WEIGHTS, studies)]
)
def test_what_is_sent_again_is_made_once_and_answered_alike(
    sqlite_url: str, path: str, body: dict[str, Any], table: sa.Table
) -> None:
    with plant(sqlite_url) as here:
        call = with_press(here)
        first = sent(call, path, body)
        assert first[0] in (200, 201), first[1]
        here.objects.clock += 60_000
        assert sent(call, path, body) == first
        assert count(here, table) == 1
        # Without a key, or with another, it is another one.
        assert call("POST", path, body).json() != first[1]
        assert sent(call, path, body, "tap-2")[1] != first[1]
        assert count(here, table) == 3


def test_a_key_means_one_thing(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = with_press(here)
        assert sent(call, EVENTS, EVENT)[0] == 201
        status, other = sent(call, EVENTS, {**EVENT, "note": "something else"})
        assert (status, other["code"], "tap-1" in other["detail"]) == (409, "conflict", True)
        assert sent(call, "/api/v1/studies/short-shot", WEIGHTS)[0] == 409
        assert count(here, events) == 1
        # It is its sender's.
        assert sent(here.person("lena", "line_lead"), EVENTS, EVENT)[0] == 201
        assert sent(here.key(scopes=("act",)), EVENTS, EVENT)[0] == 201
        assert sent(here.key(scopes=("act",)), EVENTS, EVENT)[0] == 201
        assert count(here, events) == 4


def test_what_was_refused_may_be_sent_again(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = with_press(here)
        assert sent(call, "/api/v1/presses/P02/events", EVENT)[0] == 404
        assert call("PUT", "/api/v1/presses/P02", {}).status_code == 201
        assert sent(call, "/api/v1/presses/P02/events", EVENT)[0] == 201


def test_whoever_may_not_gets_no_answer_of_before(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call, root = with_press(here), here.person("root", "administrator")
        assert sent(call, EVENTS, EVENT)[0] == 201
        assert root("PUT", "/api/v1/people/eda", {"role": "viewer"}).status_code == 200
        assert sent(call, EVENTS, EVENT)[0] == 403


@pytest.mark.parametrize("key", ["", "x" * 201, "tab\there"])
def test_a_key_has_a_form(sqlite_url: str, key: str) -> None:
    with plant(sqlite_url) as here:
        status, refused = sent(with_press(here), EVENTS, EVENT, key)
        assert (status, refused["field"]) == (422, KEY)
        assert count(here, events) == 0


def test_a_secret_is_shown_once_and_nowhere_kept(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        root = here.person("root", "administrator")
        body = {"name": "lena", "role": "line_lead"}
        status, made = sent(root, "/api/v1/people", body)
        assert status == 201
        here.objects.clock += 60_000
        status, again = sent(root, "/api/v1/people", body)
        assert (status, "not kept" in again["detail"]) == (409, True)
        assert count(here, people) == 2
        status, key = sent(root, "/api/v1/keys", {"name": "gateway"}, "tap-2")
        assert status == 201
        here.objects.clock += 60_000
        assert sent(root, "/api/v1/keys", {"name": "gateway"}, "tap-2")[0] == 409
        assert count(here, device_keys) == 1
        with here.objects.store.read() as connection:
            rows = str(connection.execute(sa.select(command_keys)).all())
        assert made["one_time_password"] not in rows
        assert key["token"] not in rows


def test_while_the_first_is_under_way_the_second_is_told_to_wait(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        root = here.person("root", "administrator")
        body = {"name": "lena", "role": "line_lead"}
        assert sent(root, "/api/v1/people", body)[0] == 201
        answer = root("POST", "/api/v1/people", body, headers={KEY: "tap-1"})
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "1")


def test_the_same_sent_many_times_at_once_acts_once(any_url: str) -> None:
    with plant(any_url) as here:
        call = with_press(here)

        def send(_number: int) -> tuple[int, str]:
            other = here.caller(**call.headers)
            other.cookies = dict(call.cookies)
            status, answer = sent(other, EVENTS, EVENT)
            return status, str(answer.get("id", ""))

        came = all_at_once(send, many=12)
        assert set(came) <= {(201, "1"), (503, "")}
        assert came[(201, "1")] >= 1
        assert count(here, events) == 1
        assert send(0) == (201, "1")


def test_a_key_is_forgotten_after_a_month(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = with_press(here)
        assert sent(call, EVENTS, EVENT)[0] == 201
        here.objects.clock += REMEMBERED_MS + 1
        call("POST", "/api/v1/login", {"name": "eda", "password": PASSWORD})
        assert sent(call, EVENTS, EVENT, "tap-2")[0] == 201
        with here.objects.store.read() as connection:
            assert kept.carried_out(connection, "eda", "tap-1") is None
            assert kept.carried_out(connection, "eda", "tap-2") is not None


def test_what_the_transaction_undoes_leaves_no_key(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with plant(sqlite_url) as here:
        call = with_press(here)
        record: Callable[..., Any] = recording.record_event

        def failing(*words: Any, **more: Any) -> Any:
            record(*words, **more)
            raise RuntimeError("the machine stopped here")

        monkeypatch.setattr(recording, "record_event", failing)
        assert sent(call, EVENTS, EVENT)[0] == 500
        monkeypatch.undo()
        assert sent(call, EVENTS, EVENT)[0] == 201
        with here.objects.store.read() as connection:
            press = need_press(connection, "P01")
            assert len(events_of(connection, press.press_id, from_ms=MORNING - 1, to_ms=MORNING * 2)) == 1
