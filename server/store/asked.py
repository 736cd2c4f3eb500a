"""Statements asked with every shot: written in the expression language once, then handed to the driver.

Building a statement anew, finding what it was compiled to and wrapping its rows took three quarters of what a
press's statements cost, which was more than computing its shot. What goes past the expression language here
still begins the connection's transaction, and fails as everything else does.
"""

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import psycopg
import sqlalchemy as sa
from sqlalchemy.sql.base import Executable

Row = tuple[Any, ...]

#: Before every time: a bound that keeps nothing out.
EVER: Final = -(1 << 62)


class Asked:
    """A statement whose values are `sa.bindparam`s, compiled once for each kind of database.

    Rows come as tuples in the order of `names`. It takes no lists of values (`IN`).
    """

    def __init__(self, statement: Executable) -> None:
        self._statement: Any = statement
        columns = list(statement.selected_columns) if isinstance(statement, sa.Select) else []
        self.names = tuple(str(column.key) for column in columns)
        self._flags = [place for place, one in enumerate(columns) if isinstance(one.type, sa.Boolean)]
        #: By dialect: the text, the names of its values in order, and those that are always the same.
        self._compiled: dict[str, tuple[str, Sequence[str], Mapping[str, Any]]] = {}

    def rows(self, connection: sa.Connection, **values: Any) -> list[Row]:
        """What it finds, all of it."""
        text, given = self._for(connection, values)
        rows = fetch(connection, text, given)
        return self._with_flags(rows) if self._flags and connection.dialect.name == "sqlite" else rows

    def row(self, connection: sa.Connection, **values: Any) -> Row | None:
        """The first row it finds."""
        return next(iter(self.rows(connection, **values)), None)

    def dicts(self, connection: sa.Connection, **values: Any) -> list[dict[str, Any]]:
        """What it finds, by the names of its columns."""
        return [dict(zip(self.names, row, strict=True)) for row in self.rows(connection, **values)]

    def run(self, connection: sa.Connection, **values: Any) -> None:
        """Do what it says; it gives back no rows."""
        text, given = self._for(connection, values)
        do(connection, text, given)

    def _for(self, connection: sa.Connection, values: Mapping[str, Any]) -> tuple[str, Any]:
        kind = connection.dialect.name
        if kind not in self._compiled:
            made = self._statement.compile(dialect=connection.dialect)
            self._compiled[kind] = (str(made), made.positiontup or (), made.params)
        text, order, always = self._compiled[kind]
        named = {**always, **values}
        return text, tuple(named[name] for name in order) if kind == "sqlite" else named

    def _with_flags(self, rows: list[Row]) -> list[Row]:
        # SQLite keeps truth as a number.
        made = []
        for row in rows:
            cells = list(row)
            for place in self._flags:
                cells[place] = None if cells[place] is None else bool(cells[place])
            made.append(tuple(cells))
        return made


def fetch(connection: sa.Connection, text: str, values: Any = ()) -> list[Row]:
    """Every row of a text in the driver's own form (`mark_of`)."""
    driver = driver_of(connection)
    with as_ours(connection, text):
        if connection.dialect.name == "sqlite":
            rows: list[Row] = driver.execute(text, values).fetchall()
            return rows
        with driver.cursor(binary=True) as cursor:
            found: list[Row] = cursor.execute(text, values).fetchall()
            return found


def do(connection: sa.Connection, text: str, values: Any = ()) -> None:
    """Run a text in the driver's own form that gives back no rows."""
    driver = driver_of(connection)
    with as_ours(connection, text):
        driver.execute(text, values)


def do_each(connection: sa.Connection, text: str, rows: Sequence[Any]) -> None:
    """Run a text in the driver's own form once for every row of values."""
    if len(rows) == 1:
        do(connection, text, rows[0])
    elif rows:
        driver = driver_of(connection)
        with as_ours(connection, text), contextlib.closing(driver.cursor()) as cursor:
            cursor.executemany(text, rows)


def mark_of(connection: sa.Connection) -> str:
    """How the driver marks the place of a value."""
    return "?" if connection.dialect.name == "sqlite" else "%s"


def driver_of(connection: sa.Connection) -> Any:
    """The driver's connection, within the transaction that everything else of this connection is in."""
    if not connection.in_transaction():
        connection.begin()
    return connection.connection.dbapi_connection


@contextlib.contextmanager
def as_ours(connection: sa.Connection, text: str) -> Iterator[None]:
    """Raise as SQLAlchemy would: what is foreseen of a database is known by its class."""
    try:
        yield
    except (psycopg.Error, sqlite3.Error) as error:
        base = psycopg.Error if isinstance(error, psycopg.Error) else sqlite3.Error
        gone = isinstance(error, psycopg.Error) and _is_gone(connection)
        raise sa.exc.DBAPIError.instance(
            text, None, error, base, connection_invalidated=gone, dialect=connection.dialect
        ) from error


def _is_gone(connection: sa.Connection) -> bool:
    """Whether the database went away; the pool learns it as always, by a statement that fails."""
    driver: Any = connection.connection.dbapi_connection
    if not driver.closed:
        return False
    with contextlib.suppress(sa.exc.DBAPIError):
        connection.exec_driver_sql("SELECT 1")
    return True
