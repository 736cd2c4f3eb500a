"""Months of shots and roll-ups on PostgreSQL: made ahead, so that old ones can go as a whole.

What has no month of its own lies in the partition of everything else, imported history above all. A month
that holds rows there already stays there: nothing is ever moved to make a partition. No lock is waited for
longer than a moment; what did not work is tried again later.
"""

import contextlib
import datetime
import logging
import time
from collections.abc import Iterator
from typing import Final

import sqlalchemy as sa

from server.store.database import Store
from server.store.engine_pg import bounds_of, is_held
from server.store.trouble import ELSEWHERE

log = logging.getLogger("ringtell")

#: Tables by month, and the column of their time.
BY_MONTH: Final = {"shots": "at_ms", "rollups": "bucket_ms"}
#: Months made ahead of now; seconds between two looks, and a lock is waited for.
AHEAD, LOOK_EVERY_S, PATIENCE_S = 3, 3600.0, 2
#: Bytes of shots without a month that are read before a server begins.
OTHERS_MAX: Final = 512 << 20
#: A month with no more raw shots left than this goes; those move to the others.
LEFT_MAX: Final = 200_000

_OUT_OF_PLACE: Final = "23514"


class Months:
    """Looks after the months of one database; does nothing on SQLite."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._looked: float | None = None

    def before_anybody_writes(self, now_ms: int) -> list[str]:
        """As `look_after` while nobody writes yet; where much has to be read for it, it is left for then."""
        if self._store.is_sqlite or _size_of_others(self._store) > OTHERS_MAX:
            return []
        return self.look_after(now_ms)

    def look_after(self, now_ms: int) -> list[str]:
        """Make what is missing, once an hour; the names of what was made."""
        now = time.monotonic()
        if self._store.is_sqlite or (self._looked is not None and now - self._looked < LOOK_EVERY_S):
            return []
        self._looked = now
        return make_months(self._store, now_ms=now_ms)


def _size_of_others(store: Store) -> int:
    with store.read() as connection:
        return sum(
            int(connection.exec_driver_sql(f"SELECT pg_relation_size('{table}_other')").scalar_one())
            for table in BY_MONTH
        )


def first_of_month(at_ms: int, later: int = 0) -> int:
    """When the month of a moment began, or one so many months later.

    >>> first_of_month(1_795_000_000_000) == 1_793_491_200_000  # 2026-11-18 and 2026-11-01
    True
    """
    day = datetime.datetime.fromtimestamp(at_ms / 1000, datetime.UTC)
    months = day.year * 12 + day.month - 1 + later
    begin = datetime.datetime(months // 12, months % 12 + 1, 1, tzinfo=datetime.UTC)
    return int(begin.timestamp()) * 1000


def name_of(table: str, month_ms: int) -> str:
    """What the partition of a month is called."""
    day = datetime.datetime.fromtimestamp(month_ms / 1000, datetime.UTC)
    return f"{table}_{day.year:04d}_{day.month:02d}"


def month_of(name: str) -> int:
    """When the month of a partition of this name began.

    >>> month_of("rollups_2026_11") == 1_793_491_200_000
    True
    """
    year, month = name.split("_")[-2:]
    return int(datetime.datetime(int(year), int(month), 1, tzinfo=datetime.UTC).timestamp()) * 1000


def make_months(store: Store, *, now_ms: int, from_ms: int | None = None) -> list[str]:
    """Partitions for this month and those ahead, or from an earlier one on; the names of the new ones."""
    made: list[str] = []
    end = first_of_month(now_ms, AHEAD + 1)
    for table, column in BY_MONTH.items():
        begin = first_of_month(now_ms if from_ms is None else from_ms)
        while begin < end:
            following = first_of_month(begin, 1)
            try:
                if _make(store, table, column, begin, following):
                    made.append(name_of(table, begin))
            except sa.exc.DBAPIError as error:
                if not is_held(error):
                    raise
                log.warning("%s is in use; its months are made later", table)
                break
            begin = following
    return made


def _make(store: Store, table: str, column: str, begin: int, end: int) -> bool:
    name = name_of(table, begin)
    with store.read() as connection:
        if connection.exec_driver_sql("SELECT to_regclass(%s)", (name,)).scalar_one() is not None:
            return False
    with nothing_outside(store, table, column, begin, end) as outside:
        if outside is None:
            return False
        run_bounded(store, f"CREATE TABLE {name} (LIKE {table} INCLUDING ALL)",
             f"ALTER TABLE {table} ATTACH PARTITION {name} FOR VALUES FROM ({begin}) TO ({end})")  # fmt: skip
    return True


@contextlib.contextmanager
def nothing_outside(store: Store, table: str, column: str, begin: int, end: int) -> Iterator[str | None]:
    """While a checked constraint says that the others hold nothing of a month: attaching one then need not
    read them, and no other month is held up. Rows of this one have no place meanwhile: whoever writes them
    tries again (`trouble.is_month_made`). Its name; None where they hold something."""
    others, outside = f"{table}_other", f"{name_of(table, begin)}{ELSEWHERE}"
    drop = f"ALTER TABLE {others} DROP CONSTRAINT IF EXISTS {outside}"
    run_bounded(store, drop,
         f"ALTER TABLE {others} ADD CONSTRAINT {outside} CHECK ({column} < {begin} OR {column} >= {end})"
         " NOT VALID")  # fmt: skip
    try:
        try:
            run_bounded(store, f"ALTER TABLE {others} VALIDATE CONSTRAINT {outside}")
        except sa.exc.IntegrityError as error:
            if getattr(error.orig, "sqlstate", "") != _OUT_OF_PLACE:
                raise
            yield None
        else:
            yield outside
    finally:
        run_bounded(store, drop)


def run_bounded(store: Store, *statements: str) -> None:
    """In one transaction, which waits for no lock longer than a moment."""
    with store.engine.begin() as connection:
        connection.exec_driver_sql(bounds_of(statement_s=0, lock_s=PATIENCE_S))
        for statement in statements:
            connection.exec_driver_sql(statement)


def months_of(store: Store, table: str) -> list[str]:
    """The partitions of a table that are months, oldest first."""
    if store.is_sqlite:
        return []
    with store.read() as connection:
        rows = connection.exec_driver_sql(
            "SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid"
            " WHERE i.inhparent = %s::regclass AND c.relname <> %s ORDER BY c.relname",
            (table, f"{table}_other"),
        )
        return [str(name) for name in rows.scalars()]


def drop_thinned(store: Store, *, cutoff_ms: int) -> Iterator[str]:
    """Months of shots before a moment that were thinned out: detached and dropped, their space given back.

    The raw shots that stay for ever (startup records, contained shots, days of studies) move to the others
    within the same transaction.
    """
    month = first_of_month(cutoff_ms)
    for name in months_of(store, "shots"):
        if name >= name_of("shots", month):
            continue
        with store.read() as connection:
            left = connection.exec_driver_sql(
                f"SELECT count(*) FROM (SELECT 1 FROM {name} LIMIT {LEFT_MAX + 1}) AS few"
            ).scalar_one()
        if left <= LEFT_MAX:
            run_bounded(store, f"ALTER TABLE shots DETACH PARTITION {name}",
                 f"INSERT INTO shots SELECT * FROM {name}", f"DROP TABLE {name}")  # fmt: skip
            yield name
