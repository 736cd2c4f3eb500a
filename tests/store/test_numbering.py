"""Numbers given out when many write at the same moment: each once, none left out, nobody fails."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import sqlalchemy as sa

from server.access.people import add_person
from server.errors import ConflictError
from server.store import alarms, cases, floor, imports, outbox, outlet_routes, records
from server.store.database import RACES_MAX, Store
from server.store.plant import need_press, put_mold, put_press
from server.store.tables import people, plant_settings, presses

#: 2026-04-01T06:00:00Z
MORNING = 1_775_023_200_000
WRITERS, EACH = 8, 4

Job = Callable[[sa.Connection], int]


def pressed(connection: sa.Connection, code: str = "P01") -> int:
    put_press(connection, code, {}, now_ms=MORNING)
    return need_press(connection, code).press_id


def event(press_id: int) -> Job:
    kept = records.Event(press_id, MORNING, 0, "note", "", "", "", "", "looked at it", "lena", MORNING)
    return lambda c: records.add_event(c, kept).event_no


def baseline(press_id: int) -> Job:
    kept = records.Baseline(
        press_id, 0, "M1", "PP", None, MORNING, MORNING, 50, "draft", {}, "", "lena", MORNING
    )
    return lambda c: records.add_baseline(c, kept).baseline_no


def valve(press_id: int) -> Job:
    kept = records.Valve(press_id, 0, MORNING, None, "", "", "", None, None, "", "", "", "lena")
    return lambda c: records.add_valve(c, kept).valve_no


def study(press_id: int) -> Job:
    kept = records.Study(press_id, 0, "inspection", MORNING, "", {}, {}, "", "lena")
    return lambda c: records.add_study(c, kept).study_no


def note(press_id: int) -> Job:
    return lambda c: cases.add_note(c, cases.CaseNote(press_id, 7, 0, MORNING, "lena", "seen")).note_no


def handover(_press_id: int) -> Job:
    return lambda c: floor.add_handover(c, floor.Handover(0, "06:00", MORNING, MORNING, "lena", "", {}))


def route(_press_id: int) -> Job:
    kept = outlet_routes.Route(0, "log", "", "", "", "", 0, 0, True, MORNING)
    return lambda c: outlet_routes.add_route(c, kept).route_no


def an_import(_press_id: int) -> Job:
    return lambda c: imports.add_import(c, file_name="a.csv", size=1, who="lena", now_ms=MORNING)


def message(_press_id: int) -> Job:
    return lambda c: outbox.queue_test(c, outlet="log", recipient="", now_ms=MORNING)


KINDS = (event, baseline, valve, study, note, handover, route, an_import, message)


def together(store: Store, job: Callable[[int], Callable[[sa.Connection], Any]]) -> list[Any]:
    """What so many writers get that begin at the same moment and write several times each."""
    start = threading.Barrier(WRITERS)

    def write(writer: int) -> list[Any]:
        start.wait(timeout=30)
        return [store.write(job(writer)) for _ in range(EACH)]

    with ThreadPoolExecutor(WRITERS) as pool:
        return [one for answers in pool.map(write, range(WRITERS)) for one in answers]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_numbers_follow_one_another_however_many_write(any_store: Store, kind: Callable[[int], Job]) -> None:
    press_id = any_store.write(pressed)
    job = kind(press_id)
    numbers = together(any_store, lambda _writer: job)
    assert sorted(numbers) == list(range(1, WRITERS * EACH + 1))


def test_a_press_a_mold_and_a_person_are_made_once(any_store: Store) -> None:
    def make(connection: sa.Connection) -> int:
        put_mold(connection, "M1", {"part": "lid"}, now_ms=MORNING)
        return pressed(connection, "P99")

    assert len(set(together(any_store, lambda _writer: make))) == 1

    def add(connection: sa.Connection) -> str:
        try:
            return add_person(connection, "lena", "viewer", by="test", now_ms=MORNING).name
        except ConflictError as known:
            return known.code

    assert sorted(together(any_store, lambda _writer: add)) == ["conflict"] * (WRITERS * EACH - 1) + ["lena"]
    with any_store.read() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(people)).scalar_one() == 1
        assert connection.execute(sa.select(sa.func.count()).select_from(presses)).scalar_one() == 1


def test_locks_taken_crosswise_end_well(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    try:
        one, two = store.write(pressed), store.write(lambda c: pressed(c, "P02"))
        held = threading.Barrier(2)
        met: list[int] = []

        def cross(first: int, second: int) -> Callable[[sa.Connection], int]:
            def job(connection: sa.Connection) -> int:
                number = event(first)(connection)
                if len(met) < 2:
                    met.append(first)
                    held.wait(timeout=20)
                return number + event(second)(connection)

            return job

        with ThreadPoolExecutor(2) as pool:
            done = [pool.submit(store.write, cross(one, two)), pool.submit(store.write, cross(two, one))]
            assert sorted(each.result(timeout=30) for each in done) == [2, 4]
    finally:
        store.close()


def test_what_always_fails_is_not_tried_for_ever(postgresql_url: str) -> None:
    store, tries = Store(postgresql_url), 0

    def job(connection: sa.Connection) -> None:
        nonlocal tries
        tries += 1
        for _ in range(2):
            connection.execute(sa.insert(plant_settings).values(name="same", value="1"))

    try:
        with pytest.raises(sa.exc.IntegrityError):
            store.write(job)
        assert tries == RACES_MAX
    finally:
        store.close()


def test_alarms_and_their_steps_are_numbered_under_the_lock_of_the_press(any_store: Store) -> None:
    press_id = any_store.write(pressed)

    def act(connection: sa.Connection) -> tuple[int, int]:
        alarm = alarms.Alarm(
            press_id, "P01", 0, "silent", "cleared", "low", "", MORNING, MORNING, MORNING,
            None, None, None, "", None, False, {},
        )  # fmt: skip
        kept = alarms.insert_alarm(connection, alarm)
        return kept.alarm_no, alarms.add_step(connection, kept, at_ms=MORNING, action="opened", who="x")

    answers = together(any_store, lambda _writer: act)
    assert sorted(number for number, _ in answers) == list(range(1, WRITERS * EACH + 1))
    assert {step for _, step in answers} == {1}
