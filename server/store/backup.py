"""Backups of a running database and their way back, verified by counts.

A backup is one file and, beside it, its counts sheet (`FILE.counts.json`): the schema's revision, the
rows of every table in the very snapshot that was copied, and a digest of the file. SQLite is copied by
its own backup interface, PostgreSQL by `pg_dump`; neither holds up whoever writes meanwhile.
"""

import dataclasses
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Mapping
from pathlib import Path

import sqlalchemy as sa
from alembic.migration import MigrationContext

from server.errors import RingtellError, UsageError
from server.store.engine import begin_file, known_revisions, open_engine, upgrade
from server.store.engine_pg import SNAPSHOT
from server.store.pg_programs import run_pg
from server.store.tables import metadata

Rows = Mapping[str, int]


@dataclasses.dataclass(frozen=True)
class Sheet:
    """What stands beside a backup: what it must hold."""

    made_at: str
    revision: str
    sha256: str
    rows: Rows

    @property
    def file_text(self) -> str:
        return json.dumps(dataclasses.asdict(self), indent=1, sort_keys=True) + "\n"


def sheet_file(backup: Path) -> Path:
    """Where the counts sheet of a backup stands."""
    return backup.with_name(backup.name + ".counts.json")


def read_sheet(backup: Path) -> Sheet | None:
    """The counts sheet of a backup; None when there is none."""
    file = sheet_file(backup)
    if not file.exists():
        return None
    try:
        return Sheet(**json.loads(file.read_text(encoding="utf-8")))
    except (ValueError, TypeError) as error:
        raise RingtellError(f"{file} is no counts sheet ({error}); move it away to restore without") from None


def count_rows(connection: sa.Connection) -> dict[str, int]:
    """Rows of every table of ours that this database has, whatever its revision."""
    here = set(sa.inspect(connection).get_table_names()) & set(metadata.tables)
    quoted = connection.dialect.identifier_preparer.quote
    return {
        name: int(connection.exec_driver_sql(f"SELECT count(*) FROM {quoted(name)}").scalar_one())
        for name in sorted(here)
    }


def revision_of(connection: sa.Connection) -> str:
    """The schema's revision; '' before the first."""
    return MigrationContext.configure(connection).get_current_revision() or ""


# --- backup -----------------------------------------------------------------------------------


def backup(url: str, target: Path, *, made_at: str) -> Sheet:
    """Copy the database to `target` while it is in use; the file has its name only once it is whole."""
    for file in (target, sheet_file(target)):
        if file.exists():
            raise UsageError(f"{file} exists; name a new file, nothing is overwritten")
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        copy = _copy_sqlite if sa.make_url(url).get_backend_name() == "sqlite" else _dump_postgresql
        begin_file(part)
        revision, rows = copy(url, part)
        sheet = Sheet(made_at, revision, _digest(part), rows)
        _to_disk(part)
        part.rename(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sheet_file(target).write_text(sheet.file_text, encoding="utf-8")
    _to_disk(sheet_file(target))
    return sheet


def _copy_sqlite(url: str, part: Path) -> tuple[str, Rows]:
    source_file = sqlite_file(url)
    if not source_file.exists():
        raise RingtellError(f"no database file at {source_file}")
    # In one step: a reader's snapshot, which in WAL mode holds up no writer. Copying in many steps
    # would begin anew whenever somebody else commits.
    source, copy = sqlite3.connect(source_file), sqlite3.connect(part)
    try:
        source.backup(copy)
        # One file, without a log beside it.
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        source.close()
        copy.close()
    return _looked_into(part)


def _looked_into(file: Path) -> tuple[str, Rows]:
    """Revision and counts of a SQLite file that must be sound."""
    engine = sa.create_engine(f"sqlite:///{file}", poolclass=sa.NullPool)
    try:
        with engine.connect() as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check").scalar_one()
            if found != "ok":
                raise RingtellError(f"{file} is damaged: {found}")
            return revision_of(connection), count_rows(connection)
    except sa.exc.DatabaseError as error:
        raise RingtellError(f"{file} cannot be read as a database: {error.orig}") from None
    finally:
        engine.dispose()


def _dump_postgresql(url: str, part: Path) -> tuple[str, Rows]:
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            connection.execution_options(**{SNAPSHOT: True})
            snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
            found = revision_of(connection), count_rows(connection)
            # Format "custom", of the very snapshot that was counted.
            run_pg("pg_dump", url, "-Fc", f"--snapshot={snapshot}", f"--file={part}")
            connection.rollback()
        return found
    finally:
        engine.dispose()


# --- restore ----------------------------------------------------------------------------------


def restore(url: str, source: Path, *, replace: bool) -> tuple[Rows, bool]:
    """Put a backup in place; the rows it holds, and whether a counts sheet confirmed them.

    A database that holds anything is only replaced when told so; what it held is then kept aside, as a
    file `….before-restore-1` on SQLite, as a schema `before_restore_1` on PostgreSQL.
    """
    if not source.is_file():
        raise UsageError(f"no backup at {source}")
    sheet = read_sheet(source)
    if sheet is not None and _digest(source) != sheet.sha256:
        raise RingtellError(f"{source} was changed or damaged: its counts sheet was made for another file")
    is_sqlite = sa.make_url(url).get_backend_name() == "sqlite"
    _need_kind(source, is_sqlite=is_sqlite)
    rows = (_restore_sqlite if is_sqlite else _restore_postgresql)(url, source, sheet, replace)
    upgrade(url)
    return rows, sheet is not None


def _restore_sqlite(url: str, source: Path, sheet: Sheet | None, replace: bool) -> Rows:
    target = sqlite_file(url)
    _need_empty(url, exists=target.exists(), replace=replace)
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        begin_file(part)
        shutil.copyfile(source, part)
        revision, rows = _looked_into(part)
        _confirm(source, revision, rows, sheet)
        _to_disk(part)
        _put_aside(target)
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
    return rows


def _restore_postgresql(url: str, source: Path, sheet: Sheet | None, replace: bool) -> Rows:
    _need_empty(url, exists=True, replace=replace)
    engine = open_engine(url)
    try:
        with engine.begin() as connection:
            held = any(count_rows(connection).values())
            aside = _free_schema(connection)
            connection.exec_driver_sql(f"ALTER SCHEMA public RENAME TO {aside}")
            connection.exec_driver_sql("CREATE SCHEMA public")
        try:
            run_pg(
                "pg_restore", url, "--exit-on-error", "--single-transaction", "--no-owner",
                "--no-privileges", str(source),
            )  # fmt: skip
            with engine.connect() as connection:
                revision, rows = revision_of(connection), count_rows(connection)
            _confirm(source, revision, rows, sheet)
        except BaseException:
            with engine.begin() as connection:
                connection.exec_driver_sql("DROP SCHEMA public CASCADE")
                connection.exec_driver_sql(f"ALTER SCHEMA {aside} RENAME TO public")
            raise
        if not held:
            with engine.begin() as connection:
                connection.exec_driver_sql(f"DROP SCHEMA {aside} CASCADE")
    finally:
        engine.dispose()
    return rows


def _free_schema(connection: sa.Connection) -> str:
    """A name under which what was there is kept aside."""
    taken = set(sa.inspect(connection).get_schema_names())
    number = 1
    while (name := f"before_restore_{number}") in taken:
        number += 1
    return name


def _need_empty(url: str, *, exists: bool, replace: bool) -> None:
    if not exists or replace:
        return
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            held = {name: rows for name, rows in count_rows(connection).items() if rows}
    finally:
        engine.dispose()
    if held:
        largest = sorted(held.items(), key=lambda one: -one[1])[:3]
        most = ", ".join(f"{rows:,} {name}" for name, rows in largest)
        raise UsageError(f"the database holds {most}; add --replace to put the backup in its place")


def _put_aside(target: Path) -> None:
    """Move an existing file away, never over another; refused while a server has it open."""
    if not target.exists():
        return
    old = sqlite3.connect(target, timeout=1)
    try:
        # Leaving WAL needs the file alone: it fails while any other program has it open.
        old.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.OperationalError:
        raise UsageError(f"{target} is in use; stop the server first") from None
    finally:
        old.close()
    number = 1
    while (aside := target.with_name(f"{target.name}.before-restore-{number}")).exists():
        number += 1
    target.rename(aside)


def _confirm(source: Path, revision: str, rows: Rows, sheet: Sheet | None) -> None:
    if revision not in known_revisions():
        raise RingtellError(f"{source} has schema {revision!r}, unknown to this version; use a newer one")
    if sheet is None:
        return
    wrong = [
        f"{name} {rows.get(name, 0):,} instead of {must:,}"
        for name, must in sheet.rows.items()
        if rows.get(name) != must
    ]
    if wrong:
        raise RingtellError(f"{source} does not hold what its counts sheet says: {'; '.join(wrong)}")


def _need_kind(source: Path, *, is_sqlite: bool) -> None:
    with source.open("rb") as file:
        head = file.read(16)
    if is_sqlite and not head.startswith(b"SQLite format 3"):
        raise UsageError(f"{source} is no SQLite database; a dump of PostgreSQL goes back into PostgreSQL")
    if not is_sqlite and not head.startswith(b"PGDMP"):
        raise UsageError(f"{source} is no dump made by ringtell db backup of a PostgreSQL database")


# --- files -----------------------------------------------------------------------


def sqlite_file(url: str) -> Path:
    """The file of a SQLite address."""
    database = sa.make_url(url).database
    if not database:
        raise UsageError("an in-memory database keeps nothing: use sqlite:///FILE")
    return Path(database)


def _digest(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _to_disk(file: Path) -> None:
    for path in (file, file.parent):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
