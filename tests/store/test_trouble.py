"""A full, locked or lost database: what it is called, that nothing half-stored stays, and that it ends."""

import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import psycopg
import pytest
import sqlalchemy as sa

from server.errors import BusyError, StorageError
from server.store import database, engine
from server.store.database import BACKGROUND, Store
from server.store.trouble import trouble_of


def put(name: str, size: int) -> Callable[[sa.Connection], None]:
    def job(connection: sa.Connection) -> None:
        connection.exec_driver_sql("INSERT INTO plant_settings VALUES (?, ?)", (name, "x" * size))

    return job


def names(store: Store) -> list[str]:
    with store.read() as connection:
        query = sa.text("SELECT name FROM plant_settings WHERE name LIKE 't-%' ORDER BY name")
        return list(connection.execute(query).scalars())


@pytest.fixture
def small(store: Store) -> Iterator[Store]:
    """A store whose file may grow by a few pages only; `room_again` lifts that."""

    def bounded(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute("PRAGMA max_page_count = 150")

    sa.event.listen(store.engine, "connect", bounded)
    store.engine.dispose()
    yield store
    if sa.event.contains(store.engine, "connect", bounded):
        sa.event.remove(store.engine, "connect", bounded)


def room_again(store: Store) -> None:
    for connection in (store.engine.raw_connection(),):
        connection.cursor().execute("PRAGMA max_page_count = 1073741823")
        connection.close()


def test_a_full_disk_is_said_and_nothing_of_the_group_is_stored(small: Store) -> None:
    """SQLite undoes the whole transaction then, so no job of the group may be answered with success."""
    begun, released = threading.Event(), threading.Event()

    def hold(_: sa.Connection) -> None:
        begun.set()
        assert released.wait(20)

    with ThreadPoolExecutor(4) as pool:
        held = pool.submit(small.write, hold, priority=BACKGROUND)
        assert begun.wait(20)
        waiting = [pool.submit(small.write, put(*one)) for one in (("t-small", 1), ("t-big", 5_000_000))]
        while small.writer_state().waiting < 2:
            threading.Event().wait(0.001)
        released.set()
        held.result(20)
        errors = [one.exception(20) for one in waiting]
    assert [type(trouble_of(error)) for error in errors if error] == [StorageError] * 2
    assert names(small) == []


def test_a_full_disk_that_has_room_again_takes_writes_without_a_restart(small: Store) -> None:
    with pytest.raises(sa.exc.OperationalError, match="full") as refused:
        small.write(put("t-big", 5_000_000))
    trouble = trouble_of(refused.value)
    assert isinstance(trouble, StorageError)
    assert (trouble.status, trouble.code) == (507, "storage_full")
    assert "nothing of this request was stored" in trouble.message
    small.write(put("t-fits", 1))
    room_again(small)
    small.write(put("t-big", 5_000_000))
    assert names(small) == ["t-big", "t-fits"]


def test_a_database_another_program_holds_is_busy_and_comes_back(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "LOCKED_WITHIN_S", 0)
    store = Store(sqlite_url)
    other = sqlite3.connect(sqlite_url.removeprefix("sqlite:///"), isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(sa.exc.OperationalError) as refused:
        store.write(put("t-1", 1))
    assert isinstance(trouble_of(refused.value), BusyError)
    other.execute("ROLLBACK")
    other.close()
    store.write(put("t-1", 1))
    assert names(store) == ["t-1"]
    store.close()


def of(error: BaseException, state: str) -> object:
    error.sqlstate = state  # type: ignore[attr-defined]  # the driver sets it from the server's answer
    return type(trouble_of(sa.exc.OperationalError("INSERT", {}, error)))


def test_postgresql_says_by_its_state_what_is_wrong() -> None:
    assert of(psycopg.OperationalError("No space left on device"), "53100") is StorageError
    assert of(psycopg.OperationalError("terminating connection"), "57P01") is BusyError
    assert of(psycopg.OperationalError("deadlock detected"), "40P01") is BusyError


def test_a_fault_of_ours_is_no_trouble_of_the_database(store: Store) -> None:
    with pytest.raises(sa.exc.OperationalError) as wrong:
        store.write(lambda connection: connection.exec_driver_sql("SELECT * FROM nowhere"))
    assert trouble_of(wrong.value) is None
    assert trouble_of(ValueError("no")) is None


def test_the_writer_says_how_long_it_has_been_at_something(store: Store) -> None:
    begun, released = threading.Event(), threading.Event()

    def hold(_: sa.Connection) -> None:
        begun.set()
        assert released.wait(20)

    assert store.writer_state() == database.WriterState(is_alive=True, waiting=0, busy_s=0.0)
    with ThreadPoolExecutor(1) as pool:
        held = pool.submit(store.write, hold)
        assert begun.wait(20)
        threading.Event().wait(0.01)
        assert store.writer_state().busy_s >= 0.01
        released.set()
        held.result(20)


def test_a_closed_store_refuses_instead_of_waiting_for_ever(sqlite_url: str) -> None:
    store = Store(sqlite_url)
    store.close()
    with pytest.raises(BusyError, match="nothing was stored"):
        store.write(put("t-1", 1))
