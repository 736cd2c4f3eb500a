"""Engines: how a database is opened, what SQLite is told, and how the schema gets there."""

import contextlib
import functools
import os
import sqlite3
import time
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from server.errors import BusyError, UsageError
from server.settings import outside
from server.store.engine_pg import is_held, open_postgresql

#: Seconds to wait for another program that holds a SQLite database, before whoever writes is told so.
LOCKED_WITHIN_S = 5
#: How often a change of the schema tries to get hold of the tables, and the seconds between.
UPGRADE_TRIES, UPGRADE_PAUSE_S = 20, 2.0


def open_engine(url: str, *, read_only: bool = False) -> sa.Engine:
    """An engine for SQLite or PostgreSQL. SQLite: WAL, FULL: an answered shot survives a power cut."""
    parsed = sa.make_url(url)
    if parsed.get_backend_name() == "postgresql":
        return open_postgresql(parsed)
    if parsed.get_backend_name() != "sqlite":
        raise UsageError(f"database {parsed.drivername!r}: use sqlite:///FILE or postgresql://…")
    if parsed.database in (None, "", ":memory:"):
        raise UsageError("an in-memory database keeps nothing: use sqlite:///FILE")
    engine = sa.create_engine(
        parsed,
        poolclass=sa.QueuePool,
        pool_size=16,
        max_overflow=16,
        connect_args={"check_same_thread": False, "timeout": LOCKED_WITHIN_S},
    )
    sa.event.listen(engine, "connect", _read_pragmas if read_only else _write_pragmas)
    sa.event.listen(engine, "begin", _begin)
    return engine


def _write_pragmas(connection: Any, _record: Any) -> None:
    _pragmas(connection, "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cache_size=-65536")


def _read_pragmas(connection: Any, _record: Any) -> None:
    # Small, for there is one a connection: pages that are read again come from the system's cache.
    _pragmas(connection, "query_only=ON", "cache_size=-2048")


def _pragmas(connection: sqlite3.Connection, *pragmas: str) -> None:
    # The driver must not open transactions by itself; `_begin` does.
    connection.isolation_level = None
    cursor = connection.cursor()
    patience = f"busy_timeout={LOCKED_WITHIN_S * 1000}"
    # Not mapped: each connection would hold the file again (130 MiB at 500 presses, and no page was quicker),
    # and a disk that fails to read would end the process instead of one statement.
    for pragma in (*pragmas, "temp_store=MEMORY", "mmap_size=0", patience):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: sa.Connection) -> None:
    connection.exec_driver_sql("BEGIN")


def alembic_config(url: str) -> Config:
    config = Config()
    config.set_main_option("script_location", str(outside("migrations")).replace("%", "%%"))
    config.attributes["url"] = url
    return config


def begin_file(file: Path) -> None:
    """A new file that its owner alone may read: it will hold passwords' hashes. One that is there stays."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the schema to `revision`. A new SQLite file, and what lies beside it, is its owner's alone.

    On PostgreSQL a change waits LOCK_S at most for readers and writers, who would wait behind it, then lets
    them pass and tries again.
    """
    parsed = sa.make_url(url)
    # A folder that is not there is said by who opens it.
    if parsed.get_backend_name() == "sqlite" and parsed.database and Path(parsed.database).parent.is_dir():
        begin_file(Path(parsed.database))
    for patience in range(UPGRADE_TRIES, 0, -1):
        try:
            command.upgrade(alembic_config(url), revision)
        except sa.exc.DBAPIError as error:
            if not is_held(error):
                raise
            if patience == 1:
                raise BusyError(
                    "tables stay in use by long transactions, so the schema was not changed; end them"
                    " (pg_stat_activity names them) and start again"
                ) from None
            time.sleep(UPGRADE_PAUSE_S)
        else:
            return


def downgrade(url: str, revision: str) -> None:
    """Take the schema back to `revision` (`base`: nothing left)."""
    command.downgrade(alembic_config(url), revision)


def known_revisions() -> frozenset[str]:
    """Every revision this version has a migration for."""
    return frozenset(script.revision for script in _scripts().walk_revisions())


def head_revision() -> str:
    """The revision this version works with."""
    head = _scripts().get_current_head()
    assert head is not None
    return head


@functools.cache
def _scripts() -> ScriptDirectory:
    return ScriptDirectory.from_config(alembic_config(""))
