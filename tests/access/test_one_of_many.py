"""Acts on people, keys, valves and settings that begin at once, on either database: what must hold, holds."""

from collections.abc import Callable, Hashable

import sqlalchemy as sa

from server.access.keys import create_key, rotate_key
from server.access.people import add_person, change_role
from server.errors import ConflictError, InvalidError
from server.record.settings import change_settings
from server.record.valves import put_valve
from server.store import device_keys as kept_keys
from server.store import people as kept_people
from server.store.database import Store
from server.store.plant import need_press, put_press, read_settings
from server.store.records import events_of, valves_of
from tests.access.plant import MORNING
from tests.at_once import all_at_once

MANY = 8


def came_of(store: Store, act: Callable[[sa.Connection, int], Hashable]) -> dict[Hashable, int]:
    """How often each answer came, of acts that begin together; a refusal is an answer."""

    def run(number: int) -> Hashable:
        try:
            return store.write(lambda c: act(c, number))
        except (ConflictError, InvalidError):
            return "refused"

    return dict(all_at_once(run, many=MANY))


def test_administrators_who_step_down_at_once_leave_one(any_store: Store) -> None:
    def add_all(c: sa.Connection) -> None:
        for number in range(MANY):
            add_person(c, f"root{number}", "administrator", by="test", now_ms=MORNING)

    any_store.write(add_all)

    def step_down(c: sa.Connection, number: int) -> Hashable:
        change_role(c, f"root{number}", "viewer", by=f"root{number}", now_ms=MORNING)
        return "stepped down"

    assert came_of(any_store, step_down) == {"stepped down": MANY - 1, "refused": 1}
    with any_store.read() as c:
        assert [one.role for one in kept_people.all_people(c)].count("administrator") == 1


def test_a_key_has_one_successor(any_store: Store) -> None:
    key = any_store.write(lambda c: create_key(c, press="P07", by="test", now_ms=MORNING)).key

    def rotate(c: sa.Connection, number: int) -> Hashable:
        return rotate_key(c, key.key_id, by=f"p{number}", now_ms=MORNING).key.replaces

    assert came_of(any_store, rotate) == {key.key_id: 1, "refused": MANY - 1}
    with any_store.read() as c:
        assert len(kept_keys.all_keys(c)) == 2


def test_one_valve_is_fitted_however_often_it_is_said(any_store: Store) -> None:
    any_store.write(lambda c: put_press(c, "P07", {}, now_ms=MORNING))
    first = {"fitted_at": "2026-03-01T06:00:00Z"}
    any_store.write(lambda c: put_valve(c, need_press(c, "P07"), first, who="eda", now_ms=MORNING))

    def fit(c: sa.Connection, number: int) -> Hashable:
        body = {"fitted_at": "2026-04-01T05:00:00Z", "part_number": "R-45"}
        return put_valve(c, need_press(c, "P07"), body, who=f"p{number}", now_ms=MORNING).valve_no

    assert came_of(any_store, fit) == {2: MANY}
    with any_store.read() as c:
        press_id = need_press(c, "P07").press_id
        assert [one.removed_ms is None for one in valves_of(c, press_id)] == [True, False]
        assert len([one for one in events_of(c, press_id) if one.kind == "valve_change"]) == 1


def test_thresholds_set_at_once_stay_in_their_order(any_store: Store) -> None:
    any_store.write(lambda c: change_settings(c, {"open_at": 0.9, "close_at": 0.2}, who="e", now_ms=MORNING))

    def change(c: sa.Connection, number: int) -> Hashable:
        body = {"open_at": 0.5} if number % 2 else {"close_at": 0.6}
        change_settings(c, body, who=f"p{number}", now_ms=MORNING)
        return "changed"

    came = came_of(any_store, change)
    with any_store.read() as c:
        now = read_settings(c)
    assert now["close_at"] < now["open_at"]
    assert came == {"changed": MANY // 2, "refused": MANY // 2}
