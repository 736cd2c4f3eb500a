"""Shots stored on each database, beside its floor in the same run; evaluation and reading as history grows.

Run it as `python -m tests.benchmarks.bench_databases`. PostgreSQL is started for the run, with its commits on
the disk (`fsync` on). The floors take the same rows into the same table, a durable commit every BATCH rows:
executemany on SQLite, COPY to a staging table and insert on PostgreSQL. `--history` puts that many shots of
one press behind it first, in three steps of ten, and says how what is asked grows with them.
"""

import argparse
import contextlib
import math
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import anyio
import httpx
import sqlalchemy as sa

from server.app import Objects, build_app, build_objects
from server.clock import now_ms
from server.ingest.batch import ReadBatch
from server.settings import Settings
from server.store.database import Store
from server.store.engine import open_engine, upgrade
from server.store.tables import shots
from tests.benchmarks.history import CYCLE_MS, rows_of, watched_press
from tests.postgresql import MissingPostgresqlError, PostgresqlServer

BATCH = 500
STORED, EVALUATED = "stored", "with evaluation, alarms, roll-ups"
JUDGED = "the same, each shot judged against a startup record"
CASES = ((STORED, BATCH), (EVALUATED, BATCH), (JUDGED, BATCH), (JUDGED, 200))


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


@contextlib.contextmanager
def databases(folder: Path) -> Iterator[dict[str, str]]:
    """An address of each kind; PostgreSQL only where its programs are."""
    found = {"SQLite": f"sqlite:///{folder / 'plant.db'}"}
    try:
        server = PostgresqlServer(durable=True)
    except MissingPostgresqlError as missing:
        say(f"PostgreSQL left out: {missing}")
        yield found
        return
    try:
        yield found | {"PostgreSQL": server.url(server.new_database())}
    finally:
        server.stop()


def objects_of(url: str) -> Objects:
    upgrade(url)
    return build_objects(Settings(database_url=url, no_login=True, accept_unknown=True, child_process=True))


def batches(presses: int, size: int, *, first: int = 0) -> list[ReadBatch]:
    """Batches of `size` shots of one press each."""
    start_ms = now_ms() - 86_400_000
    made = []
    for number in range(presses):
        rows = rows_of(f"B{number:03d}", size, start_ms=start_ms, first=first, seed=number)
        made.append(ReadBatch(size, rows, []))
    return made


def ingest_rate(objects: Objects, made: Sequence[ReadBatch], *, evaluating: bool) -> float:
    """Shots/s stored, each batch a durable transaction; with evaluation, alarms and roll-ups where asked."""
    start = time.perf_counter()
    for batch in made:
        objects.pipeline.take_in(batch, accept_unknown=True)
    if evaluating:
        objects.pipeline.evaluate_all()
    return sum(batch.received for batch in made) / (time.perf_counter() - start)


def record_all(objects: Objects, presses: int) -> None:
    """Every press with a startup record, judged so far."""
    for number in range(presses):
        watched_press(objects.store, f"B{number:03d}", 700)
    objects.pipeline.evaluate_all()


def floor_rate(store: Store, size: int) -> float:
    """Rows/s of the database itself with the rows that were stored."""
    with store.read() as connection:
        rows = [tuple(row) for row in connection.execute(sa.select(shots))]
    engine = open_engine(store.url)
    names = [column.name for column in shots.columns]
    with engine.begin() as connection:
        if store.is_sqlite:
            query = "SELECT sql FROM sqlite_master WHERE name = 'shots'"
            schema = str(connection.exec_driver_sql(query).scalar_one())
            connection.exec_driver_sql(schema.replace("shots", "floor", 1))
        else:
            connection.exec_driver_sql("CREATE TABLE floor (LIKE shots INCLUDING ALL)")
    put = _executemany if store.is_sqlite else _staged
    start = time.perf_counter()
    for at in range(0, len(rows), size):
        with engine.begin() as connection:
            put(connection, names, rows[at : at + size])
    seconds = time.perf_counter() - start
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP TABLE floor")
    engine.dispose()
    return len(rows) / seconds


def _executemany(connection: sa.Connection, names: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
    driver: Any = connection.connection.dbapi_connection
    driver.executemany(f"INSERT INTO floor VALUES ({', '.join('?' * len(names))})", rows)


def _staged(connection: sa.Connection, names: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
    driver: Any = connection.connection.dbapi_connection
    with driver.cursor() as cursor:
        cursor.execute("CREATE TEMP TABLE staging (LIKE floor) ON COMMIT DROP")
        with cursor.copy(f"COPY staging ({', '.join(names)}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        cursor.execute("INSERT INTO floor SELECT * FROM staging ON CONFLICT DO NOTHING")


# --- growth -------------------------------------------------------------------------------------


def median_ms(act: Callable[[int], object], times: int) -> float:
    waits = []
    for number in range(times):
        start = time.perf_counter()
        act(number)
        waits.append(1000 * (time.perf_counter() - start))
    return statistics.median(waits)


def grown(url: str, history: int) -> dict[str, float]:
    """Milliseconds of what is asked of a press with so much history."""
    objects = objects_of(url)
    press = f"H{history}"
    watched_press(objects.store, press, history)
    objects.pipeline.evaluate_all()
    live = rows_of(press, 200, start_ms=now_ms() - 200 * CYCLE_MS, seed=9)

    def take(number: int) -> None:
        # Counters of their own: the history holds others.
        some = live[3 * number : 3 * number + 3]
        batch = [shot._replace(counter=shot.counter + 10_000_000) for shot in some]
        objects.pipeline.take_in(ReadBatch(3, batch, []), accept_unknown=True)

    def follow(number: int) -> None:
        take(number)
        objects.pipeline.evaluate_all()

    found = {"3 shots stored": median_ms(take, 20)}
    objects.pipeline.evaluate_all()
    found["3 shots stored and judged"] = median_ms(lambda number: follow(number + 20), 20)
    for name, path in (("page of the press", f"/presses/{press}"), ("page of the plant", "/")):
        found[name] = anyio.run(page_ms, objects, path)
    objects.pipeline.close()
    objects.store.close()
    return found


async def page_ms(objects: Objects, path: str) -> float:
    transport = httpx.ASGITransport(build_app(objects, run_pipeline=False))
    waits = []
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        for _ in range(9):
            start = time.perf_counter()
            answer = await client.get(path)
            waits.append(1000 * (time.perf_counter() - start))
            assert answer.status_code == 200, answer.text[:300]
    return statistics.median(waits)


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--presses", type=int, default=60)
    asked.add_argument("--history", type=int, default=1_000, help="shots of the smallest step; 0: no growth")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name, databases(Path(name)) as found:
        for kind, url in found.items():
            for what, size in CASES:
                objects = objects_of(url)
                record_all(objects, given.presses if what == JUDGED else 1)
                made = batches(given.presses, size, first=5_000 if what == JUDGED else 0)
                rate = ingest_rate(objects, made, evaluating=what != STORED)
                raw = floor_rate(objects.store, size)
                said = f"{kind}, batches of {size}, {what}"
                say(f"{said}: {rate:,.0f} shots/s, {rate / raw:.2f} of the floor ({raw:,.0f})")
                empty(objects)
        for kind, url in found.items():
            if given.history:
                steps = [given.history * by for by in (1, 10, 100)]
                tell_growth(kind, [(count, grown(url, count)) for count in steps])


def empty(objects: Objects) -> None:
    """So that the next rate is measured on the same ground."""
    with objects.store.engine.begin() as connection:
        for table in (
            "shots",
            "intake",
            "rollups",
            "scores",
            "findings",
            "checkpoints",
            "baselines",
            "press_states",
        ):
            connection.exec_driver_sql(f"DELETE FROM {table}")
    objects.pipeline.close()
    objects.store.close()


def tell_growth(kind: str, steps: Sequence[tuple[int, dict[str, float]]]) -> None:
    """Each figure at every step, and the power of the history with which it grows from first to last."""
    for name in steps[0][1]:
        values = [found[name] for _, found in steps]
        slope = math.log(values[-1] / values[0]) / math.log(steps[-1][0] / steps[0][0])
        shown = ", ".join(
            f"{value:.1f} ms at {count:,}" for value, (count, _) in zip(values, steps, strict=True)
        )
        say(f"{kind}, {name}: {shown}; slope {slope:+.2f}")


if __name__ == "__main__":
    main()
