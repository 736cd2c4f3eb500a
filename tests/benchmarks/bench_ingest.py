"""Shots per second over HTTP, beside what the database itself takes, and how long live batches wait.

Run it as `python -m tests.benchmarks.bench_ingest` (`--postgresql`: batches over one started for the run).
The server is a process of its own; bodies are prepared beforehand and sent over kept-alive connections. The
floor takes the same rows into the same table, one durable commit for every BATCH rows: `executemany` on
SQLite, COPY to a staging table and insert on PostgreSQL.
"""

import argparse
import random
import sqlite3
import statistics
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from server.clock import now_ms
from server.store.database import Store
from server.store.engine import upgrade
from server.store.shots import count_shots
from tests.benchmarks.bench_databases import floor_rate
from tests.benchmarks.history import watched_press
from tests.benchmarks.wire_client import (
    BATCH,
    Connection,
    mixed_batches,
    post,
    send_all,
    server,
    server_on,
    shot,
)
from tests.benchmarks.wire_client import whole_batches as whole
from tests.postgresql import PostgresqlServer
from tests.processes import Served

CONNECTIONS = 4
LIVE_BATCHES = 400


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


def poured(
    requests: Sequence[bytes], shots: int, *, evaluating: bool, database: PostgresqlServer | None
) -> tuple[float, float]:
    """Shots/s of the server, and of the floor with the rows it stored."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if database is None:
            seconds = _sent(server(folder, evaluating=evaluating), requests)
            return shots / seconds, floor(folder, shots)
        url = database.url(database.new_database())
        upgrade(url)
        seconds = _sent(server_on(url, folder, evaluating=evaluating), requests)
        store = Store(url)
        try:
            with store.read() as connection:
                assert count_shots(connection) == shots, "not all stored that were acknowledged"
            return shots / seconds, floor_rate(store, BATCH)
        finally:
            store.close()


def _sent(served: Served, requests: Sequence[bytes]) -> float:
    """Seconds until a server that is started for it has acknowledged everything."""
    served.start()
    try:
        return send_all(served.port, requests, connections=CONNECTIONS)
    finally:
        served.kill()


def floor(folder: Path, shots: int) -> float:
    """Rows/s of raw `executemany`, one synchronous=FULL commit for every BATCH rows."""
    with sqlite3.connect(folder / "data" / "ringtell.db") as stored:
        (schema,) = stored.execute("SELECT sql FROM sqlite_master WHERE name = 'shots'").fetchone()
        rows = stored.execute("SELECT * FROM shots").fetchall()
    stored.close()
    assert len(rows) == shots, f"{len(rows)} stored of {shots} acknowledged"
    raw = sqlite3.connect(folder / "floor.db", isolation_level=None)
    raw.execute("PRAGMA journal_mode=WAL")
    raw.execute("PRAGMA synchronous=FULL")
    raw.execute(schema)
    insert = f"INSERT INTO shots VALUES ({', '.join('?' * len(rows[0]))})"
    start = time.perf_counter()
    for at in range(0, shots, BATCH):
        raw.execute("BEGIN")
        raw.executemany(insert, rows[at : at + BATCH])
        raw.execute("COMMIT")
    seconds = time.perf_counter() - start
    raw.close()
    return shots / seconds


def live_waits(history: int) -> list[float]:
    """Milliseconds until live batches of 1 to 5 shots are acknowledged, an evaluation running on."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        served = server(folder)
        served.start()
        url = f"sqlite:///{folder / 'data' / 'ringtell.db'}"
        try:
            store = Store(url)
            press_id = watched_press(store, "BIG", history)
            stop = threading.Event()
            keeper = threading.Thread(target=_keep_busy, args=(store, press_id, stop))
            keeper.start()
            try:
                waits = _send_live(served.port)
            finally:
                stop.set()
                keeper.join()
                store.close()
        finally:
            served.kill()
    return waits


def _keep_busy(store: Store, press_id: int, stop: threading.Event) -> None:
    """A rewrite of the whole history is always waiting."""
    from server.store import intake

    while not stop.is_set():
        with store.read() as connection:
            idle = not intake.waiting_presses(connection)
        if idle:
            store.write(
                lambda connection: intake.add(
                    connection, press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms()
                )
            )
        stop.wait(0.2)


def _send_live(port: int) -> list[float]:
    rng = random.Random(3)
    start_ms = now_ms() - 3_600_000
    requests, number = [], 0
    for _ in range(LIVE_BATCHES):
        size = rng.randint(1, 5)
        made = [shot(number + n, start_ms=start_ms, rng=rng, every_ms=1_000) for n in range(size)]
        requests.append(post({"press": f"L{number % 7}", "mold": "M-113", "shots": made}))
        number += size
    connection = Connection(port)
    time.sleep(1.0)
    waits = []
    for request in requests:
        start = time.perf_counter()
        connection.ask(request)
        waits.append(1000 * (time.perf_counter() - start))
        time.sleep(0.02)
    connection.close()
    return waits


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--presses", type=int, default=200)
    asked.add_argument("--runs", type=int, default=3)
    asked.add_argument("--history", type=int, default=100_000, help="shots evaluated beside live batches")
    asked.add_argument("--only", choices=("batches", "mixed", "live"))
    asked.add_argument("--postgresql", action="store_true", help="batches over PostgreSQL instead of SQLite")
    given = asked.parse_args()
    database = PostgresqlServer(durable=True) if given.postgresql else None
    try:
        _measure(given, database)
    finally:
        if database is not None:
            database.stop()


def _measure(given: argparse.Namespace, database: PostgresqlServer | None) -> None:
    start_ms = now_ms() - 86_400_000
    shots = given.presses * BATCH
    for name, make in (("batches", whole), ("mixed", mixed_batches)):
        if given.only in (None, name):
            requests = make(given.presses, start_ms=start_ms)
            for evaluating in (False, True):
                pairs = [
                    poured(requests, shots, evaluating=evaluating, database=database)
                    for _ in range(given.runs)
                ]
                report(f"{name}, evaluation {'on' if evaluating else 'off'}", pairs)
    if given.only in (None, "live") and database is None:
        for _ in range(given.runs):
            waits = sorted(live_waits(given.history))
            p50, p99 = waits[len(waits) // 2], waits[int(len(waits) * 0.99)]
            say(f"live batch acknowledged: p50 {p50:.1f} ms, p99 {p99:.1f} ms, longest {waits[-1]:.1f} ms")


def report(name: str, pairs: Sequence[tuple[float, float]]) -> None:
    rates = [rate for rate, _ in pairs]
    ratios = [rate / raw for rate, raw in pairs]
    say(
        f"{name}: best {max(rates):,.0f} shots/s, median {statistics.median(rates):,.0f};"
        f" of the floor best {max(ratios):.2f}, median {statistics.median(ratios):.2f}"
        f" (floor median {statistics.median(raw for _, raw in pairs):,.0f})"
    )


if __name__ == "__main__":
    main()
