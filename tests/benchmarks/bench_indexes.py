"""What an index by time alone would bring a month of shots on PostgreSQL: none, BRIN or B-tree, measured.

Run it as `python -m tests.benchmarks.bench_indexes` (`--presses`, `--shots` of a month). Four months are
filled alike, as they fill in a plant, every press in turn, so that rows lie on the disk in order of time;
each has the key (press, time, counter), and one of the indexes besides. Told are its size, how long it takes
to store the last shots of the month in batches of 500, the four in turn so that other work on the machine
meets all alike, and the questions that are asked: a page's stretch of one press, its newest shots, the
retention's count and oldest batch of one press, and (nobody asks this: every question names a press) a
stretch of all presses. Answers are the least and the median of nine.
"""

import argparse
import statistics
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import psycopg

from server.store.bulk import insert_rows
from server.store.database import Store
from server.store.engine import upgrade
from server.store.engine_pg import libpq_address
from server.store.months import first_of_month, make_months, name_of
from server.store.tables import shots
from tests.benchmarks.bench_databases import say
from tests.postgresql import PostgresqlServer

FIRST_MS = first_of_month(1_795_000_000_000)
#: Of every month, so that all are alike.
LENGTH_MS = 28 * 86_400_000
HOUR_MS = 3_600_000
BATCH, STORED_LAST = 500, 200_000
COLUMNS = (
    "press_id", "at_ms", "counter", "setup_id", "shot_size_mm", "cushion_mm", "peak_pressure_bar",
    "fill_time_s", "recovery_time_s", "cycle_time_s", "part_weight_g",
)  # fmt: skip
KINDS = {
    "the key alone": "",
    "BRIN by time": "CREATE INDEX {month}_by_time ON {month} USING brin (at_ms)",
    "BRIN by time, fine": (
        "CREATE INDEX {month}_by_time ON {month} USING brin (at_ms) WITH (pages_per_range = 16)"
    ),
    "B-tree by time": "CREATE INDEX {month}_by_time ON {month} (at_ms)",
}

Row = tuple[Any, ...]


def rows(presses: int, count: int, begin_ms: int) -> Iterator[list[Row]]:
    """Batches of BATCH shots, every press in turn, evenly over the month."""
    rng = np.random.default_rng(6)
    every_ms = LENGTH_MS / count
    for start in range(0, count, BATCH):
        number = np.arange(start, min(start + BATCH, count))
        n = len(number)
        columns = (
            number % presses + 1,
            (begin_ms + number * every_ms).astype(np.int64),
            number // presses,
            np.ones(n, dtype=np.int64),
            np.round(80 + rng.normal(0, 0.04, n), 2),
            np.round(6 + rng.normal(0, 0.05, n), 2),
            np.round(1000 + rng.normal(0, 4, n)),
            np.round(1.4 + rng.normal(0, 0.005, n), 3),
            np.round(6 + rng.normal(0, 0.05, n), 2),
            np.full(n, 20.0),
            np.round(41.8 + rng.normal(0, 0.05, n), 2),
        )
        yield list(zip(*(column.tolist() for column in columns), strict=True))


def stored_s(store: Store, batch: list[Row]) -> float:
    """Seconds of one durable transaction."""
    began = time.perf_counter()
    with store.engine.begin() as connection:
        insert_rows(connection, shots, COLUMNS, batch)
    return time.perf_counter() - began


def fill(store: Store, presses: int, count: int) -> list[float]:
    """Shots/s of the last STORED_LAST of each month."""
    months = [rows(presses, count, first_of_month(FIRST_MS, number)) for number in range(len(KINDS))]
    seconds = [0.0] * len(KINDS)
    for place, batches in enumerate(zip(*months, strict=True)):
        for number, batch in enumerate(batches):
            took = stored_s(store, batch)
            if place * BATCH >= count - STORED_LAST:
                seconds[number] += took
    return [STORED_LAST / one for one in seconds]


def questions(presses: int, begin_ms: int) -> dict[str, str]:
    middle = begin_ms + LENGTH_MS // 2
    end = begin_ms + LENGTH_MS
    one = f"press_id = {presses // 2}"
    day = f"at_ms >= {middle} AND at_ms < {middle + 24 * HOUR_MS}"
    old = f"at_ms >= {begin_ms} AND at_ms < {middle}"
    return {
        "page: a day of a press": f"SELECT * FROM shots WHERE {one} AND {day} ORDER BY at_ms, counter",
        "page: its newest 60": (
            f"SELECT * FROM shots WHERE {one} AND at_ms < {end} ORDER BY at_ms DESC, counter DESC LIMIT 60"
        ),
        "retention: count before a moment": f"SELECT count(*) FROM shots WHERE {one} AND {old}",
        "retention: the oldest 2,000": (
            f"SELECT max(at_ms) FROM (SELECT at_ms FROM shots WHERE {one} AND {old}"
            " ORDER BY at_ms LIMIT 2000) AS few"
        ),
        "nobody's: an hour of all presses": (
            f"SELECT count(*) FROM shots WHERE at_ms >= {middle} AND at_ms < {middle + HOUR_MS}"
        ),
    }


def answered_ms(store: Store, query: str) -> tuple[float, float, str]:
    """Least and median of nine, and the index the planner took."""
    waits = []
    with store.read() as connection:
        for _ in range(9):
            began = time.perf_counter()
            connection.exec_driver_sql(query).all()
            waits.append(1000 * (time.perf_counter() - began))
        plan = "\n".join(connection.exec_driver_sql(f"EXPLAIN {query}").scalars())
    by = "by time" if "_by_time" in plan else "key" if "_pkey" in plan else "no index"
    return min(waits), statistics.median(waits), by


def tell(store: Store, kind: str, month: str, begin_ms: int, presses: int, rate: float) -> None:
    with store.read() as connection:
        size = "SELECT coalesce(pg_relation_size(to_regclass(%s)), 0) / 1048576.0"
        own, key, table = (
            float(connection.exec_driver_sql(size, (one,)).scalar_one())
            for one in (f"{month}_by_time", f"{month}_pkey", month)
        )
    say(f"{kind}: {own:.2f} MB beside a key of {key:.0f} and {table:.0f} of rows; {rate:,.0f} shots/s")
    for question, query in questions(presses, begin_ms).items():
        least, median, by = answered_ms(store, query)
        say(f"  {question}: {least:.2f} ({median:.2f}) ms, {by}")


def measure(store: Store, presses: int, count: int) -> None:
    begins = [first_of_month(FIRST_MS, number) for number in range(len(KINDS))]
    months = [name_of("shots", begin_ms) for begin_ms in begins]
    with store.engine.begin() as connection:
        for month, statement in zip(months, KINDS.values(), strict=True):
            if statement:
                connection.exec_driver_sql(statement.format(month=month))
    rates = fill(store, presses, count)
    with psycopg.connect(libpq_address(store.url), autocommit=True) as connection:
        for month in months:
            connection.execute(f"VACUUM ANALYZE {month}")
    for kind, month, begin_ms, rate in zip(KINDS, months, begins, rates, strict=True):
        tell(store, kind, month, begin_ms, presses, rate)


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--presses", type=int, default=200)
    asked.add_argument("--shots", type=int, default=1_000_000)
    given = asked.parse_args()
    server = PostgresqlServer(durable=True)
    try:
        url = server.url(server.new_database())
        upgrade(url)
        store = Store(url)
        # This month and those ahead: one for each of the KINDS.
        make_months(store, now_ms=FIRST_MS)
        measure(store, given.presses, given.shots)
        store.close()
    finally:
        server.stop()


if __name__ == "__main__":
    main()
