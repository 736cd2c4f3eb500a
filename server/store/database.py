"""The database as the rest sees it: `read()` gives a snapshot, `write(job)` the only commit.

SQLite has one writer: a thread that takes waiting jobs, urgent ones (ingest) first, runs each in
its own savepoint and commits them together. On PostgreSQL a job runs in its own transaction in
the calling thread; one that lost a race against another is run again from its start.
"""

import contextlib
import dataclasses
import itertools
import queue
import random
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from typing import Any, TypeVar

import sqlalchemy as sa

from server.errors import BusyError
from server.language import N_
from server.store import trouble, turns
from server.store.engine import open_engine
from server.store.engine_pg import SNAPSHOT

Result = TypeVar("Result")
Job = Callable[[sa.Connection], Result]

#: Jobs waiting before callers are told to come back later: never a silent drop.
WAITING_MAX = 2_000
#: Jobs that share one commit.
GROUP_MAX = 64

#: Times a job is run on PostgreSQL when another took its number, or its locks, at the same moment.
RACES_MAX = 6
#: Longest pause before it is run again, in seconds; chance spreads those that met.
RACE_PAUSE_S = 0.05
#: The same while the month of its rows is being made, which reads what lies outside all months.
MONTH_PAUSE_S = 0.5

URGENT, USUAL, BACKGROUND = 0, 1, 2

_Waiting = tuple[int, int, "Job[Any] | None", "Future[Any] | None"]


@dataclasses.dataclass(frozen=True)
class WriterState:
    """How the writer stands: jobs waiting, and for how long it has been at one group (0.0: idle)."""

    is_alive: bool
    waiting: int
    busy_s: float


class Turn:
    """A press that is ours to work on. `write` commits, and on PostgreSQL gives the turn back with it."""

    def __init__(self, store: "Store", connection: sa.Connection | None) -> None:
        self._store, self._connection = store, connection

    def write(self, job: "Job[Result]", *, priority: int = BACKGROUND) -> Result:
        """Run `job` in the transaction that holds the turn: it lands only while the turn is still ours."""
        if self._connection is None:
            return self._store.write(job, priority=priority)
        result = _within(self._connection, job)
        self._connection.commit()
        return result


class Store:
    """A database opened for reading and writing."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine = open_engine(url)
        self.is_sqlite = self.engine.dialect.name == "sqlite"
        # Opened after the writer's engine, which sets the journal mode.
        with self.engine.connect():
            pass
        self._readers = open_engine(url, read_only=True) if self.is_sqlite else self.engine
        self._order = itertools.count()
        self._lock = threading.Lock()
        self._closed = False
        self._busy_since: float | None = None
        self._waiting: queue.PriorityQueue[_Waiting] = queue.PriorityQueue()
        self._writer: threading.Thread | None = None
        if self.is_sqlite:
            self._writer = threading.Thread(target=self._write_loop, name="ringtell-writer", daemon=True)
            self._writer.start()

    @contextlib.contextmanager
    def read(self) -> Iterator[sa.Connection]:
        """A connection whose statements all see one state of the database."""
        with self._readers.connect() as connection:
            if not self.is_sqlite:
                connection.execution_options(**{SNAPSHOT: True})
            yield connection
            # Nothing was written. A rollback would make the driver forget every statement it prepared, so
            # that the database planned each anew each time: two fifths of its work for a shot.
            _end(connection)

    def write(self, job: "Job[Result]", *, priority: int = USUAL) -> Result:
        """Run `job` in a transaction; return its result once it is durable.

        A job changes nothing but what its connection writes: it may be run more than once.

        Raises whatever `job` raises (nothing of it is kept), or BusyError when too many wait.
        """
        if not self.is_sqlite:
            return self._write_alone(job)
        future: Future[Result] = Future()
        with self._lock:
            if self._closed:
                raise BusyError(N_("the server is stopping; send again in a moment, nothing was stored"))
            if self._waiting.qsize() >= WAITING_MAX:
                raise BusyError(N_("too many writes are waiting; send again in 2 s, nothing was stored"))
            self._waiting.put((priority, next(self._order), job, future))
        return future.result()

    def _write_alone(self, job: "Job[Result]") -> Result:
        for _ in range(RACES_MAX - 1):
            try:
                with self.engine.begin() as connection:
                    return job(connection)
            except sa.exc.DBAPIError as error:
                if not trouble.lost_a_race(error):
                    raise
                longest = MONTH_PAUSE_S if trouble.is_month_made(error) else RACE_PAUSE_S
            time.sleep(random.uniform(longest / 10, longest))
        with self.engine.begin() as connection:
            return job(connection)

    @contextlib.contextmanager
    def turn(self, press_id: int) -> Iterator[Turn | None]:
        """The sole right to work on a press (`turns.PLANT_TURN`: on the plant); None when another has it.

        SQLite has one server: there everybody has the turn.
        """
        if self.is_sqlite:
            yield Turn(self, None)
            return
        with self.engine.connect() as connection:
            taken = turns.take(connection, press_id)
            if taken is None:
                connection.commit()
                self.write(lambda other: turns.make(other, press_id))
                taken = turns.take(connection, press_id)
            yield Turn(self, connection) if taken else None
            # Not by a rollback, for the reason given in `read`.
            _end(connection)

    def writer_state(self) -> WriterState:
        """Whether writes get through. PostgreSQL has no writer of ours: its jobs run where they come from."""
        since = self._busy_since
        return WriterState(
            is_alive=self._writer is None or self._writer.is_alive(),
            waiting=self._waiting.qsize(),
            busy_s=0.0 if since is None else time.monotonic() - since,
        )

    def close(self) -> None:
        """Finish the waiting writes and close every connection."""
        if self._writer is not None:
            with self._lock:
                self._closed = True
                self._waiting.put((BACKGROUND + 1, next(self._order), None, None))
            self._writer.join(timeout=30)
        self._readers.dispose()
        self.engine.dispose()

    # --- the SQLite writer ------------------------------------------------------------------

    def _write_loop(self) -> None:
        while True:
            group = [self._waiting.get()]
            # Background jobs commit alone, so that a long one holds up no ingest behind it.
            while group[0][0] < BACKGROUND and len(group) < GROUP_MAX:
                try:
                    waiting = self._waiting.get_nowait()
                except queue.Empty:
                    break
                if waiting[0] >= BACKGROUND:
                    self._waiting.put(waiting)
                    break
                group.append(waiting)
            if group[0][2] is None:
                return
            self._busy_since = time.monotonic()
            self._commit_group(group)
            self._busy_since = None

    def _commit_group(self, group: "list[_Waiting]") -> None:
        answers: list[tuple[Future[Any], Any, BaseException | None]] = []
        try:
            with self.engine.connect() as connection, connection.begin():
                # Take the write lock at once: a reader's snapshot can never make this one fail.
                connection.exec_driver_sql("UPDATE plant_settings SET value = value WHERE name = ''")
                for _, _, job, future in group:
                    assert job is not None
                    assert future is not None
                    answers.append((future, *_run(connection, job)))
        except BaseException as error:
            for _, _, _, future in group:
                if future is not None:
                    future.set_exception(error)
            return
        for future, result, failed in answers:
            if failed is None:
                future.set_result(result)
            else:
                future.set_exception(failed)


def _within(connection: sa.Connection, job: "Job[Result]") -> Result:
    """Run a job in a transaction that goes on holding what it holds; again where it lost a race."""
    for _ in range(RACES_MAX - 1):
        try:
            with connection.begin_nested():
                return job(connection)
        except sa.exc.DBAPIError as error:
            if not trouble.lost_a_race(error):
                raise
        time.sleep(random.uniform(0.0, RACE_PAUSE_S))
    return job(connection)


def _end(connection: sa.Connection) -> None:
    """End a transaction that wrote nothing more. A connection that was lost in it has none left to end."""
    if not connection.invalidated:
        connection.commit()


def _run(connection: sa.Connection, job: Job[Any]) -> tuple[Any, BaseException | None]:
    connection.exec_driver_sql("SAVEPOINT job")
    try:
        result = job(connection)
    except Exception as error:  # handed to the caller; the others of the group go on
        if not _in_transaction(connection):
            # A full disk makes SQLite undo the whole transaction: the others of the group fail with it.
            raise
        connection.exec_driver_sql("ROLLBACK TO job")
        connection.exec_driver_sql("RELEASE job")
        return None, error
    connection.exec_driver_sql("RELEASE job")
    return result, None


def _in_transaction(connection: sa.Connection) -> bool:
    return bool(getattr(connection.connection.dbapi_connection, "in_transaction", True))
