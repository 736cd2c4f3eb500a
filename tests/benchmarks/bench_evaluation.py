"""What evaluation costs: a long history rebuilt, and a live batch of five shots.

Run it as `python -m tests.benchmarks.bench_evaluation`. Times include reading and storing.
"""

import argparse
import cProfile
import pstats
import statistics
import tempfile
import time
from pathlib import Path

import sqlalchemy as sa

from server.clock import now_ms
from server.evaluate.press import evaluate_press
from server.ingest.batch import ReadBatch
from server.ingest.receive import receive
from server.landing import land
from server.store import intake
from server.store.database import Store
from server.store.engine import upgrade
from server.store.shots import read_columns
from tests.benchmarks.history import CYCLE_MS, rows_of, watched_press

LIVE = 100


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


def settle(store: Store, press_id: int) -> None:
    """Evaluate what waits of the press, in the pieces a server takes."""
    while evaluate(store, press_id):
        pass


def evaluate(store: Store, press_id: int) -> bool:
    with store.read() as connection:
        one = evaluate_press(connection, press_id)
    if one is None:
        return False
    store.write(lambda connection: land(connection, one, now_ms=now_ms()))
    return True


def rebuilt(store: Store, press_id: int, shots: int) -> float:
    """Shots/s of evaluating the whole history anew."""

    def rewrite(connection: sa.Connection) -> None:
        intake.add(connection, press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms())

    store.write(rewrite)
    start = time.perf_counter()
    settle(store, press_id)
    return shots / (time.perf_counter() - start)


def live(store: Store, press_id: int, press: str) -> list[float]:
    """Milliseconds of evaluating five new shots, LIVE times over."""
    with store.read() as connection:
        newest = read_columns(connection, press_id, names=(), limit=1, newest=True)
    last, number = int(newest["at_ms"][0]), int(newest["counter"][0])
    more = rows_of(press, 5 * LIVE, start_ms=last + CYCLE_MS - number * CYCLE_MS, first=number)
    waits = []
    for at in range(0, len(more), 5):
        batch = ReadBatch(5, more[at : at + 5], [])
        store.write(lambda connection, batch=batch: receive(  # type: ignore[misc]  # bound at once
            connection, batch, accept_unknown=True, now_ms=now_ms()
        ))  # fmt: skip
        start = time.perf_counter()
        settle(store, press_id)
        waits.append(1000 * (time.perf_counter() - start))
    return waits


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--shots", type=int, default=100_000)
    asked.add_argument("--runs", type=int, default=3)
    asked.add_argument("--profile", action="store_true")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        url = f"sqlite:///{Path(name) / 'bench.db'}"
        upgrade(url)
        store = Store(url)
        press_id = watched_press(store, "BIG", given.shots)
        settle(store, press_id)
        profile = cProfile.Profile()
        if given.profile:
            profile.enable()
        rates = [rebuilt(store, press_id, given.shots) for _ in range(given.runs)]
        say(f"rebuild: best {max(rates):,.0f} shots/s, median {statistics.median(rates):,.0f}")
        for _ in range(given.runs):
            waits = sorted(live(store, press_id, "BIG"))
            say(f"five live shots: p50 {waits[len(waits) // 2]:.1f} ms, p99 {waits[-2]:.1f} ms")
        if given.profile:
            profile.disable()
            pstats.Stats(profile).sort_stats("tottime").print_stats(25)
        store.close()


if __name__ == "__main__":
    main()
