"""The next number of a kind: nobody else takes one until the transaction ends.

SQLite has one writer anyway. On PostgreSQL a press's numbers are given out under the lock of its row in
`press_states`, those of the plant under an advisory lock named after the table. `store/database.py` runs
a job again that lost a race all the same.
"""

import zlib
from typing import Any, Final

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.tables import press_states

#: First half of our advisory locks; the second is the table.
_OURS: Final = 0x52_74


_OF_PRESS = Asked(
    sa.select(press_states.c.press_id)
    .where(press_states.c.press_id == sa.bindparam("press_id", type_=sa.Integer))
    .with_for_update()
)


def lock_press(connection: sa.Connection, press_id: int) -> None:
    """Let nobody else number or change alarms of this press until the transaction ends (PostgreSQL)."""
    if connection.dialect.name != "postgresql":
        return
    _OF_PRESS.rows(connection, press_id=press_id)


def lock_table(connection: sa.Connection, table: sa.FromClause) -> None:
    """Let nobody else number rows of this table until the transaction ends (PostgreSQL)."""
    if connection.dialect.name == "postgresql":
        name = str(getattr(table, "name", table))
        second = zlib.crc32(name.encode()) & 0x7FFF_FFFF
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_OURS, second)))


def next_of_press(
    connection: sa.Connection, column: sa.Column[Any], press_id: int, *where: sa.ColumnElement[bool]
) -> int:
    """One more than the highest number of a press, among the rows that `where` leaves."""
    lock_press(connection, press_id)
    return _next(connection, column, column.table.c.press_id == press_id, *where)


def next_of_plant(connection: sa.Connection, column: sa.Column[Any], *where: sa.ColumnElement[bool]) -> int:
    """One more than the highest number of a table, among the rows that `where` leaves."""
    lock_table(connection, column.table)
    return _next(connection, column, *where)


def _next(connection: sa.Connection, column: sa.Column[Any], *where: sa.ColumnElement[bool]) -> int:
    highest = connection.execute(sa.select(sa.func.max(column)).where(*where)).scalar_one()
    return int(highest or 0) + 1
