"""What the database says of itself: the file, its references, rows without their press."""

import dataclasses
from typing import Final

import sqlalchemy as sa

from server.store.tables import checkpoints, metadata, presses, rollups

#: Tables keyed by the press whose rows need one. The audit trail also holds the plant's (0).
_OF_A_PRESS: Final = tuple(
    name
    for name, table in sorted(metadata.tables.items())
    if "press_id" in table.c and name not in ("presses", "audit")
)


@dataclasses.dataclass(frozen=True)
class Bucket:
    """A bucket with what is kept of it, by set-up and signal: (n, mean, m2, low, high), and the quantile
    sketch, None where there is none (made before there were any, or an hour that is not over)."""

    press_id: int
    bucket_ms: int
    kept: dict[tuple[int, str], tuple[int, float, float, float, float]]
    sketches: dict[tuple[int, str], bytes | None]


def damage(connection: sa.Connection) -> list[str]:
    """What SQLite finds wrong with its file, references included; PostgreSQL watches over its own."""
    if connection.dialect.name != "sqlite":
        return []
    found = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
    faults = [] if found == ["ok"] else [f"the database file is damaged: {one}" for one in found]
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        faults.append(f"row {row[1]} of {row[0]} refers to a row of {row[2]} that is not there")
    return faults


def orphans(connection: sa.Connection) -> list[str]:
    """Rows of presses that do not exist."""
    faults = []
    for name in _OF_A_PRESS:
        table = metadata.tables[name]
        known = sa.select(presses.c.press_id)
        lost = sa.select(table.c.press_id).where(table.c.press_id.not_in(known)).distinct().limit(5)
        ids = list(connection.execute(lost).scalars())
        # What belongs to the plant as a whole carries 0.
        if real := [one for one in ids if one]:
            faults.append(f"{name} holds rows of presses {real} that do not exist")
    return faults


def checkpoints_of(connection: sa.Connection, press_id: int) -> list[tuple[int, int, bytes]]:
    """(at_ms, codec, state) of every checkpoint of a press, in order of time."""
    rows = connection.execute(
        sa.select(checkpoints.c.at_ms, checkpoints.c.codec, checkpoints.c.state)
        .where(checkpoints.c.press_id == press_id)
        .order_by(checkpoints.c.at_ms, checkpoints.c.counter)
    )
    return [(int(row[0]), int(row[1]), bytes(row[2])) for row in rows]


def bucket_times(connection: sa.Connection, press_id: int, *, grain: int) -> list[int]:
    """Starts of the buckets kept of a press, in order."""
    rows = connection.execute(
        sa.select(rollups.c.bucket_ms)
        .where(rollups.c.press_id == press_id, rollups.c.grain == grain)
        .distinct()
        .order_by(rollups.c.bucket_ms)
    )
    return [int(one) for one in rows.scalars()]


def bucket(connection: sa.Connection, press_id: int, bucket_ms: int, *, grain: int) -> Bucket:
    """One bucket with everything kept of it."""
    c = rollups.c
    rows = connection.execute(
        sa.select(c.setup_id, c.signal, c.n, c.mean, c.m2, c.low, c.high, c.sketch).where(
            c.press_id == press_id, c.grain == grain, c.bucket_ms == bucket_ms
        )
    ).all()
    return Bucket(
        press_id,
        bucket_ms,
        kept={
            (int(row.setup_id), str(row.signal)): (
                int(row.n), float(row.mean), float(row.m2), float(row.low), float(row.high)
            )
            for row in rows
        },
        sketches={
            (int(row.setup_id), str(row.signal)): None if row.sketch is None else bytes(row.sketch)
            for row in rows
        },
    )  # fmt: skip
