"""Ten-minute summaries go when the plant says so; hours and days stay, and stand in for them."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.care import check
from server.cli import main
from server.record.settings import change_settings
from server.show.build_figure import Asked, build_figure
from server.show.frame import Actor
from server.show.plant_words import plant_at
from server.store import coarse_months, months
from server.store import evaluation as landed
from server.store.audit import audit_of
from server.store.database import Store
from server.store.evaluation import DAY, HOUR, TEN_MINUTES, bucket_of
from server.store.fine_summaries import fine_floor_at, grain_there
from server.store.plant import all_presses
from server.store.questions import span_of_shots
from server.store.tables import rollups
from server.thin import Nightly, looked_at, thin_press
from server.thin_fine import fine_looked_at, thin_fine
from tests.evaluate.history import START_MS, Bringing, record_of, shots_of

DAY_MS = 86_400_000
NOW_MS = START_MS + 400 * DAY_MS


def old(shots: list[Any], *, days: int) -> list[Any]:
    """The same history so many days earlier."""
    return [
        shot._replace(at_ms=shot.at_ms - days * DAY_MS, counter=shot.counter + 1000 * days) for shot in shots
    ]


def bring_years(store: Store, press: str) -> Bringing:
    """Some hours of shots in each of four months, nothing of it a record."""
    shots = shots_of(press)
    bringing = Bringing(store, press, record_of(shots))
    with pytest.MonkeyPatch.context() as patched:
        # Checkpoints in every month, as a history of usual length has them.
        patched.setattr(landed, "CHECKPOINT_EVERY", 100)
        for days in (93, 62, 31, 0):
            bringing.bring(old(shots, days=days))
            bringing.settle()
    return bringing


@pytest.fixture
def plant(any_store: Store) -> Bringing:
    months.make_months(
        any_store, now_ms=START_MS, from_ms=START_MS - 120 * DAY_MS
    ) if not any_store.is_sqlite else None
    return bring_years(any_store, "P07")


def thin_raw(plant: Bringing, cutoff_ms: int) -> None:
    for going in list(looked_at(plant.store, cutoff_ms=cutoff_ms)):
        thin_press(
            plant.store, going.press, cutoff_ms=cutoff_ms, who="mara", now_ms=NOW_MS, pause=lambda: None
        )


def thin_all(plant: Bringing, cutoff_ms: int) -> Any:
    with plant.store.read() as connection:
        presses = all_presses(connection)
    would = fine_looked_at(plant.store, presses, cutoff_ms=cutoff_ms)
    gone = thin_fine(plant.store, presses, cutoff_ms=cutoff_ms, who="mara", now_ms=NOW_MS, pause=lambda: None)
    assert gone.rows == would
    return gone


def kept(store: Store, grain: int) -> list[tuple[Any, ...]]:
    with store.read() as connection:
        rows = connection.execute(
            sa.select(rollups).where(rollups.c.grain == grain).order_by(*rollups.primary_key.columns)
        )
        return [tuple(row) for row in rows]


def test_hours_and_days_stay_and_evaluating_again_changes_nothing(plant: Bringing) -> None:
    store, cutoff = plant.store, START_MS - 20 * DAY_MS
    hours, days, fine = kept(store, HOUR), kept(store, DAY), kept(store, TEN_MINUTES)
    thin_raw(plant, cutoff)
    gone = thin_all(plant, cutoff)
    assert gone.rows > 0.4 * len(fine)
    with store.read() as connection:
        floor_ms = fine_floor_at(connection, plant.press_id, before_ms=cutoff)
        told = [row for row in audit_of(connection, plant.press_id) if row.action == "summaries_thinned"]
    assert floor_ms is not None
    assert kept(store, TEN_MINUTES) == [row for row in fine if row[2] >= floor_ms]
    assert (kept(store, HOUR), kept(store, DAY)) == (hours, days)
    assert [row.after["removed"] for row in told] == [gone.rows]
    # A late shot, as early as it can be, makes evaluation begin at the floor.
    late = old(shots_of("P07"), days=93)[:1]
    plant.bring([late[0]._replace(counter=999_999)])
    plant.settle()
    same = [row for row in kept(store, HOUR) if row[2] < floor_ms]
    assert same == [row for row in hours if row[2] < floor_ms]
    assert [row[:5] for row in kept(store, DAY)] == [row[:5] for row in days]
    assert check(store, sample=3).faults == ()


def test_without_a_floor_of_raw_shots_nothing_goes(plant: Bringing) -> None:
    """What raw shots would be computed into again must be there whole."""
    assert thin_all(plant, NOW_MS).rows == 0


def test_views_read_hours_where_ten_minutes_are_gone(plant: Bringing) -> None:
    store, cutoff = plant.store, START_MS - 20 * DAY_MS
    begin = START_MS - 93 * DAY_MS
    with store.read() as connection:
        assert grain_there(connection, plant.press_id, wanted=TEN_MINUTES, from_ms=begin) == TEN_MINUTES
    thin_raw(plant, cutoff)
    thin_all(plant, cutoff)
    with store.read() as connection:
        for from_ms, grain in ((begin, HOUR), (START_MS, TEN_MINUTES)):
            assert grain_there(connection, plant.press_id, wanted=TEN_MINUTES, from_ms=from_ms) == grain
        assert grain_there(connection, plant.press_id, wanted=DAY, from_ms=begin) == DAY
        found = span_of_shots(connection, plant.press_id, from_ms=None, to_ms=None)
        words = plant_at(connection, now_ms=NOW_MS, actor=Actor("anna", "plant_engineer"))
        asked = Asked(begin, begin + DAY_MS, None, 300)
        figure = build_figure(connection, words, press="P07", asked=asked)
    assert found is not None
    assert found[0] == bucket_of(begin, HOUR)
    assert figure is not None
    assert any(y is not None for line in figure["data"] for y in line["y"])


def test_the_plants_setting_is_kept_to_at_night(plant: Bringing) -> None:
    night = NOW_MS - NOW_MS % DAY_MS + 3 * 3_600_000
    put = {"keep_raw_months": 1.0, "keep_fine_months": 13.0, "thin_at": "02:30"}
    plant.store.write(lambda c: change_settings(c, put, who="mara", now_ms=NOW_MS))
    before = len(kept(plant.store, TEN_MINUTES))
    assert Nightly(plant.store, lambda: night, pause_s=0.0).look() > 0
    # Thirteen months before that night lies within the history.
    assert 0 < len(kept(plant.store, TEN_MINUTES)) < before


def test_the_command_says_what_would_go_and_what_went(
    plant: Bringing, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", plant.store.url)
    before = len(kept(plant.store, TEN_MINUTES))
    assert main(["db", "thin", "--months", "0.01", "--dry-run"]) == 0
    assert "ten-minute" not in capsys.readouterr().out
    assert main(["db", "thin", "--months", "0.01", "--fine-months", "0.01"]) == 0
    said = capsys.readouterr().out
    assert "ten-minute summaries are gone" in said
    assert ("as a whole" in said) is not plant.store.is_sqlite
    assert len(kept(plant.store, TEN_MINUTES)) < before


# --- months of PostgreSQL -----------------------------------------------------------------------


@pytest.fixture
def spread(postgresql_url: str) -> Any:
    opened = Store(postgresql_url)
    months.make_months(opened, now_ms=START_MS, from_ms=START_MS - 120 * DAY_MS)
    yield bring_years(opened, "P07")
    opened.close()


def size_of(store: Store, table: str) -> int:
    with store.read() as connection:
        return int(connection.exec_driver_sql("SELECT pg_relation_size(%s::regclass)", (table,)).scalar_one())


def test_whole_months_are_changed_for_partitions_of_hours_and_days(spread: Bringing) -> None:
    store, cutoff = spread.store, START_MS - 20 * DAY_MS
    names = months.months_of(store, "rollups")
    hours = kept(store, HOUR)
    (first,) = [name for name in names if name == months.name_of("rollups", START_MS - 93 * DAY_MS)]
    size = size_of(store, first)
    thin_raw(spread, cutoff)
    gone = thin_all(spread, cutoff)
    assert first in gone.months
    assert months.months_of(store, "rollups") == names
    assert size_of(store, first) < size
    assert kept(store, HOUR) == hours
    with store.read() as connection:
        mine = connection.exec_driver_sql(f"SELECT DISTINCT grain FROM {first} ORDER BY 1").scalars().all()
        left = connection.exec_driver_sql(
            "SELECT conname FROM pg_constraint WHERE conrelid IN (%s::regclass, 'rollups_other'::regclass)"
            " AND contype = 'c'",
            (first,),
        ).all()
    assert mine == [HOUR, DAY]
    assert left == []
    assert thin_all(spread, cutoff).months == ()
    # New months are still made, and what comes late still finds its place.
    assert months.make_months(store, now_ms=START_MS + 200 * DAY_MS)


def test_a_month_stays_while_a_press_needs_its_ten_minutes(spread: Bringing) -> None:
    """P08's raw shots are the only ones of that month that were never thinned."""
    other = bring_years(spread.store, "P08")
    cutoff = START_MS - 20 * DAY_MS
    (mine,) = [one for one in looked_at(spread.store, cutoff_ms=cutoff) if one.press.press == "P07"]
    thin_press(spread.store, mine.press, cutoff_ms=cutoff, who="m", now_ms=NOW_MS, pause=lambda: None)
    gone = thin_all(spread, cutoff)
    # That one holds nothing.
    assert gone.months == ("rollups_2025_10",)
    assert gone.rows > 0
    with spread.store.read() as connection:
        of_other = sa.select(sa.func.count()).where(
            rollups.c.press_id == other.press_id, rollups.c.grain == TEN_MINUTES
        )
        assert connection.execute(of_other).scalar_one() > 100


def test_readers_are_not_held_up_and_one_that_stays_puts_it_off(
    spread: Bringing, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, cutoff = spread.store, START_MS - 20 * DAY_MS
    monkeypatch.setattr(months, "PATIENCE_S", 1)
    thin_raw(spread, cutoff)
    with store.engine.begin() as holder:
        holder.exec_driver_sql("SELECT count(*) FROM rollups")
        with pytest.raises(sa.exc.OperationalError):
            thin_all(spread, cutoff)
    first = months.name_of("rollups", START_MS - 93 * DAY_MS)
    assert first in thin_all(spread, cutoff).months


def test_an_embedded_database_has_no_months_to_change(store: Store) -> None:
    assert list(coarse_months.coarsen_months(store, floors={}, before_ms=NOW_MS)) == []
