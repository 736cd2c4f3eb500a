"""Rows kept apart: rejected, conflicting, of an unknown press, or poisonous to evaluation."""

import dataclasses
import itertools
import os
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.store.tables import quarantine

_serial = itertools.count(int.from_bytes(os.urandom(2), "big"))


@dataclasses.dataclass(frozen=True)
class Apart:
    """A row kept apart with its raw text and the reason."""

    press: str
    kind: str
    field: str
    code: str
    message: str
    raw: str
    replayable: bool = False
    source: str = "api"
    #: Of an import: its row within the file.
    row_no: int | None = None


def keep_apart(connection: sa.Connection, rows: Sequence[Apart], *, now_ms: int) -> None:
    if not rows:
        return
    connection.execute(
        sa.insert(quarantine),
        [
            {
                **dataclasses.asdict(row),
                "arrived_ms": now_ms,
                "row_id": (now_ms << 20) | (next(_serial) & 0xFFFFF),
            }
            for row in rows
        ],
    )


def replayable_rows(connection: sa.Connection, press: str, *, kind: str) -> list[Mapping[str, Any]]:
    """Rows of a press that can be tried again, oldest first."""
    rows = connection.execute(
        sa.select(quarantine)
        .where(quarantine.c.press == press, quarantine.c.kind == kind, quarantine.c.replayable)
        .order_by(quarantine.c.row_id)
    )
    return [dict(row._mapping) for row in rows]


def forget_rows(connection: sa.Connection, press: str, row_ids: Sequence[int]) -> None:
    for start in range(0, len(row_ids), 500):
        connection.execute(
            sa.delete(quarantine).where(
                quarantine.c.press == press, quarantine.c.row_id.in_(row_ids[start : start + 500])
            )
        )


def newest_rows(
    connection: sa.Connection, *, limit: int, press: str | None = None
) -> list[Mapping[str, Any]]:
    query = sa.select(quarantine).order_by(quarantine.c.arrived_ms.desc(), quarantine.c.row_id.desc())
    if press is not None:
        query = query.where(quarantine.c.press == press)
    return [dict(row._mapping) for row in connection.execute(query.limit(limit))]


def counts_by_press(connection: sa.Connection, *, kind: str) -> list[tuple[str, int]]:
    rows = connection.execute(
        sa.select(quarantine.c.press, sa.func.count())
        .where(quarantine.c.kind == kind)
        .group_by(quarantine.c.press)
        .order_by(quarantine.c.press)
    )
    return [(press, int(count)) for press, count in rows]


def rows_with_code(
    connection: sa.Connection, code: str, *, after: tuple[int, int], limit: int
) -> list[Mapping[str, Any]]:
    """Replayable rows with a code in order of arrival, past an (arrived_ms, row_id)."""
    c = quarantine.c
    arrived_ms, row_id = after
    rows = connection.execute(
        sa.select(quarantine)
        .where(
            c.arrived_ms >= arrived_ms,
            sa.or_(c.arrived_ms > arrived_ms, c.row_id > row_id),
            c.code == code,
            c.replayable,
        )
        .order_by(c.arrived_ms, c.row_id)
        .limit(limit)
    )
    return [dict(row._mapping) for row in rows]


def counts_by_code(connection: sa.Connection, press: str, *, since_ms: int) -> list[tuple[str, int]]:
    """Rows of a press kept apart since a time, by code, the most frequent first."""
    count = sa.func.count()
    rows = connection.execute(
        sa.select(quarantine.c.code, count)
        .where(quarantine.c.press == press, quarantine.c.arrived_ms >= since_ms)
        .group_by(quarantine.c.code)
        .order_by(count.desc(), quarantine.c.code)
    )
    return [(code, int(number)) for code, number in rows]
