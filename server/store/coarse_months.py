"""Months of roll-ups on PostgreSQL whose ten minutes are let go as a whole, their space given back.

What stays of such a month, its hours and days (about a sixth of the rows), is written into a new partition
beforehand; readers go on with the old one meanwhile, and are held up for the moment of the change alone.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import sqlalchemy as sa

from server.store.database import Store
from server.store.evaluation import TEN_MINUTES
from server.store.months import first_of_month, month_of, months_of, name_of, nothing_outside, run_bounded
from server.store.tables import presses, rollups

#: What the database keeps beside a month that holds hours and days alone.
_MARK: Final = "hours and days"


def coarsen_months(store: Store, *, floors: dict[int, int], before_ms: int) -> Iterator[str]:
    """Let the ten minutes of whole months before a moment go; names of these months.

    floors: press_id -> before when its ten-minute summaries may go. A month stays as it is while a press has
    such summaries in it that must stay.
    """
    for name in months_of(store, "rollups"):
        if name >= name_of("rollups", first_of_month(before_ms)) or _is_coarse(store, name):
            continue
        begin = month_of(name)
        if not _must_stay(store, name, first_of_month(begin, 1), floors):
            _swap(store, name, begin, first_of_month(begin, 1))
            yield name


def _is_coarse(store: Store, name: str) -> bool:
    with store.read() as connection:
        query = "SELECT obj_description(%s::regclass, 'pg_class')"
        return bool(connection.exec_driver_sql(query, (name,)).scalar_one() == _MARK)


def _must_stay(store: Store, name: str, end: int, floors: dict[int, int]) -> bool:
    with store.read() as connection:
        held: Sequence[int] = [
            press_id
            for press_id in connection.execute(sa.select(presses.c.press_id)).scalars()
            if floors.get(press_id, -1) < end
        ]
        query = f"SELECT 1 FROM {name} WHERE press_id = %s AND grain = {TEN_MINUTES} LIMIT 1"
        return any(connection.exec_driver_sql(query, (one,)).first() is not None for one in held)


def _swap(store: Store, name: str, begin: int, end: int) -> None:
    coarse, columns = f"{name}_coarse", ", ".join(column.name for column in rollups.c)
    within = f"bucket_ms >= {begin} AND bucket_ms < {end}"
    with nothing_outside(store, "rollups", "bucket_ms", begin, end) as outside:
        # A month is there already, so none of its rows can lie among the others.
        assert outside is not None
        run_bounded(
            store,
            f"CREATE TABLE {coarse} (LIKE rollups INCLUDING ALL)",
            # Nobody writes into a month before every press's floor; should somebody, they wait.
            f"LOCK TABLE {name} IN SHARE MODE",
            f"INSERT INTO {coarse} ({columns}) SELECT {columns} FROM {name} WHERE grain > {TEN_MINUTES}",
            f"ALTER TABLE {coarse} ADD CONSTRAINT {coarse}_within CHECK ({within})",
            f"COMMENT ON TABLE {coarse} IS '{_MARK}'",
            f"ALTER TABLE rollups DETACH PARTITION {name}",
            f"DROP TABLE {name}",
            f"ALTER TABLE {coarse} RENAME TO {name}",
            f"ALTER TABLE rollups ATTACH PARTITION {name} FOR VALUES FROM ({begin}) TO ({end})",
            f"ALTER TABLE {name} DROP CONSTRAINT {coarse}_within",
        )
