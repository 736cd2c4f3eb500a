"""What a database error means for whoever waits: the disk is full, the database is away, or a fault."""

import sqlite3

import psycopg
import sqlalchemy as sa

from server.errors import BusyError, RingtellError, StorageError

#: Seconds after which whoever sends should try again.
AWAY_S, LOCKED_S, FULL_S = 5, 2, 30

_FULL = (
    "the disk the database lies on takes no more ({said}); nothing of this request was stored. Make room and"
    " send again: nothing has to be restarted"
)
_AWAY = "the database does not answer; nothing was stored, send again"
_LOCKED = "another program holds the database; nothing was stored, send again"
_TOO_LONG = "the database took longer than it may (statement_s in its address); nothing was stored, try again"
_NOT_READY = "a month of the database is being made ready; nothing was stored, send again"
_POOLED = (
    "the database forgot a statement that was prepared, as behind a pooler: add ?prepared=off to its address;"
    " nothing was stored, send again"
)
_DAMAGED = (
    "the database file is damaged ({said}): stop the server, keep the file, put the last backup in its place"
    " with ringtell db restore FILE --replace"
)

#: SQLite's primary result codes. Extended ones carry them in their lower byte.
_SQLITE_FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY}
_SQLITE_LOCKED = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL}
_SQLITE_AWAY = {sqlite3.SQLITE_CANTOPEN}
_SQLITE_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
#: PostgreSQL: disk full, too much memory asked for; deadlock, serialization, lock not available.
_PG_FULL = ("53100", "53200")
_PG_LOCKED = ("40001", "40P01", "55P03", "53300")
_PG_READ_ONLY = "25006"
#: What comes again when it is sent again: held; stopped for taking longer than allowed; a prepared statement
#: that is not there, or there already, since another connection answers than the one before.
_PG_BUSY = {_PG_LOCKED: _LOCKED, ("57014",): _TOO_LONG, ("26000", "42P05"): _POOLED}
#: PostgreSQL: somebody else took this key, or went first: the same again finds the database as it is now.
_PG_RACES = ("23505", "40001", "40P01")
#: A row of a month that is being made, while a constraint keeps that month out of where it would lie.
ELSEWHERE = "_elsewhere"


def lost_a_race(error: sa.exc.DBAPIError) -> bool:
    """Whether a job failed on PostgreSQL because of another at the same moment, and may be run again."""
    return str(getattr(error.orig, "sqlstate", None) or "") in _PG_RACES or is_month_made(error)


def is_month_made(error: sa.exc.DBAPIError) -> bool:
    """Whether a row had no place because the month it belongs to was just being made (`store/months.py`)."""
    orig = error.orig
    name = orig.diag.constraint_name if isinstance(orig, psycopg.errors.CheckViolation) else None
    return (name or "").endswith(ELSEWHERE)


def trouble_of(error: BaseException) -> RingtellError | None:
    """The foreseen trouble a database error stands for; None when it is a fault of ours."""
    if isinstance(error, StorageError | BusyError):
        return error
    if isinstance(error, sa.exc.TimeoutError):
        return BusyError(_AWAY, retry_after_s=LOCKED_S)
    if not isinstance(error, sa.exc.DBAPIError):
        return None
    orig = error.orig
    if isinstance(orig, sqlite3.Error):
        return _of_sqlite(orig)
    return _of_postgresql(error, str(getattr(orig, "sqlstate", None) or ""))


def _of_postgresql(error: sa.exc.DBAPIError, state: str) -> RingtellError | None:
    if state in _PG_FULL:
        return StorageError(_FULL.format(said=_first_line(error.orig)), retry_after_s=FULL_S)
    if is_month_made(error):
        return BusyError(_NOT_READY, retry_after_s=LOCKED_S)
    said = next((said for states, said in _PG_BUSY.items() if state in states), "")
    if said:
        return BusyError(said, retry_after_s=AWAY_S if said is _TOO_LONG else LOCKED_S)
    away = isinstance(error, sa.exc.OperationalError | sa.exc.InterfaceError) or state == _PG_READ_ONLY
    return BusyError(_AWAY, retry_after_s=AWAY_S) if away or error.connection_invalidated else None


def _of_sqlite(orig: sqlite3.Error) -> RingtellError | None:
    primary = (getattr(orig, "sqlite_errorcode", None) or 0) & 0xFF
    if primary in _SQLITE_FULL:
        return StorageError(_FULL.format(said=_first_line(orig)), retry_after_s=FULL_S)
    if primary in _SQLITE_LOCKED:
        return BusyError(_LOCKED, retry_after_s=LOCKED_S)
    if primary in _SQLITE_AWAY:
        return BusyError(_AWAY, retry_after_s=AWAY_S)
    if primary in _SQLITE_DAMAGED:
        return RingtellError(_DAMAGED.format(said=_first_line(orig)))
    return None


def _first_line(orig: BaseException | None) -> str:
    return (str(orig).splitlines() or [""])[0][:120]
