"""The spool: shots on disk between a press and the server, in order, until the server has them.

A file of SQLite with `synchronous=FULL`: what `append` returned for survives a power cut. A shot is
one line of NDJSON as `POST /api/v1/shots` takes it, press and stored units included. It leaves the
spool only when the server said 200; a line the server refuses as a whole is moved to `apart` with
the reason, and can be put back with `retry_apart`.

The spool is bounded. A full one refuses: `append` raises `SpoolFullError`, counts what it refused
on disk, and keeps nothing of that call, so the caller leaves its source unacknowledged. Nothing is
ever dropped to make room.
"""

import contextlib
import dataclasses
import logging
import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import msgspec

from server.clock import now_ms
from server.errors import RingtellError

log = logging.getLogger("ringtell.collect")

#: Share of the bound from which every append warns (at most once a minute).
WARN_FROM: Final = 0.8
_WARN_EVERY_MS: Final = 60_000
MOST_SHOTS: Final = 1_000_000

_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS waiting (
  line_no INTEGER PRIMARY KEY AUTOINCREMENT, press TEXT NOT NULL, spooled_ms INTEGER NOT NULL,
  line TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS apart (
  line_no INTEGER PRIMARY KEY AUTOINCREMENT, press TEXT NOT NULL, apart_ms INTEGER NOT NULL,
  code TEXT NOT NULL, reason TEXT NOT NULL, sendable INTEGER NOT NULL, raw TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS marks (name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


class SpoolFullError(RingtellError):
    """The bound is reached; nothing of this call was kept and the source must not be acknowledged."""

    code, status, title = "spool_full", 507, "The spool is full"


class StoppedWaitingError(Exception):
    """The collector stops while its spool is full; what was to be kept was not, nor acknowledged."""


class SpoolUnusableError(RingtellError):
    """The file cannot be opened, is no spool, or another collector holds it."""

    code, status, title = "spool_unusable", 500, "The spool cannot be used"


@dataclasses.dataclass(frozen=True)
class Spooled:
    """A waiting line. `line` is one shot as NDJSON, without the line end."""

    line_no: int
    press: str
    spooled_ms: int
    line: str


@dataclasses.dataclass(frozen=True)
class KeptApart:
    """A line that could not be sent, or could not be read at the source, with the reason."""

    line_no: int
    press: str
    apart_ms: int
    code: str
    reason: str
    #: 1: `retry_apart` may put it back; 0: nobody can read it as a shot.
    sendable: int
    raw: str


@dataclasses.dataclass(frozen=True)
class SpoolState:
    """How full it is. `refused`: shots the full spool did not take since the file was made."""

    waiting: int
    apart: int
    most_shots: int
    refused: int
    oldest_ms: int | None


class Spool:
    """One file, one process; its methods may be called from any thread.

    `append` and `marks` share a transaction: a source's position is durable exactly when its shots are.
    """

    def __init__(self, path: Path | str, *, most_shots: int = MOST_SHOTS) -> None:
        self.path = Path(path)
        self.most_shots = most_shots
        self._lock = threading.Lock()
        self._warned_ms = 0
        self.arrived = threading.Event()
        try:
            self._db = _open(self.path)
        except sqlite3.Error as error:
            raise SpoolUnusableError(
                f"the spool {self.path} cannot be used: {error}; another collector may hold it, give this"
                " one a file of its own with --spool"
            ) from None
        self._counts = {name: self._count(name) for name in ("waiting", "apart")}
        self._refused = int(self._mark("refused") or "0")

    # --- the source's side --------------------------------------------------------------------

    def append(self, shots: Sequence[Mapping[str, Any]], *, marks: Mapping[str, str] | None = None) -> None:
        """Keep shots (wire fields, press among them) behind those that wait; durable on return.

        marks: texts kept in the same transaction, such as how far a file was read. Raises
        `SpoolFullError` when the bound would be passed; then nothing is kept, marks included.
        """
        lines = [(str(shot["press"]), now_ms(), msgspec.json.encode(shot).decode()) for shot in shots]
        with self._lock:
            with self._taking(len(lines)) as db:
                db.executemany("INSERT INTO waiting (press, spooled_ms, line) VALUES (?, ?, ?)", lines)
                _put_marks(db, marks or {})
            self._counts["waiting"] += len(lines)
            self._warn_when_filling()
        if lines:
            self.arrived.set()

    def keep_apart(
        self, press: str, raw: str, *, code: str, reason: str, marks: Mapping[str, str] | None = None
    ) -> None:
        """Keep what a source sent and nobody can read as a shot, with the reason; durable on return."""
        with self._lock:
            with self._taking(1) as db:
                _put_apart(db, [(press, now_ms(), code, reason, 0, raw)])
                _put_marks(db, marks or {})
            self._counts["apart"] += 1

    def mark(self, name: str) -> str | None:
        """A text kept by `append`, or None."""
        with self._lock:
            return self._mark("source " + name)

    # --- the sender's side --------------------------------------------------------------------

    def oldest(self, limit: int) -> list[Spooled]:
        """The lines that wait longest, in order."""
        with self._lock:
            rows = self._db.execute(
                "SELECT line_no, press, spooled_ms, line FROM waiting ORDER BY line_no LIMIT ?", (limit,)
            ).fetchall()
        return [Spooled(*row) for row in rows]

    def acknowledge(self, lines: Sequence[Spooled]) -> None:
        """The server has them (and only then): they leave the spool."""
        with self._lock:
            with self._transaction() as db:
                self._remove(db, lines)
            self._counts["waiting"] -= len(lines)

    def refuse(self, lines: Sequence[Spooled], *, code: str, reason: str) -> None:
        """The server will not take them as they are: kept apart with the reason."""
        with self._lock:
            with self._transaction() as db:
                self._remove(db, lines)
                _put_apart(db, [(one.press, now_ms(), code, reason, 1, one.line) for one in lines])
            self._counts["waiting"] -= len(lines)
            self._counts["apart"] += len(lines)

    # --- looking after it ---------------------------------------------------------------------

    def state(self) -> SpoolState:
        with self._lock:
            oldest = self._db.execute("SELECT spooled_ms FROM waiting ORDER BY line_no LIMIT 1").fetchone()
            return SpoolState(
                self._counts["waiting"],
                self._counts["apart"],
                self.most_shots,
                self._refused,
                None if oldest is None else int(oldest[0]),
            )

    def apart(self, limit: int = 100) -> list[KeptApart]:
        """The newest lines kept apart."""
        with self._lock:
            rows = self._db.execute(
                "SELECT line_no, press, apart_ms, code, reason, sendable, raw FROM apart"
                " ORDER BY line_no DESC LIMIT ?",
                (limit,),
            ).fetchall()
        return [KeptApart(*row) for row in rows]

    def retry_apart(self) -> int:
        """Put every line the server refused back behind those that wait; how many."""
        with self._lock:
            with self._transaction() as db:
                moved = db.execute(
                    "INSERT INTO waiting (press, spooled_ms, line)"
                    " SELECT press, apart_ms, raw FROM apart WHERE sendable ORDER BY line_no"
                ).rowcount
                db.execute("DELETE FROM apart WHERE sendable")
            self._counts["waiting"] += moved
            self._counts["apart"] -= moved
        if moved:
            self.arrived.set()
        return moved

    def close(self) -> None:
        with self._lock:
            self._db.close()

    # --- within -------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _taking(self, more: int) -> Iterator[sqlite3.Connection]:
        """A transaction that takes rows in: a full spool and a full disk are refused the same way."""
        try:
            self._make_sure_of_room(more)
            with self._transaction() as db:
                yield db
        except sqlite3.OperationalError as error:
            self._refused += more
            raise SpoolFullError(
                f"the spool {self.path} cannot be written: {error}; {more:,} shots are refused and their"
                " source is not acknowledged. Make room on the disk"
            ) from None

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield self._db
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    def _make_sure_of_room(self, more: int) -> None:
        if self._counts["waiting"] + self._counts["apart"] + more <= self.most_shots:
            return
        self._refused += more
        with self._transaction() as db:
            _put_mark(db, "refused", str(self._refused))
        raise SpoolFullError(
            f"the spool {self.path} holds {self._counts['waiting']:,} shots that wait and"
            f" {self._counts['apart']:,} kept apart, its bound is {self.most_shots:,}: {more:,} more are"
            " refused and their source is not acknowledged. Bring the server back, or raise --spool-shots"
        )

    def _warn_when_filling(self) -> None:
        held, now = self._counts["waiting"] + self._counts["apart"], now_ms()
        if held >= WARN_FROM * self.most_shots and now - self._warned_ms >= _WARN_EVERY_MS:
            self._warned_ms = now
            log.warning(
                "SPOOL FILLING: %s holds %d of at most %d shots; when it is full, shots are refused",
                self.path, held, self.most_shots,
            )  # fmt: skip

    def _remove(self, db: sqlite3.Connection, lines: Sequence[Spooled]) -> None:
        gone = db.executemany("DELETE FROM waiting WHERE line_no = ?", [(one.line_no,) for one in lines])
        if gone.rowcount != len(lines):
            raise SpoolUnusableError(f"{len(lines)} lines were to leave the spool, {gone.rowcount} did")

    def _count(self, table: str) -> int:
        return int(self._db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])

    def _mark(self, name: str) -> str | None:
        row = self._db.execute("SELECT value FROM marks WHERE name = ?", (name,)).fetchone()
        return None if row is None else str(row[0])


def _open(path: Path) -> sqlite3.Connection:
    path.parent.mkdir(parents=True, exist_ok=True)
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=1.0)
    try:
        # Exclusive: a second collector on the same file is told so, and a killed one leaves no lock.
        db.execute("PRAGMA locking_mode=EXCLUSIVE")
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.executescript("BEGIN EXCLUSIVE;" + _SCHEMA + "COMMIT;")
    except sqlite3.Error:
        db.close()
        raise
    return db


def _put_apart(db: sqlite3.Connection, rows: Sequence[tuple[Any, ...]]) -> None:
    db.executemany(
        "INSERT INTO apart (press, apart_ms, code, reason, sendable, raw) VALUES (?, ?, ?, ?, ?, ?)", rows
    )


def _put_marks(db: sqlite3.Connection, marks: Mapping[str, str]) -> None:
    for name, value in marks.items():
        _put_mark(db, "source " + name, value)


def _put_mark(db: sqlite3.Connection, name: str, value: str) -> None:
    db.execute(
        "INSERT INTO marks (name, value) VALUES (?, ?)"
        " ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        (name, value),
    )
