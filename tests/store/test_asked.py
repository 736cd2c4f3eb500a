"""What is asked with every shot: how often the database is spoken to, and that it answers as otherwise."""

import functools
from collections.abc import Callable
from typing import Any

import psycopg
import pytest
import sqlalchemy as sa

from server.clock import now_ms
from server.errors import BusyError
from server.evaluate.press import evaluate_press
from server.ingest.batch import ReadBatch
from server.ingest.receive import receive
from server.landing import land
from server.store.asked import Asked, do, do_each, driver_of, fetch, mark_of
from server.store.bulk import KeyTakenError, insert_rows
from server.store.database import Store
from server.store.engine_pg import has_been_quiet
from server.store.evaluation import Evaluation
from server.store.plant import all_presses, put_press
from server.store.tables import plant_settings, presses
from server.store.trouble import trouble_of
from tests.benchmarks.history import CYCLE_MS, rows_of, watched_press
from tests.postgresql import PostgresqlServer

#: Messages to the database for a single live shot of a judged press, by what is done with it. They cost more
#: than computing the shot: whoever needs another one says here why.
MOST = {
    "sqlite": {"in": 12, "compute": 14, "land": 27},
    "postgresql": {"in": 8, "compute": 13, "land": 23},
}


@pytest.fixture
def heard(any_store: Store, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every message to the database, as the driver sends it; rows of one statement count as one."""
    said: list[str] = []

    def hear(text: str) -> None:
        # SQLite says every row of a statement, with its values.
        if not (said and text.startswith(("INSERT", "DELETE", "UPDATE")) and said[-1][:58] == text[:58]):
            said.append(text)

    def listening(method: Callable[..., Any]) -> Callable[..., Any]:
        def listen(cursor: Any, text: Any, *more: Any, **named: Any) -> Any:
            said.append(str(text))
            return method(cursor, text, *more, **named)

        return listen

    for name in ("execute", "executemany", "copy"):
        monkeypatch.setattr(psycopg.Cursor, name, listening(getattr(psycopg.Cursor, name)))

    def trace(driver: Any, *_: Any) -> None:
        driver.set_trace_callback(hear)

    if any_store.is_sqlite:
        for engine in (any_store.engine, any_store._readers):
            engine.dispose()
            sa.event.listen(engine, "connect", trace)
    return said


def evaluated(store: Store, press_id: int) -> Evaluation:
    with store.read() as connection:
        found = evaluate_press(connection, press_id)
    assert found is not None
    return found


def landed(store: Store, press_id: int) -> None:
    found = evaluated(store, press_id)
    store.write(lambda connection: land(connection, found, now_ms=now_ms()))


def test_a_live_shot_asks_the_database_no_oftener(any_store: Store, heard: list[str]) -> None:
    store, start_ms = any_store, now_ms() - 700 * CYCLE_MS - 86_400_000
    press_id = watched_press(store, "P07", 700)
    landed(store, press_id)
    counts: dict[str, int] = {}
    for number in (700, 701, 702):
        batch = ReadBatch(1, rows_of("P07", 1, start_ms=start_ms, first=number), [])
        heard.clear()
        store.write(functools.partial(receive, batch=batch, accept_unknown=False, now_ms=now_ms()))
        counts["in"] = len(heard)
        heard.clear()
        found = evaluated(store, press_id)
        assert found.state["leak_status"] == "ok"
        counts["compute"] = len(heard)
        heard.clear()
        store.write(functools.partial(land, evaluation=found, now_ms=now_ms()))
        counts["land"] = len(heard)
    assert counts == MOST[store.engine.dialect.name], heard


def test_a_batch_of_many_presses_asks_no_oftener_than_one_of_a_few(
    any_store: Store, heard: list[str]
) -> None:
    store, start_ms = any_store, now_ms() - 86_400_000
    counts = {}
    for presses_of in (5, 60):
        made = [rows_of(f"{presses_of}-{number}", 5, start_ms=start_ms) for number in range(presses_of)]
        for part in (slice(0, 3), slice(2, 5)):
            rows = [shot for of_press in made for shot in of_press[part]]
            batch = ReadBatch(len(rows), rows, [])
            heard.clear()
            got = store.write(functools.partial(receive, batch=batch, accept_unknown=True, now_ms=now_ms()))
        assert (got.stored, got.duplicate) == (2 * presses_of, presses_of)
        # Where something is stored within their stretch, each press is asked for its shots.
        counts[presses_of] = len(heard) - presses_of
    assert counts[60] - counts[5] <= 6, heard


_NAMED = Asked(
    sa.select(presses.c.press, presses.c.accepted, presses.c.screw_diameter_mm).where(
        presses.c.press == sa.bindparam("press", type_=sa.Text)
    )
)


def put(connection: sa.Connection) -> None:
    for code, accepted in (("P07", True), ("P08", False)):
        put_press(connection, code, {"accepted": accepted}, now_ms=1)


def test_truth_is_truth_on_both_databases(any_store: Store) -> None:
    any_store.write(put)
    with any_store.read() as connection:
        assert _NAMED.rows(connection, press="P07") == [("P07", True, None)]
        assert _NAMED.row(connection, press="P07")[1] is True  # type: ignore[index]  # it is there
        assert _NAMED.dicts(connection, press="P08") == [
            {"press": "P08", "accepted": False, "screw_diameter_mm": None}
        ]
        assert _NAMED.row(connection, press="P09") is None


def test_it_begins_the_snapshot_that_everything_else_sees(any_store: Store) -> None:
    any_store.write(put)
    with any_store.read() as connection:
        assert _NAMED.row(connection, press="P07") is not None
        any_store.write(lambda other: put_press(other, "P09", {}, now_ms=2))
        assert _NAMED.row(connection, press="P09") is None
        assert len(all_presses(connection)) == 2
    with any_store.read() as connection:
        assert _NAMED.row(connection, press="P09") is not None


def test_a_snapshot_writes_nothing(any_store: Store) -> None:
    with any_store.read() as connection, pytest.raises(sa.exc.DBAPIError, match=r"read-?only"):
        do(connection, "INSERT INTO plant_settings VALUES ('a', '1')")


def test_it_fails_as_everything_else(any_store: Store) -> None:
    def twice(connection: sa.Connection) -> None:
        mark = mark_of(connection)
        do_each(connection, f"INSERT INTO plant_settings VALUES ({mark}, {mark})", [("a", "1"), ("a", "2")])

    with pytest.raises(sa.exc.IntegrityError):
        any_store.write(twice)
    with any_store.read() as connection:
        assert fetch(connection, "SELECT * FROM plant_settings") == []


def test_rows_nobody_races_for_fail_as_a_lost_race(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    tries = []

    def job(connection: sa.Connection) -> None:
        tries.append(1)
        rows = [("a", "1"), ("a", "2")] if len(tries) == 1 else [("a", "1")]
        insert_rows(connection, plant_settings, ("name", "value"), rows, raced=False)

    store.write(job)
    assert len(tries) == 2
    store.close()


@pytest.mark.parametrize("count", [1, 3])
def test_a_key_somebody_took_meanwhile_is_said_and_the_rest_goes_on(postgresql_url: str, count: int) -> None:
    store = Store(postgresql_url)
    rows = [(f"name {number}", "1") for number in range(count)]
    store.write(lambda connection: insert_rows(connection, plant_settings, ("name", "value"), rows[-1:]))

    def job(connection: sa.Connection) -> None:
        with pytest.raises(KeyTakenError):
            insert_rows(connection, plant_settings, ("name", "value"), rows)
        insert_rows(connection, plant_settings, ("name", "value"), [("another", "2")])

    store.write(job)
    with store.read() as connection:
        kept = fetch(connection, "SELECT name FROM plant_settings ORDER BY name")
    assert kept == [("another",), rows[-1][:1]]
    store.close()


def test_what_is_asked_again_and_again_stays_prepared(postgresql_url: str) -> None:
    """A rollback makes the driver forget what it prepared, so nothing that only reads ends with one."""
    store = Store(postgresql_url)
    for number in range(12):
        with store.read() as connection:
            _NAMED.row(connection, press="P07")
            prepared = fetch(connection, "SELECT statement FROM pg_prepared_statements")
        with store.turn(1) as turn:
            assert turn is not None
        store.write(functools.partial(put_press, code=f"P{number}", changes={}, now_ms=1))
    texts = [row[0] for row in prepared]
    assert any("presses.screw_diameter_mm" in text for text in texts)
    assert any("press_turns" in text for text in texts)
    store.close()


def test_a_pooler_nobody_told_of_is_named(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    with store.read() as connection, pytest.raises(sa.exc.DBAPIError) as failed:
        do(connection, "EXECUTE prepared_on_another_connection")
    trouble = trouble_of(failed.value)
    assert isinstance(trouble, BusyError)
    assert "?prepared=off" in trouble.message
    store.close()


def test_a_connection_that_was_ended_is_found_out_without_asking(
    postgresql: PostgresqlServer, postgresql_url: str
) -> None:
    store = Store(postgresql_url)
    with store.read() as connection:
        ((process,),) = fetch(connection, "SELECT pg_backend_pid()")
        driver = driver_of(connection)
    assert has_been_quiet(driver)
    with psycopg.connect(postgresql.url("postgres"), autocommit=True) as other:
        other.execute("SELECT pg_terminate_backend(%s, 5000)", (process,))
    assert not has_been_quiet(driver)
    with store.read() as connection:
        assert fetch(connection, "SELECT 1") == [(1,)]
    store.close()


def test_a_connection_lost_in_hand_is_said_to_be_lost(
    postgresql: PostgresqlServer, postgresql_url: str
) -> None:
    store = Store(postgresql_url)
    with store.read() as connection:
        ((process,),) = fetch(connection, "SELECT pg_backend_pid()")
        with psycopg.connect(postgresql.url("postgres"), autocommit=True) as other:
            other.execute("SELECT pg_terminate_backend(%s, 5000)", (process,))
        with pytest.raises(sa.exc.DBAPIError) as lost:
            fetch(connection, "SELECT 1")
    assert lost.value.connection_invalidated
    assert isinstance(trouble_of(lost.value), BusyError)
    with store.read() as connection:
        assert fetch(connection, "SELECT 1") == [(1,)]
    store.close()
