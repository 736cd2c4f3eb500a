"""Many rows into a table at once, as fast as each database takes them."""

import itertools
import operator
from collections.abc import Callable, Sequence
from typing import Any, Final

import psycopg
import sqlalchemy as sa
from psycopg.types.numeric import Float8, Int4, Int8

from server.store.asked import as_ours, do_each, driver_of

#: Rows of one INSERT on SQLite: at most 34 columns each, far below the 32,766 values it binds.
_HANDFUL: Final = 32
#: PostgreSQL's names of the kinds of column there are.
_KINDS: Final[dict[type[Any], str]] = {
    sa.BigInteger: "int8",
    sa.Integer: "int4",
    sa.Double: "float8",
    sa.Text: "text",
    sa.LargeBinary: "bytea",
    sa.Boolean: "bool",
}

_WIDE: Final[dict[str, Callable[[Any], Any]]] = {"int8": Int8, "int4": Int4, "float8": Float8}

Rows = Sequence[tuple[Any, ...]]


class KeyTakenError(Exception):
    """Somebody else stored a row under one of the keys meanwhile; nothing was inserted."""


def insert_rows(
    connection: sa.Connection, table: sa.Table, names: Sequence[str], rows: Rows, *, raced: bool = True
) -> None:
    """Insert rows of these columns. Columns that no row fills are left out: binding what is absent took
    two thirds of the time.

    PostgreSQL takes them by COPY (500 shots: 76,000 to 147,000/s instead of 21,000/s), a single row by an
    INSERT that stays prepared (half the time of a COPY of one row; from three rows on it is the other way
    round), SQLite in handfuls by the driver's executemany.

    raced: others may store rows of the same keys meanwhile, so that many are stored within a savepoint, which
    takes longer than a handful of rows; raises KeyTakenError then (PostgreSQL) and leaves nothing.
    """
    if not rows:
        return
    used = [place for place, column in enumerate(zip(*rows, strict=True)) if column.count(None) < len(column)]
    columns = [names[place] for place in used]
    pick = operator.itemgetter(*used)
    picked = list(map(pick, rows)) if len(used) > 1 else [(pick(row),) for row in rows]
    if connection.dialect.name == "postgresql" and len(picked) == 1:
        _insert(connection, table, columns, picked[0], raced=raced)
    elif connection.dialect.name == "postgresql":
        _copy(connection, table, columns, picked, raced=raced)
    else:
        _in_handfuls(connection, table, columns, picked)


def _insert(
    connection: sa.Connection, table: sa.Table, columns: Sequence[str], row: tuple[Any, ...], *, raced: bool
) -> None:
    marks = ", ".join(["%s"] * len(columns))
    unless = " ON CONFLICT DO NOTHING" if raced else ""
    statement = f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({marks}){unless}"
    # Of one width whatever their size: each mixture of widths would be a statement of its own to prepare.
    values = [
        _WIDE.get(_kind(table.c[name]), _as_is)(value) for name, value in zip(columns, row, strict=True)
    ]
    driver = driver_of(connection)
    with as_ours(connection, statement):
        if driver.execute(statement, values).rowcount == 0:
            raise KeyTakenError(f"a key of {table.name} is taken")


def _as_is(value: Any) -> Any:
    return value


def _copy(
    connection: sa.Connection, table: sa.Table, columns: Sequence[str], rows: Rows, *, raced: bool
) -> None:
    kinds = [_kind(table.c[name]) for name in columns]
    statement = f"COPY {table.name} ({', '.join(columns)}) FROM STDIN (FORMAT BINARY)"
    driver = driver_of(connection)
    with as_ours(connection, statement), driver.cursor() as cursor:
        if raced:
            cursor.execute("SAVEPOINT many")
        try:
            with cursor.copy(statement) as copy:
                copy.set_types(kinds)
                for row in rows:
                    copy.write_row(row)
        except psycopg.errors.UniqueViolation:
            if not raced:
                raise
            cursor.execute("ROLLBACK TO SAVEPOINT many")
            raise KeyTakenError(f"a key of {table.name} is taken") from None
        if raced:
            cursor.execute("RELEASE SAVEPOINT many")


def _kind(column: sa.Column[Any]) -> str:
    return next(name for kind, name in _KINDS.items() if isinstance(column.type, kind))


def _in_handfuls(connection: sa.Connection, table: sa.Table, columns: Sequence[str], rows: Rows) -> None:
    one = f"({', '.join('?' * len(columns))})"
    into = f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES "
    whole = len(rows) // _HANDFUL * _HANDFUL
    for size, part in ((_HANDFUL, rows[:whole]), (1, rows[whole:])):
        if part:
            flat = list(itertools.chain.from_iterable(part))
            width = size * len(columns)
            do_each(
                connection,
                into + ", ".join([one] * size),
                [tuple(flat[start : start + width]) for start in range(0, len(flat), width)],
            )
