"""Months of shots and roll-ups on PostgreSQL, made ahead and dropped when thinned; spreading over nodes."""

import contextlib
import logging
import threading
from collections.abc import Iterator

import pytest
import sqlalchemy as sa

import server.pipeline as pipeline_module
from server.cli import main
from server.errors import BusyError, RingtellError
from server.notify.hub import Hub
from server.pipeline import Pipeline
from server.store import database, distribution, months
from server.store.database import Store
from server.store.tables import REFERENCE_TABLES, metadata
from server.store.trouble import trouble_of
from tests.benchmarks.history import watched_press

#: 2026-11-18T12:26:40Z
NOW_MS = 1_795_000_000_000
DAY_MS = 86_400_000


@pytest.fixture
def plant(postgresql_url: str) -> Iterator[Store]:
    opened = Store(postgresql_url)
    yield opened
    opened.close()


def put_shots(store: Store, *times: int) -> None:
    def job(connection: sa.Connection) -> None:
        for at_ms in times:
            connection.exec_driver_sql(
                "INSERT INTO shots (press_id, at_ms, counter, setup_id) VALUES (1, %s, 1, 1)", (at_ms,)
            )

    store.write(job)


def lies_in(store: Store, at_ms: int) -> str:
    with store.read() as connection:
        query = "SELECT tableoid::regclass::text FROM shots WHERE at_ms = %s"
        return str(connection.exec_driver_sql(query, (at_ms,)).scalar_one())


def test_this_month_and_three_ahead_are_made_once(plant: Store) -> None:
    made = months.make_months(plant, now_ms=NOW_MS)
    names = ["2026_11", "2026_12", "2027_01", "2027_02"]
    assert made == [f"{table}_{name}" for table in ("shots", "rollups") for name in names]
    assert months.make_months(plant, now_ms=NOW_MS) == []
    put_shots(plant, NOW_MS, NOW_MS - 300 * DAY_MS)
    assert lies_in(plant, NOW_MS) == "shots_2026_11"
    assert lies_in(plant, NOW_MS - 300 * DAY_MS) == "shots_other"


def while_it_is_made(store: Store) -> contextlib.AbstractContextManager[str | None]:
    begin, end = months.first_of_month(NOW_MS), months.first_of_month(NOW_MS, 1)
    return months.nothing_outside(store, "shots", "at_ms", begin, end)


def test_a_shot_whose_month_is_being_made_waits_for_it(plant: Store) -> None:
    storing = threading.Thread(target=put_shots, args=(plant, NOW_MS))
    with while_it_is_made(plant) as outside:
        assert outside is not None
        storing.start()
        storing.join(timeout=0.1)
        assert storing.is_alive()
    storing.join(timeout=30)
    assert lies_in(plant, NOW_MS) == "shots_other"


def test_who_sends_shots_of_a_month_that_is_long_in_the_making_is_told_to_try_again(
    plant: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "MONTH_PAUSE_S", 0.01)
    with while_it_is_made(plant), pytest.raises(sa.exc.IntegrityError) as failed:
        put_shots(plant, NOW_MS)
    trouble = trouble_of(failed.value)
    assert isinstance(trouble, BusyError)
    assert "send again" in trouble.message


def test_another_constraint_that_is_broken_is_our_fault(plant: Store) -> None:
    with plant.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE shots_other ADD CONSTRAINT late CHECK (at_ms < 0) NOT VALID")
    with pytest.raises(sa.exc.IntegrityError) as failed:
        put_shots(plant, NOW_MS)
    assert trouble_of(failed.value) is None


def test_an_evaluation_whose_month_is_being_made_waits_and_blames_no_press(
    plant: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline_module, "AWAY_S", 0.01)
    press_id = watched_press(plant, "P07", 700)
    with plant.read() as connection:
        at_ms = int(connection.exec_driver_sql("SELECT min(at_ms) FROM shots").scalar_one())
    pipeline = Pipeline(plant, Hub(), now_ms=lambda: NOW_MS, child_process=False)
    begin, end = months.first_of_month(at_ms), months.first_of_month(at_ms, 1)
    with months.nothing_outside(plant, "rollups", "bucket_ms", begin, end):
        assert not pipeline._look_at(press_id)
    assert pipeline._resting == {}
    assert pipeline.evaluate_one(press_id)
    pipeline.close()


def test_months_are_there_before_the_first_shot_can_come(plant: Store) -> None:
    pipeline = Pipeline(plant, Hub(), now_ms=lambda: NOW_MS, child_process=False)
    pipeline.start(tick_every_s=600)
    try:
        assert "shots_2026_11" in months.months_of(plant, "shots")
    finally:
        pipeline.close()


def test_much_without_a_month_is_not_read_before_the_start(
    plant: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_shots(plant, NOW_MS - 300 * DAY_MS)
    monkeypatch.setattr(months, "OTHERS_MAX", 8_191)
    looked_after = months.Months(plant)
    assert looked_after.before_anybody_writes(NOW_MS) == []
    assert "shots_2026_11" in looked_after.look_after(NOW_MS)


def test_a_month_that_lies_among_the_others_already_stays_there(plant: Store) -> None:
    put_shots(plant, NOW_MS)
    made = months.make_months(plant, now_ms=NOW_MS)
    assert "shots_2026_11" not in made
    assert {"shots_2026_12", "rollups_2026_11"} <= set(made)
    assert lies_in(plant, NOW_MS) == "shots_other"
    put_shots(plant, NOW_MS + 1)
    assert lies_in(plant, NOW_MS + 1) == "shots_other"


def test_earlier_months_are_made_before_history_is_brought(plant: Store) -> None:
    months.make_months(plant, now_ms=NOW_MS, from_ms=NOW_MS - 100 * DAY_MS)
    put_shots(plant, NOW_MS - 90 * DAY_MS)
    assert lies_in(plant, NOW_MS - 90 * DAY_MS) == "shots_2026_08"


def test_a_thinned_month_is_detached_and_what_stays_moves_to_the_others(plant: Store) -> None:
    months.make_months(plant, now_ms=NOW_MS, from_ms=NOW_MS - 100 * DAY_MS)
    put_shots(plant, NOW_MS - 90 * DAY_MS, NOW_MS)
    gone = list(months.drop_thinned(plant, cutoff_ms=NOW_MS - 60 * DAY_MS))
    assert gone == ["shots_2026_08"]
    assert lies_in(plant, NOW_MS - 90 * DAY_MS) == "shots_other"
    assert lies_in(plant, NOW_MS) == "shots_2026_11"
    assert months.months_of(plant, "shots")[0] == "shots_2026_09"


def test_a_month_with_much_left_stays(plant: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    months.make_months(plant, now_ms=NOW_MS, from_ms=NOW_MS - 100 * DAY_MS)
    put_shots(plant, NOW_MS - 90 * DAY_MS, NOW_MS - 90 * DAY_MS + 1)
    monkeypatch.setattr(months, "LEFT_MAX", 1)
    assert list(months.drop_thinned(plant, cutoff_ms=NOW_MS - 60 * DAY_MS)) == []


def test_a_table_in_use_is_left_for_later(plant: Store, caplog: pytest.LogCaptureFixture) -> None:
    with plant.engine.begin() as holder:
        holder.exec_driver_sql("LOCK TABLE shots_other IN ACCESS SHARE MODE")
        with caplog.at_level(logging.WARNING):
            made = months.make_months(plant, now_ms=NOW_MS)
    assert [name for name in made if name.startswith("shots")] == []
    assert len(made) == 4
    assert "made later" in caplog.text
    assert len(months.make_months(plant, now_ms=NOW_MS)) == 4


def test_one_press_and_stretch_is_found_by_key_in_its_month_alone(plant: Store) -> None:
    months.make_months(plant, now_ms=NOW_MS, from_ms=NOW_MS - 100 * DAY_MS)
    with plant.read() as connection:
        connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
        query = f"SELECT * FROM shots WHERE press_id = 1 AND at_ms >= {NOW_MS} AND at_ms < {NOW_MS + DAY_MS}"
        plan = "\n".join(connection.exec_driver_sql(f"EXPLAIN {query}").scalars())
    assert "shots_2026_11" in plan
    assert "Index" in plan
    assert "shots_other" not in plan
    assert "shots_2026_08" not in plan


def test_an_embedded_database_has_no_months(store: Store) -> None:
    assert months.Months(store).look_after(NOW_MS) == []
    assert months.months_of(store, "shots") == []


# --- over nodes ---------------------------------------------------------------------------------


def test_every_key_and_unique_constraint_of_a_spread_table_begins_with_the_press() -> None:
    firsts: dict[tuple[str, str], str] = {}
    for name, table in metadata.tables.items():
        if name in REFERENCE_TABLES:
            continue
        made: list[sa.Constraint | sa.Index] = [table.primary_key]
        made += [one for one in table.constraints if isinstance(one, sa.UniqueConstraint)]
        made += [index for index in table.indexes if index.unique]
        for one in made:
            firsts[name, str(one.name)] = next(iter(one.columns)).name  # type: ignore[union-attr]  # each has some
    wrong = {key: first for key, first in firsts.items() if first != "press_id"}
    # Rows kept apart name presses that have no number yet, and are spread by that name.
    assert wrong == {("quarantine", "pk_quarantine"): "press"}


def test_no_spread_table_points_at_another() -> None:
    """A foreign key between two presses' rows would cross nodes."""
    assert {name for name, table in metadata.tables.items() if table.foreign_keys} == set()


def test_every_table_is_spread_once_those_of_a_press_together() -> None:
    every = list(distribution.spreads())
    assert sorted(one.table for one in every) == sorted(metadata.tables)
    by_table = {one.table: one.statement for one in every}
    assert by_table["molds"] == "SELECT create_reference_table('molds')"
    assert by_table["press_states"].endswith("('press_states', 'press_id', colocate_with => 'none')")
    assert by_table["shots"].endswith("('shots', 'press_id', colocate_with => 'press_states')")
    assert by_table["quarantine"].endswith("('quarantine', 'press', colocate_with => 'none')")
    names = [one.table for one in every]
    assert names.index("press_states") < min(names.index(name) for name in ("shots", "intake", "alarms"))


def test_the_statements_are_those_the_database_would_run(plant: Store) -> None:
    """Without the extension: its two functions stood in for by ones that note what they were asked."""

    def stand_in(connection: sa.Connection) -> None:
        connection.exec_driver_sql("CREATE TABLE asked (name regclass, by_column text, beside text)")
        connection.exec_driver_sql(
            "CREATE FUNCTION create_reference_table(name regclass) RETURNS void LANGUAGE sql"
            " AS 'INSERT INTO asked VALUES (name, NULL, NULL)'"
        )
        connection.exec_driver_sql(
            "CREATE FUNCTION create_distributed_table(name regclass, by_column text, colocate_with text)"
            " RETURNS void LANGUAGE sql AS 'INSERT INTO asked VALUES (name, by_column, colocate_with)'"
        )

    plant.write(stand_in)
    for one in distribution.spreads():
        distribution.spread(plant, one)
    with plant.read() as connection:
        asked = connection.exec_driver_sql("SELECT name::text, by_column FROM asked").all()
        for name, column in asked:
            if column is not None:
                query = f"SELECT count({column}) FROM {name}"
                assert connection.exec_driver_sql(query).scalar_one() == 0
    assert {name for name, _ in asked} == set(metadata.tables)
    assert {name for name, column in asked if column is None} == set(REFERENCE_TABLES)


def test_without_the_extension_it_says_what_to_do_and_changes_nothing(plant: Store) -> None:
    with pytest.raises(RingtellError, match="no extension citus") as raised:
        distribution.need_extension(plant)
    assert "Nothing was changed" in raised.value.message


def test_the_command_says_so_too(
    postgresql_url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", postgresql_url)
    assert main(["db", "distribute"]) == 1
    assert "no extension citus" in capsys.readouterr().err
    assert main(["db", "distribute", "--show"]) == 0
    assert "SELECT create_distributed_table('shots', 'press_id'" in capsys.readouterr().out
    assert main(["db", "months", "--since", "2026-09-01T00:00:00Z"]) == 0
    assert "shots_2026_09: made" in capsys.readouterr().out


def test_an_sqlite_file_is_told_to_move_first(store: Store) -> None:
    with pytest.raises(RingtellError, match="move the plant to PostgreSQL"):
        distribution.need_extension(store)
