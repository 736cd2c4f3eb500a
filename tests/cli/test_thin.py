"""Old raw shots go; what was computed from them, and what may have to be looked at again, stays."""

import functools
from typing import Any

import pytest
import sqlalchemy as sa

from server.care import check
from server.cli import main
from server.errors import InvalidError, UsageError
from server.record.settings import change_settings
from server.store import intake
from server.store.audit import audit_of
from server.store.database import Store
from server.store.questions import shots_up_to, span_of_shots
from server.store.shots import count_shots, read_columns
from server.store.tables import alarms, audit, thinnings
from server.store.thinning import floor_of, last_thinning
from server.thin import BY_ITSELF, MONTH_MS, Nightly, cutoff_of, looked_at, thin_press
from tests.evaluate.history import SHOTS, START_MS, Bringing, record_of, shots_of

NOW_MS = START_MS + 100 * MONTH_MS


@pytest.fixture
def evaluated(store: Store) -> Bringing:
    """A press evaluated in pieces, so that checkpoints lie within its history."""
    shots = shots_of("P07")
    press = Bringing(store, "P07", record_of(shots))
    for start in range(0, len(shots), 60):
        press.bring(shots[start : start + 60])
        press.settle()
    press.approve(shots)
    press.settle()
    return press


def checkpoint_times(store: Store) -> list[int]:
    with store.read() as connection:
        rows = connection.exec_driver_sql("SELECT at_ms FROM checkpoints ORDER BY at_ms")
        return [int(row[0]) for row in rows]


def thin(store: Store, cutoff_ms: int) -> int:
    (going,) = looked_at(store, cutoff_ms=cutoff_ms)
    gone = thin_press(store, going.press, cutoff_ms=cutoff_ms, who="mara", now_ms=NOW_MS, pause=lambda: None)
    assert gone == going.goes
    return gone


def forget_record(store: Store) -> None:
    """Without it nothing of the stretch is kept raw."""
    store.write(lambda c: c.exec_driver_sql("UPDATE baselines SET from_ms = 1, to_ms = 2"))


def ask_for_all(press: Bringing) -> None:
    def job(connection: sa.Connection) -> None:
        intake.add(connection, press.press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=NOW_MS)

    press.store.write(job)


def test_what_was_computed_stays_and_evaluating_again_changes_nothing(evaluated: Bringing) -> None:
    store, before = evaluated.store, evaluated.results()
    last = checkpoint_times(store)[-1]
    record = store.write(lambda c: c.exec_driver_sql("SELECT from_ms, to_ms FROM baselines").one())
    forget_record(store)
    assert thin(store, last + 1) > 300
    store.write(lambda c: c.exec_driver_sql("UPDATE baselines SET from_ms = ?, to_ms = ?", tuple(record)))
    assert evaluated.results() == before
    ask_for_all(evaluated)
    evaluated.settle()
    assert evaluated.results() == before
    assert check(store, sample=5).faults == ()


def test_without_the_floor_the_same_would_destroy_it(evaluated: Bringing) -> None:
    """The guard is what keeps it: taken away, evaluating again loses the summaries of what went."""
    before = evaluated.results()
    forget_record(evaluated.store)
    thin(evaluated.store, checkpoint_times(evaluated.store)[-1] + 1)
    evaluated.store.write(lambda c: c.execute(sa.delete(thinnings)))
    ask_for_all(evaluated)
    evaluated.settle()
    assert len(evaluated.results()["rollups"]) < len(before["rollups"])


def test_an_older_codec_at_the_floor_destroys_nothing_before_it(evaluated: Bringing) -> None:
    store, before = evaluated.store, evaluated.results()
    forget_record(store)
    thin(store, checkpoint_times(store)[-1] + 1)
    store.write(lambda c: c.exec_driver_sql("UPDATE thinnings SET codec = 0"))
    store.write(lambda c: c.exec_driver_sql("UPDATE checkpoints SET codec = 0"))
    with store.read() as connection:
        floor = floor_of(connection, evaluated.press_id)
    assert floor is not None
    ask_for_all(evaluated)
    evaluated.settle()
    after = evaluated.results()

    def kept(results: dict[str, list[tuple[Any, ...]]]) -> list[tuple[Any, ...]]:
        return [row for row in results["rollups"] if row[0] == 600 and row[1] < floor.floor_ms]

    assert kept(after) == kept(before)
    assert kept(before)


def test_shots_of_records_and_of_alarms_stay(evaluated: Bringing) -> None:
    store, shots = evaluated.store, shots_of("P07")

    def open_one(connection: sa.Connection) -> None:
        connection.execute(
            sa.insert(alarms).values(
                press_id=evaluated.press_id, alarm_no=1, kind="bottoming", state="normal",
                urgency="now", opened_ms=shots[335].at_ms, since_ms=shots[335].at_ms,
                ended_ms=shots[345].at_ms, active=False,
            )
        )  # fmt: skip

    store.write(open_one)
    thin(store, checkpoint_times(store)[-1] + 1)
    with store.read() as connection:
        left = set(read_columns(connection, evaluated.press_id, names=())["at_ms"].tolist())
    assert {shot.at_ms for shot in shots[:160]} <= left
    assert {shot.at_ms for shot in shots[335:346]} <= left
    assert len(left) < len(shots)


def test_what_waits_for_evaluation_is_not_thinned(evaluated: Bringing) -> None:
    last = checkpoint_times(evaluated.store)[-1]
    ask_for_all(evaluated)
    assert thin(evaluated.store, last + 1) == 0


def test_charts_read_summaries_where_raw_shots_are_thinned(evaluated: Bringing) -> None:
    store = evaluated.store
    forget_record(store)
    first = shots_of("P07")[0].at_ms
    thin(store, checkpoint_times(store)[-1] + 1)
    with store.read() as connection:
        span = {"from_ms": first, "to_ms": NOW_MS}
        assert shots_up_to(connection, evaluated.press_id, limit=10_001, **span) == 10_001
        found = span_of_shots(connection, evaluated.press_id, from_ms=None, to_ms=None)
    assert found is not None
    assert found[0] <= first


def test_it_is_said_who_did_it_and_counted_before(
    evaluated: Bringing, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store = evaluated.store
    forget_record(store)
    monkeypatch.setenv("RINGTELL_DATABASE_URL", store.url)
    assert main(["db", "thin"]) == 2
    assert "keep_raw_months" in capsys.readouterr().err
    assert main(["db", "thin", "--months", "0.01", "--dry-run"]) == 0
    assert "nothing was changed" in capsys.readouterr().out
    with store.read() as connection:
        assert count_shots(connection) == SHOTS
    assert main(["db", "thin", "--months", "0.01"]) == 0
    with store.read() as connection:
        assert count_shots(connection) < SHOTS
        rows = connection.execute(sa.select(audit.c.action, audit.c.who)).all()
    assert ("shots_thinned", "command line") in [tuple(row) for row in rows]


def test_a_plant_that_set_nothing_keeps_everything(store: Store) -> None:
    with pytest.raises(UsageError, match="for ever"):
        cutoff_of(store, None, now_ms=NOW_MS)
    assert cutoff_of(store, 1.0, now_ms=NOW_MS) == NOW_MS - MONTH_MS


# --- by itself ----------------------------------------------------------------------------------

NIGHT_MS = NOW_MS - NOW_MS % 86_400_000 + 3 * 3_600_000  # 03:00 UTC


@pytest.fixture
def brought(any_store: Store) -> Bringing:
    """The same on each kind of database, nothing of it kept raw, thinned from 02:30 on."""
    shots = shots_of("P07")
    press = Bringing(any_store, "P07", record_of(shots))
    for start in range(0, len(shots), 60):
        press.bring(shots[start : start + 60])
        press.settle()
    put = {"keep_raw_months": 1.0, "thin_at": "02:30"}
    any_store.write(lambda c: change_settings(c, put, who="mara", now_ms=NOW_MS))
    return press


def left(press: Bringing) -> int:
    with press.store.read() as connection:
        return count_shots(connection)


def test_it_thins_in_its_quiet_hours_alone_and_once_a_night(brought: Bringing) -> None:
    before = left(brought)
    for hour in (-1, 4):
        moment = functools.partial(int, NIGHT_MS + hour * 3_600_000)
        assert Nightly(brought.store, moment, pause_s=0.0).look() == 0
    nightly = Nightly(brought.store, lambda: NIGHT_MS, pause_s=0.0)
    gone = nightly.look()
    assert 0 < gone == before - left(brought)
    assert nightly.look() == 0
    with brought.store.read() as connection:
        rows = audit_of(connection, brought.press_id)
        assert last_thinning(connection) == (NIGHT_MS, BY_ITSELF)
    assert [(row.who, row.action) for row in rows if row.action == "shots_thinned"] == [
        (BY_ITSELF, "shots_thinned")
    ]


def test_a_night_that_ends_in_the_middle_is_gone_on_with(
    brought: Bringing, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.store.thinning.AT_A_TIME", 40)
    before = left(brought)
    moments = iter([NIGHT_MS, NIGHT_MS, NIGHT_MS, NIGHT_MS + 5 * 3_600_000])
    first = Nightly(brought.store, lambda: next(moments), pause_s=0.0).look()
    went = before - left(brought)
    assert 0 < went <= 80
    assert first <= went
    rest = Nightly(brought.store, lambda: NIGHT_MS + 86_400_000, pause_s=0.0).look()
    assert rest > 0
    assert left(brought) == before - went - rest
    with brought.store.read() as connection:
        told = [row.after for row in audit_of(connection, brought.press_id) if row.action == "shots_thinned"]
    assert len(told) == 2


def test_without_its_hour_nothing_goes_and_an_hour_is_a_time(store: Store) -> None:
    assert Nightly(store, lambda: NIGHT_MS, pause_s=0.0).look() == 0
    with pytest.raises(InvalidError, match="02:30"):
        store.write(lambda c: change_settings(c, {"thin_at": "half past two"}, who="m", now_ms=NOW_MS))
