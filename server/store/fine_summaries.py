"""Ten-minute summaries that were let go: hours and days stay for ever, and stand in for them.

They go only before the day in which a press's raw shots begin (its floor), for evaluation, which never begins
before the floor, computes an hour anew from all of its ten minutes.
"""

import sqlalchemy as sa

from server.store.evaluation import DAY, HOUR, TEN_MINUTES, bucket_of
from server.store.tables import rollups
from server.store.thinning import floor_of

#: Rows in one transaction, so that whoever writes waits for milliseconds only.
AT_A_TIME = 5_000


def fine_floor_at(connection: sa.Connection, press_id: int, *, before_ms: int) -> int | None:
    """Before which moment ten-minute summaries of a press may go; None: its raw shots were never thinned."""
    floor = floor_of(connection, press_id)
    return None if floor is None else bucket_of(min(floor.floor_ms, before_ms), DAY)


def count_fine(connection: sa.Connection, press_id: int, *, before_ms: int) -> int:
    """Ten-minute summaries of a press before a moment."""
    query = sa.select(sa.func.count()).select_from(rollups).where(*_fine(press_id, before_ms))
    return int(connection.execute(query).scalar_one())


def remove_fine(connection: sa.Connection, press_id: int, *, before_ms: int) -> int:
    """Remove the oldest of them, about AT_A_TIME; how many went."""
    c = rollups.c
    some = (
        sa.select(c.bucket_ms).where(*_fine(press_id, before_ms)).order_by(c.bucket_ms).limit(AT_A_TIME)
    ).subquery()
    last = connection.execute(sa.select(sa.func.max(some.c.bucket_ms))).scalar_one()
    if last is None:
        return 0
    gone = connection.execute(sa.delete(rollups).where(*_fine(press_id, int(last) + 1)))
    return int(gone.rowcount)


def _fine(press_id: int, before_ms: int) -> list[sa.ColumnElement[bool]]:
    c = rollups.c
    return [c.press_id == press_id, c.grain == TEN_MINUTES, c.bucket_ms < before_ms]


def grain_there(connection: sa.Connection, press_id: int, *, wanted: int, from_ms: int) -> int:
    """The grain to read from a moment on: the one wanted, or hours where ten minutes were let go since."""
    if wanted != TEN_MINUTES:
        return wanted
    first_fine, first_hour = (
        connection.execute(
            sa.select(rollups.c.bucket_ms)
            .where(rollups.c.press_id == press_id, rollups.c.grain == grain)
            .order_by(rollups.c.bucket_ms)
            .limit(1)
        ).scalar_one_or_none()
        for grain in (TEN_MINUTES, HOUR)
    )
    if first_fine is None or first_hour is None or from_ms >= first_fine:
        return wanted
    return HOUR if first_hour < bucket_of(first_fine, HOUR) else wanted
