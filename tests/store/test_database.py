"""Writing: jobs that wait share a commit, a failing job leaves nothing, too many are told so."""

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import pytest
import sqlalchemy as sa

from server.errors import BusyError, UsageError
from server.store import database
from server.store.database import BACKGROUND, URGENT, USUAL, Store


def put(name: str, value: str = "1") -> Callable[[sa.Connection], str]:
    def job(connection: sa.Connection) -> str:
        connection.execute(
            sa.text("INSERT INTO plant_settings (name, value) VALUES (:name, :value)"),
            {"name": name, "value": value},
        )
        return name

    return job


def names(store: Store) -> list[str]:
    with store.read() as connection:
        query = sa.text("SELECT name FROM plant_settings WHERE name LIKE 't-%' ORDER BY name")
        return list(connection.execute(query).scalars())


class HeldWriter:
    """The writer kept busy with one job, so that others queue up behind it."""

    def __init__(self, store: Store, pool: ThreadPoolExecutor) -> None:
        self.begun, self.released = threading.Event(), threading.Event()
        self.store, self.pool = store, pool

        def hold(_: sa.Connection) -> None:
            self.begun.set()
            assert self.released.wait(20)

        self.job = pool.submit(store.write, hold, priority=BACKGROUND)
        assert self.begun.wait(20)

    def queue(self, job: Callable[[sa.Connection], str], priority: int = USUAL) -> "Future[str]":
        before = self.store._waiting.qsize()
        waiting = self.pool.submit(self.store.write, job, priority=priority)
        while self.store._waiting.qsize() == before:
            threading.Event().wait(0.001)
        return waiting

    def release(self) -> None:
        self.released.set()
        self.job.result(20)


def test_a_write_is_seen_by_the_next_reader(any_store: Store) -> None:
    assert any_store.write(put("t-1")) == "t-1"
    assert names(any_store) == ["t-1"]


def test_a_failing_job_leaves_nothing_and_says_why(any_store: Store) -> None:
    def half_done(connection: sa.Connection) -> str:
        put("t-half")(connection)
        raise ValueError("stopped half way")

    with pytest.raises(ValueError, match="stopped half way"):
        any_store.write(half_done)
    assert names(any_store) == []
    any_store.write(put("t-next"))
    assert names(any_store) == ["t-next"]


def test_a_failing_job_takes_no_other_of_its_group_along(store: Store) -> None:
    def broken(connection: sa.Connection) -> str:
        put("t-broken")(connection)
        raise ValueError("no")

    with ThreadPoolExecutor(8) as pool:
        held = HeldWriter(store, pool)
        waiting = [held.queue(job) for job in (put("t-a"), broken, put("t-b"))]
        held.release()
        assert waiting[0].result(20) == "t-a"
        assert isinstance(waiting[1].exception(20), ValueError)
        assert waiting[2].result(20) == "t-b"
    assert names(store) == ["t-a", "t-b"]


def test_jobs_that_wait_share_one_commit(store: Store) -> None:
    commits: list[object] = []
    sa.event.listen(store.engine, "commit", commits.append)
    with ThreadPoolExecutor(16) as pool:
        held = HeldWriter(store, pool)
        waiting = [held.queue(put(f"t-{i:02}")) for i in range(12)]
        held.release()
        assert [one.result(20) for one in waiting] == [f"t-{i:02}" for i in range(12)]
    assert len(commits) == 2  # the one that held the writer, and the group
    assert len(names(store)) == 12


def test_no_answer_leaves_before_the_commit(store: Store) -> None:
    """A second connection sees the row as soon as the caller has its answer."""
    for i in range(20):
        store.write(put(f"t-{i:02}"))
        assert len(names(store)) == i + 1


def test_ingest_goes_before_what_waits_already(store: Store) -> None:
    order: list[str] = []

    def note(name: str) -> Callable[[sa.Connection], str]:
        def job(_: sa.Connection) -> str:
            order.append(name)
            return name

        return job

    with ThreadPoolExecutor(8) as pool:
        held = HeldWriter(store, pool)
        waiting = [
            held.queue(note("evaluation"), BACKGROUND),
            held.queue(note("person"), USUAL),
            held.queue(note("ingest"), URGENT),
        ]
        held.release()
        for one in waiting:
            one.result(20)
    assert order == ["ingest", "person", "evaluation"]


def test_too_many_waiting_writes_are_told_to_come_back(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(database, "WAITING_MAX", 2)
    with ThreadPoolExecutor(8) as pool:
        held = HeldWriter(store, pool)
        waiting = [held.queue(put("t-1")), held.queue(put("t-2"))]
        with pytest.raises(BusyError, match="nothing was stored") as refused:
            store.write(put("t-3"))
        held.release()
        for one in waiting:
            one.result(20)
    assert refused.value.retry_after_s > 0
    assert names(store) == ["t-1", "t-2"]


def test_a_reader_sees_one_state_from_first_to_last(any_store: Store) -> None:
    query = sa.text("SELECT count(*) FROM plant_settings WHERE name LIKE 't-%'")
    with any_store.read() as connection:
        before = connection.execute(query).scalar_one()
        any_store.write(put("t-during"))
        assert connection.execute(query).scalar_one() == before
    assert names(any_store) == ["t-during"]


def test_closing_finishes_what_waits(sqlite_url: str) -> None:
    store = Store(sqlite_url)
    with ThreadPoolExecutor(8) as pool:
        held = HeldWriter(store, pool)
        waiting = [held.queue(put(f"t-{i}"), BACKGROUND) for i in range(3)]
        closing = pool.submit(store.close)
        held.release()
        closing.result(30)
        assert [one.result(20) for one in waiting] == ["t-0", "t-1", "t-2"]
    again = Store(sqlite_url)
    assert names(again) == ["t-0", "t-1", "t-2"]
    again.close()


@pytest.mark.parametrize("url", ["sqlite://", "sqlite:///:memory:", "mysql://somewhere/plant"])
def test_a_database_that_keeps_nothing_or_is_unknown_is_refused(url: str) -> None:
    with pytest.raises(UsageError, match=r"sqlite:///FILE"):
        Store(url)


def test_a_file_that_is_no_database_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "notes.db"
    file.write_bytes(b"no database at all, only notes of the night shift\n" * 40)
    before = file.read_bytes()
    with pytest.raises(sa.exc.DatabaseError):
        Store(f"sqlite:///{file}")
    assert file.read_bytes() == before
