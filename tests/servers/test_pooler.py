"""Everything works through a real pgbouncer in transaction mode, which keeps no session together."""

import logging
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
import sqlalchemy as sa

from server.care import check
from server.store import relay as relays
from server.store.database import Store
from server.store.engine import head_revision
from server.store.relay import ALL, Relay
from server.store.trouble import trouble_of
from tests.evaluate.history import Bringing, record_of, shots_of
from tests.pgbouncer import MissingPgbouncerError, Pgbouncer
from tests.postgresql import PostgresqlServer
from tests.processes import Served, run_command
from tests.servers.test_several import Page, some_shots, wait_until

#: Fewer than Ringtell's own connections: they are shared all the time.
POOL = 6


@pytest.fixture(scope="module")
def pooler(postgresql: PostgresqlServer) -> Iterator[Pgbouncer]:
    try:
        started = Pgbouncer(postgresql, pool_size=POOL)
    except MissingPgbouncerError as missing:
        pytest.skip(str(missing))
    yield started
    started.stop()


@pytest.fixture
def pooled_url(pooler: Pgbouncer, postgresql_url: str) -> str:
    """The address of this test's database through the pooler."""
    database = sa.make_url(postgresql_url).database
    assert database is not None
    return pooler.url(database)


@pytest.fixture
def pooled(pooled_url: str) -> Iterator[Store]:
    opened = Store(pooled_url)
    yield opened
    opened.close()


def settings_left(url: str) -> set[tuple[str, ...]]:
    """What is set in each of the connections the pooler holds, as its next clients see it."""
    names = ("statement_timeout", "lock_timeout", "idle_in_transaction_session_timeout")
    bare = url.removesuffix("&prepared=off")
    found: set[tuple[str, ...]] = set()
    holders = [psycopg.connect(bare, prepare_threshold=None) for _ in range(POOL)]
    for holder in holders:  # each within a transaction, so that each has a connection of its own
        found.add(tuple(str(holder.execute(f"SHOW {name}").fetchone()) for name in names))
    for holder in holders:
        holder.rollback()
        holder.close()
    return found


def test_connections_are_shared_and_nothing_is_left_in_them(pooled: Store, pooled_url: str) -> None:
    """More threads than connections, the same statements over and over, each transaction bounded."""
    pids: set[int] = set()
    bounds: set[str] = set()
    failed: list[BaseException] = []

    def work() -> None:
        try:
            for number in range(30):
                with pooled.read() as connection:
                    query = sa.text("SELECT pg_backend_pid(), current_setting('statement_timeout'), :n")
                    pid, bound, _ = connection.execute(query, {"n": number}).one()
                pids.add(pid)
                bounds.add(bound)
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=work) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert 1 < len(pids) <= POOL
    assert bounds == {"1min"}
    assert settings_left(pooled_url) == {("('0',)", "('0',)", "('0',)")}


def test_what_takes_or_waits_too_long_is_ended_and_the_next_is_not(pooled_url: str) -> None:
    store = Store(f"{pooled_url}&statement_s=1&lock_s=1")
    with pytest.raises(sa.exc.DBAPIError) as raised, store.read() as connection:
        connection.exec_driver_sql("SELECT pg_sleep(20)")
    assert "took longer" in getattr(trouble_of(raised.value), "message", "")
    with store.engine.begin() as holder:
        holder.exec_driver_sql("LOCK TABLE plant_settings")
        with pytest.raises(sa.exc.DBAPIError) as held:
            store.write(lambda connection: connection.exec_driver_sql("DELETE FROM plant_settings"))
    assert trouble_of(held.value) is not None
    with store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM shots").scalar_one() == 0
    store.close()


def test_history_comes_out_as_it_does_without_a_pooler(pooled: Store, postgresql_url: str) -> None:
    """Binary COPY, savepoints and the landing of evaluations, in pieces and at once."""
    direct = Store(postgresql_url)
    found = []
    for store, press, step in ((pooled, "P1", 50), (direct, "P2", 1_000)):
        shots = shots_of(press)
        bringing = Bringing(store, press, record_of(shots))
        for start in range(0, len(shots), step):
            bringing.bring(shots[start : start + step])
            bringing.settle()
        bringing.approve(shots)
        bringing.settle()
        found.append(bringing.results())
    assert found[0] == found[1]
    assert check(pooled, sample=5).faults == ()
    direct.close()


def test_a_turn_is_one_servers_until_its_transaction_ends(pooled: Store, pooled_url: str) -> None:
    other = Store(pooled_url)
    with pooled.turn(7) as mine:
        assert mine is not None
        with other.turn(7) as theirs:
            assert theirs is None
        mine.write(lambda connection: connection.exec_driver_sql("SELECT 1").scalar_one())
        with other.turn(7) as theirs:
            assert theirs is not None
    other.close()


def test_servers_that_migrate_at_once_wait_for_each_other(
    pooler: Pgbouncer, postgresql: PostgresqlServer, tmp_path: Path
) -> None:
    """The advisory lock is the transaction's, so it neither gets lost nor stays behind."""
    url = pooler.url(postgresql.new_database())
    failed: list[BaseException] = []

    def migrate() -> None:
        try:
            run_command("db", "upgrade", folder=tmp_path, settings={"RINGTELL_DATABASE_URL": url})
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=migrate) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    store = Store(url)
    with store.read() as connection:
        assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars().all() == [
            head_revision()
        ]
        locks = "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory'"
        assert connection.exec_driver_sql(locks).scalar_one() == 0
    store.close()


def test_pages_of_every_server_hear_what_comes_to_any(
    pooled_url: str, postgresql_url: str, tmp_path: Path
) -> None:
    """Two servers behind the pooler; what they tell each other goes past it."""
    settings = {
        "RINGTELL_DATABASE_URL": pooled_url,
        "RINGTELL_DATABASE_DIRECT_URL": postgresql_url,
        "RINGTELL_NO_LOGIN": "1",
        "RINGTELL_ACCEPT_UNKNOWN": "1",
    }
    made = []
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        made.append(Served("serve", folder=tmp_path / name, settings=settings))
    one, other = made
    try:
        one.start()
        other.start()
        page = Page(other.address)
        page.start()
        assert page.open.wait(20)
        sent = httpx.post(f"{one.address}/api/v1/shots", json=some_shots("P01", 5), timeout=20)
        assert sent.status_code == 200, sent.text
        page.wait_for(("shots", "P01"))
        answer = httpx.get(f"{other.address}/api/v1/presses/P01", timeout=20).json()
        assert answer["pending_shots"] == 0
        assert [server.stop() for server in made] == [0, 0]
    finally:
        for server in made:
            server.kill()


def test_a_relay_behind_a_pooler_says_so_and_pages_read_anew_by_the_clock(
    pooled_url: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(relays, "_DEAF_S", 0.1)
    heard: list[tuple[str, str]] = []
    relay = Relay(pooled_url, lambda kind, subject: heard.append((kind, subject)))
    with caplog.at_level(logging.WARNING):
        relay.start()
        wait_until(lambda: heard.count(ALL) >= 3, seconds=20)
    relay.close()
    relay.join()
    assert "RINGTELL_DATABASE_DIRECT_URL" in caplog.text
    assert caplog.text.count("RINGTELL_DATABASE_DIRECT_URL") == 1


def test_a_relay_on_the_database_itself_reads_nothing_anew(
    postgresql_url: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(relays, "_DEAF_S", 0.1)
    heard: list[Any] = []
    relay, other = (Relay(postgresql_url, lambda *word: heard.append(word)) for _ in range(2))
    with caplog.at_level(logging.WARNING):
        relay.start()
        assert relay.listening.wait(20)
        time.sleep(0.5)
        other.tell("shots", "P09")
        wait_until(lambda: ("shots", "P09") in heard, seconds=20)
    for one in (relay, other):
        one.close()
        one.join()
    assert heard == [("shots", "P09")]
    assert caplog.text == ""
