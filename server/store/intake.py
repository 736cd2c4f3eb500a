"""Intake rows: what of a press still waits for evaluation, and from when on."""

import dataclasses
import itertools
import os
from collections.abc import Mapping

import sqlalchemy as sa

from server.store.asked import Asked, do, do_each, mark_of
from server.store.tables import intake

#: Why a press waits: everything is computed again, and what a piece of work left.
REBUILD, REST = "rebuild", "rest"

# Batch ids only have to differ; the time in the upper bits keeps them readable.
_serial = itertools.count(int.from_bytes(os.urandom(2), "big"))


_WAITING = Asked(
    sa.select(intake.c.batch_id, intake.c.earliest_ms, intake.c.shots, intake.c.reason).where(
        intake.c.press_id == sa.bindparam("press_id", type_=sa.Integer)
    )
)
_PRESSES = Asked(
    sa.select(intake.c.press_id)
    .group_by(intake.c.press_id)
    .order_by(sa.func.min(intake.c.arrived_ms), intake.c.press_id)
)


@dataclasses.dataclass(frozen=True)
class Waiting:
    """All intake rows of one press together."""

    press_id: int
    batch_ids: tuple[int, ...]
    earliest_ms: int
    shots: int
    #: Somebody had everything computed again: what is left of it is still that.
    is_rebuild: bool = False


def add(
    connection: sa.Connection, press_id: int, *, earliest_ms: int, shots: int, reason: str, now_ms: int
) -> None:
    """Note that a press must be evaluated again from `earliest_ms` on."""
    connection.execute(
        sa.insert(intake).values(
            press_id=press_id,
            batch_id=(now_ms << 20) | (next(_serial) & 0xFFFFF),
            earliest_ms=earliest_ms,
            shots=shots,
            arrived_ms=now_ms,
            reason=reason,
        )
    )


def add_shots(connection: sa.Connection, arrived: Mapping[int, tuple[int, int]], *, now_ms: int) -> None:
    """Note new shots of several presses: (earliest_ms, how many) by press."""
    if not arrived:
        return
    rows = [
        (press_id, (now_ms << 20) | (next(_serial) & 0xFFFFF), earliest_ms, shots, now_ms, "shots")
        for press_id, (earliest_ms, shots) in arrived.items()
    ]
    do_each(
        connection,
        "INSERT INTO intake (press_id, batch_id, earliest_ms, shots, arrived_ms, reason)"
        f" VALUES ({', '.join([mark_of(connection)] * 6)})",
        rows,
    )


def waiting_presses(connection: sa.Connection) -> list[int]:
    """Presses with intake, the longest waiting first."""
    return [int(press_id) for (press_id,) in _PRESSES.rows(connection)]


def waiting_of(connection: sa.Connection, press_id: int) -> Waiting | None:
    rows = _WAITING.rows(connection, press_id=press_id)
    if not rows:
        return None
    batch_ids, earliest_ms, shots, reasons = zip(*rows, strict=True)
    return Waiting(press_id, batch_ids, min(earliest_ms), sum(shots), is_rebuild=REBUILD in reasons)


def rebuilding(connection: sa.Connection) -> dict[int, int]:
    """Presses whose rebuild is not done, and how many shots of it are left."""
    rows = connection.execute(
        sa.select(intake.c.press_id, sa.func.sum(intake.c.shots))
        .where(intake.c.reason == REBUILD)
        .group_by(intake.c.press_id)
    )
    return {press_id: int(shots) for press_id, shots in rows}


def pending(connection: sa.Connection, press_id: int) -> int:
    """Shots not yet evaluated; a rewrite without new shots counts as one."""
    shots, rows = connection.execute(
        sa.select(sa.func.coalesce(sa.func.sum(intake.c.shots), 0), sa.func.count()).where(
            intake.c.press_id == press_id
        )
    ).one()
    return int(max(shots, 1 if rows else 0))


def remove(connection: sa.Connection, press_id: int, batch_ids: tuple[int, ...]) -> None:
    mark = mark_of(connection)
    for start in range(0, len(batch_ids), 500):
        part = batch_ids[start : start + 500]
        do(
            connection,
            f"DELETE FROM intake WHERE press_id = {mark} AND batch_id IN ({', '.join([mark] * len(part))})",
            (press_id, *part),
        )
