"""A shot with which evaluation fails: found, set aside whole, the press goes on, and it can come back."""

import json
import threading
from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa

from server import isolation, landing, pipeline
from server.errors import BusyError
from server.evaluate.advance import advance
from server.ingest.batch import ReadShot
from server.ingest.receive import Received, receive
from server.ingest.replay import read_lines, take_back
from server.notify.hub import Hub
from server.pipeline import Pipeline
from server.store import intake
from server.store.database import Store
from server.store.plant import put_press
from server.store.poison import set_aside_of
from server.store.shots import count_shots
from server.store.tables import audit, press_states, quarantine, shots
from tests.evaluate.history import START_MS, Bringing, record_of, shots_of


@pytest.fixture
def running(store: Store) -> Iterator[Pipeline]:
    one = Pipeline(store, Hub(), now_ms=lambda: START_MS + 10, child_process=False)
    yield one
    one.close()


def as_read(press: str, *, count: int) -> list[ReadShot]:
    """The history with its set-points in the form reading gives them."""
    shots = shots_of(press, count=count)
    setpoints = {'{"hold":1}': '{"hold":1.0}', '{"hold":2}': '{"hold":2.0}'}
    read = [shot.label._replace(setpoints=setpoints[shot.label.setpoints or ""]) for shot in shots]
    return [shot._replace(label=label) for shot, label in zip(shots, read, strict=True)]


def brought(store: Store, press: str, *, count: int = 420) -> Bringing:
    shots = as_read(press, count=count)
    one = Bringing(store, press, record_of(shots))
    one.bring(shots)
    return one


def garble(store: Store, press_id: int, counter: int) -> None:
    """A number that is none, as a foreign program or a flipped bit may leave it in a SQLite file."""
    statement = "UPDATE shots SET cushion_mm = 'garbled' WHERE press_id = ? AND counter = ?"
    changed = store.write(lambda c: c.exec_driver_sql(statement, (press_id, counter)).rowcount)
    assert changed == 1


def rows(store: Store, query: sa.Select[Any]) -> list[Any]:
    with store.read() as connection:
        return list(connection.execute(query).all())


def one_round(running: Pipeline) -> bool:
    """Every press that waits is looked at once; whether there is more to do for one."""
    with running.store.read() as connection:
        presses = intake.waiting_presses(connection)
    return any([running._look_at(press_id) for press_id in presses])


def run_until_quiet(running: Pipeline, *, rounds: int = 60) -> None:
    for _ in range(rounds):
        if not one_round(running):
            return
    raise AssertionError("evaluation does not come to rest")


def taken_back(store: Store, code: str) -> Received:
    later = START_MS + 86_400_000
    return store.write(lambda c: take_back(c, code, kind="poison", who="mara", now_ms=later))


def waiting(store: Store, press_id: int) -> int:
    with store.read() as connection:
        return intake.pending(connection, press_id)


def test_the_shot_is_set_aside_and_the_press_goes_on(store: Store, running: Pipeline) -> None:
    press = brought(store, "P07", count=290)
    garble(store, press.press_id, 100)
    run_until_quiet(running)
    assert waiting(store, press.press_id) == 0
    (state,) = rows(store, sa.select(press_states).where(press_states.c.press_id == press.press_id))
    assert state.trouble is None
    assert state.evaluated_ms == shots_of("P07", count=290)[-1].at_ms
    with store.read() as connection:
        assert count_shots(connection, press.press_id) == 289
        count, why = set_aside_of(connection, "P07")
    assert count == 1
    assert "counter 100" in why
    assert "garbled" in why
    (kept,) = rows(store, sa.select(quarantine).where(quarantine.c.kind == "poison"))
    assert kept.replayable
    line = json.loads(kept.raw)
    assert (line["press"], line["counter"], line["cushion_mm"]) == ("P07", 100, "garbled")
    assert line["mold"] == "M-1"
    assert rows(store, sa.select(audit.c.action).where(audit.c.press_id == press.press_id)) == [
        ("shot_set_aside",)
    ]


@pytest.mark.parametrize("bad", [[1], [290], [1, 2, 3, 150, 290]])
def test_first_last_and_several_are_found(store: Store, running: Pipeline, bad: list[int]) -> None:
    press = brought(store, "P07", count=290)
    for counter in bad:
        garble(store, press.press_id, counter)
    run_until_quiet(running)
    lines = [json.loads(row.raw) for row in rows(store, sa.select(quarantine))]
    assert sorted(line["counter"] for line in lines) == bad
    assert waiting(store, press.press_id) == 0


def test_the_rest_is_evaluated_as_if_the_shot_had_never_come(store: Store, running: Pipeline) -> None:
    poisoned, clean = brought(store, "P07", count=290), None
    garble(store, poisoned.press_id, 100)
    run_until_quiet(running)
    clean = Bringing(store, "P08", poisoned.document)
    clean.bring([shot for shot in as_read("P08", count=290) if shot.counter != 100])
    run_until_quiet(running)
    assert poisoned.results() == clean.results()


def test_other_presses_never_notice(store: Store, running: Pipeline) -> None:
    bad, good = brought(store, "P01"), brought(store, "P02")
    statement = "UPDATE shots SET cushion_mm = 'garbled' WHERE press_id = ?"
    store.write(lambda c: c.exec_driver_sql(statement, (bad.press_id,)))
    for _ in range(isolation.MOST_AN_HOUR + 3):
        one_round(running)
    assert waiting(store, good.press_id) == 0
    assert waiting(store, bad.press_id) > 0


def test_a_fault_of_no_single_shot_sets_none_aside_and_is_said(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("the model is broken")

    press = brought(store, "P07")
    monkeypatch.setattr("server.evaluate.press._context", broken)
    one_round(running)
    (state,) = rows(store, sa.select(press_states))
    assert state.trouble == "ZeroDivisionError: the model is broken"
    assert rows(store, sa.select(quarantine)) == []
    monkeypatch.undo()
    running._resting.clear()
    run_until_quiet(running)
    (state,) = rows(store, sa.select(press_states))
    assert (state.trouble, waiting(store, press.press_id)) == (None, 0)


def test_what_fails_only_as_it_lands_rests_the_press_and_is_said(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("the alarms are broken")

    press = brought(store, "P07")
    monkeypatch.setattr(landing, "conditions_of", broken)
    run_until_quiet(running)
    (state,) = rows(store, sa.select(press_states))
    assert state.trouble == "ZeroDivisionError: the alarms are broken"
    assert rows(store, sa.select(quarantine)) == []
    monkeypatch.undo()
    running._resting.clear()
    run_until_quiet(running)
    (state,) = rows(store, sa.select(press_states))
    assert (state.trouble, waiting(store, press.press_id)) == (None, 0)


def test_too_many_within_an_hour_stop_and_are_said(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(isolation, "MOST_AN_HOUR", 3)
    press = brought(store, "P07")
    store.write(lambda c: c.exec_driver_sql("UPDATE shots SET cushion_mm = 'garbled'"))
    run_until_quiet(running)
    with store.read() as connection:
        assert set_aside_of(connection, "P07")[0] == 3
        assert count_shots(connection, press.press_id) == 417
    (state,) = rows(store, sa.select(press_states))
    assert "garbled" in state.trouble


def test_a_database_that_is_away_blames_no_press(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline, "AWAY_S", 0.0)
    press = brought(store, "P07")

    def away(*_: object, **__: object) -> None:
        raise BusyError("the database does not answer")

    monkeypatch.setattr(store, "write", away)
    assert not one_round(running)
    monkeypatch.undo()
    (state,) = rows(store, sa.select(press_states))
    assert state.trouble is None
    run_until_quiet(running)
    assert waiting(store, press.press_id) == 0


def test_what_was_set_aside_comes_back_once_it_is_mended(store: Store, running: Pipeline) -> None:
    press = brought(store, "P07", count=290)
    garble(store, press.press_id, 100)
    run_until_quiet(running)
    again = taken_back(store, "P07")
    assert (again.stored, len(again.rejected)) == (0, 1)
    with store.read() as connection:
        assert set_aside_of(connection, "P07") == (0, "")
    (kept,) = rows(store, sa.select(quarantine))
    assert (kept.kind, kept.field) == ("rejected", "cushion_mm")
    assert "garbled" in kept.raw


def test_a_shot_a_mended_program_can_take_is_stored_as_it_was(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails_with_100(carry: Any, shots: Any, context: Any) -> Any:
        if 100 in shots["counter"].tolist():
            raise ZeroDivisionError("an edge nobody thought of")
        return advance(carry, shots, context)

    press, clean = brought(store, "P07", count=290), brought(store, "P08", count=290)
    monkeypatch.setattr("server.evaluate.press.advance", fails_with_100)
    run_until_quiet(running)
    with store.read() as connection:
        assert [set_aside_of(connection, code)[0] for code in ("P07", "P08")] == [1, 1]
    monkeypatch.undo()
    for code in ("P07", "P08"):
        again = taken_back(store, code)
        assert (again.stored, again.rejected) == (1, [])
    run_until_quiet(running)
    never = Bringing(store, "P09", press.document)
    never.bring(as_read("P09", count=290))
    run_until_quiet(running)
    assert press.results() == clean.results() == never.results()


def test_rows_of_a_clock_that_was_wrong_are_looked_for_without_the_writer(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = (
        '{"press":"P07","at":"2026-02-03T10:00:00Z","counter":1,"mold":"M-1","material":"PP",'
        '"shot_size_mm":80.0,"cushion_mm":5.0}'
    )
    early = 1_770_112_800_000 - 3_600_000
    batch = read_lines([line], now_ms=early)
    store.write(lambda c: put_press(c, "P07", {}, now_ms=early))
    store.write(lambda c: receive(c, batch, accept_unknown=False, now_ms=early))
    assert [row.code for row in rows(store, sa.select(quarantine.c.code))] == ["in_the_future"]

    def never(*_: object, **__: object) -> None:
        raise AssertionError("nothing is due, and yet the writer is asked")

    with monkeypatch.context() as untouched:
        untouched.setattr(store, "write", never)
        untouched.setattr(running, "now_ms", lambda: early + 1)
        running.replay_due()
    monkeypatch.setattr(running, "now_ms", lambda: early + 3_600_000)
    running.replay_due()
    assert rows(store, sa.select(shots.c.counter)) == [(1,)]
    assert rows(store, sa.select(quarantine.c.code)) == []


def test_the_threads_say_when_they_last_got_somewhere(running: Pipeline) -> None:
    assert running.since_sign("evaluate") is None
    running.start(tick_every_s=0.01)
    threading.Event().wait(0.1)
    for thread in ("evaluate", "tick"):
        since = running.since_sign(thread)
        assert since is not None
        assert since < 5.0


def test_something_recorded_after_the_last_shot_leaves_the_summaries_as_they_are(
    store: Store, running: Pipeline
) -> None:
    press = brought(store, "P07", count=290)
    run_until_quiet(running)
    before = press.results()
    later = shots_of("P07", count=290)[-1].at_ms + 5

    def ask(connection: sa.Connection) -> None:
        intake.add(connection, press.press_id, earliest_ms=later, shots=0, reason="rewrite", now_ms=START_MS)

    store.write(ask)
    run_until_quiet(running)
    assert press.results() == before


def test_hands_that_hang_are_no_sign_of_getting_somewhere(
    store: Store, running: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    goes_on = threading.Event()
    brought(store, "P07")
    monkeypatch.setattr(running, "_evaluate", lambda press_id: goes_on.wait(20) and None)
    running.start(tick_every_s=60.0)
    try:
        threading.Event().wait(2.6)
        since = running.since_sign("evaluate")
        assert since is not None
        assert since > 1.2, "the thread looks every second, but nothing moves"
    finally:
        goes_on.set()
