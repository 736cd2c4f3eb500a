"""What a view of a press's chart costs the server, from two years down to a minute, at growing histories.

Run it as `python -m tests.benchmarks.bench_zoom` (`--postgresql` for the other database). The largest history
is ten million shots in two years with their summaries and 20,000 findings. The past is written past the API
and the evaluation (how rows got there does not matter to who reads them); the last 5,000 shots came the
usual way and are judged. Told are the least and the median of nine answers, request to last byte, in process;
beside them the processor time of the least, since other work on the machine lengthens the first two.
"""

import argparse
import math
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any

import anyio
import httpx
import numpy as np
import sqlalchemy as sa

from server.app import Objects, build_app
from server.clock import as_text, now_ms
from server.contract import SIGNALS
from server.evaluate.summaries import sum_up
from server.store.bulk import insert_rows
from server.store.evaluation import TEN_MINUTES, roll_up_further
from server.store.months import make_months
from server.store.tables import findings, rollups, shots
from server.words.times import DAY, HOUR, MINUTE
from tests.benchmarks.bench_databases import databases, objects_of, say
from tests.benchmarks.history import watched_press

YEARS_MS = 730 * DAY
AT_A_TIME = 100_000
JUDGED = 5_000
COLUMNS = (
    "press_id", "at_ms", "counter", "setup_id", "shot_size_mm", "cushion_mm", "transfer_pressure_bar",
    "peak_pressure_bar", "fill_time_s", "recovery_time_s", "cycle_time_s", "part_weight_g",
)  # fmt: skip
EPISODE = (
    "press_id", "from_ms", "from_counter", "signal", "rule", "baseline_no", "to_ms", "to_counter", "marks",
)  # fmt: skip
VIEWS = {
    "two years": YEARS_MS, "a year": 365 * DAY, "90 days": 90 * DAY, "30 days": 30 * DAY, "a week": 7 * DAY,
    "a day": DAY, "an hour": HOUR, "a minute": MINUTE,
}  # fmt: skip
PAGES = {"page of the press": "/presses/Z", "startup records": "/presses/Z/baselines", "plant": "/"}


def fill(objects: Objects, count: int) -> None:
    """The judged end first, then the past before it, as evenly as its length asks."""
    press_id = watched_press(objects.store, "Z", JUDGED)
    objects.pipeline.evaluate_all()
    with objects.store.read() as connection:
        first_ms, setup_id = connection.execute(
            sa.select(sa.func.min(shots.c.at_ms), sa.func.min(shots.c.setup_id))
        ).one()
    past = max(count - JUDGED, 1)
    every_ms = YEARS_MS / past
    begin_ms = int(first_ms - YEARS_MS)
    if not objects.store.is_sqlite:
        make_months(objects.store, now_ms=now_ms(), from_ms=begin_ms)
    rng = np.random.default_rng(3)
    kept: tuple[Any, ...] | None = None
    for start in range(0, past, AT_A_TIME):
        numbers = np.arange(start, min(start + AT_A_TIME, past))
        at = (begin_ms + numbers * every_ms).astype(np.int64)
        made = _values(rng, numbers)
        with objects.store.engine.begin() as connection:
            rows = zip(
                *([press_id] * len(at), at.tolist(), (20_000_000 + numbers).tolist(), [setup_id] * len(at)),
                *(column.tolist() for column in made.values()),
                strict=True,
            )
            insert_rows(connection, shots, COLUMNS, list(rows))
            kept = _summed(connection, press_id, setup_id, at, made, kept)
            _found(connection, press_id, at, numbers)
    with objects.store.engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("ANALYZE")


def _values(rng: np.random.Generator, numbers: np.ndarray[Any, Any]) -> dict[str, np.ndarray[Any, Any]]:
    """Rounded, with a wear that comes and goes every 400,000 shots."""
    n = len(numbers)
    wear = (numbers % 400_000) * 2e-6
    return {
        "shot_size_mm": np.round(80 + rng.normal(0, 0.04, n), 2),
        "cushion_mm": np.round(6 - wear + rng.normal(0, 0.05, n), 2),
        "transfer_pressure_bar": np.round(900 + rng.normal(0, 4, n)),
        "peak_pressure_bar": np.round(1000 + rng.normal(0, 4, n)),
        "fill_time_s": np.round(1.4 + rng.normal(0, 0.005, n), 3),
        "recovery_time_s": np.round(6 + rng.normal(0, 0.05, n), 2),
        "cycle_time_s": np.full(n, 6.0),
        "part_weight_g": np.round(41.8 + rng.normal(0, 0.05, n), 2),
    }


def _summed(
    connection: sa.Connection,
    press_id: int,
    setup_id: int,
    at: np.ndarray[Any, Any],
    made: dict[str, np.ndarray[Any, Any]],
    kept: tuple[Any, ...] | None,
) -> tuple[Any, ...]:
    """Roll-ups as the evaluation makes them: a bucket not ended yet is summed up again with what follows."""
    values = np.full((len(at), len(SIGNALS)), np.nan)
    swept = made["shot_size_mm"] - made["cushion_mm"]
    own = {**made, "swept_mm": swept, "recovery_s_per_mm": made["recovery_time_s"] / swept}
    for place, name in enumerate(SIGNALS):
        if name in own:
            values[:, place] = own[name]
    setup_ids = np.full(len(at), setup_id)
    if kept is not None:
        at, setup_ids = np.concatenate((kept[0], at)), np.concatenate((kept[1], setup_ids))
        values = np.concatenate((kept[2], values))
    summed = sum_up(at, setup_ids, values)
    since = (press_id, int(summed.rows[0]["bucket_ms"]))
    day_ms = since[1] - since[1] % DAY
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    between = f"press_id = {mark} AND bucket_ms >= {mark} AND bucket_ms < {mark}"
    text = f"DELETE FROM rollups WHERE {between} AND grain"
    end_ms = int(at[-1]) + 1
    connection.exec_driver_sql(f"{text} = {TEN_MINUTES}", (*since, end_ms))
    connection.exec_driver_sql(f"{text} > {TEN_MINUTES}", (press_id, day_ms, end_ms))
    names = ["press_id", "grain", *summed.rows[0]]
    rows = [(press_id, TEN_MINUTES, *row.values()) for row in summed.rows]
    insert_rows(connection, rollups, names, rows)
    # From the day's beginning, since its hours and itself were taken away above.
    roll_up_further(connection, press_id, [{"bucket_ms": day_ms}, *summed.rows])
    return summed.at_ms, summed.setup_ids, summed.values


def _found(
    connection: sa.Connection, press_id: int, at: np.ndarray[Any, Any], numbers: np.ndarray[Any, Any]
) -> None:
    """An episode every 500 shots."""
    rows = [
        (press_id, int(at[i]), int(numbers[i]), ("cushion_mm", "swept_mm")[i % 3 % 2], "one_side", 1,
         int(at[min(i + 40, len(at) - 1)]), int(numbers[i]) + 40, 12)
        for i in range(0, len(at), 500)
    ]  # fmt: skip
    insert_rows(connection, findings, EPISODE, rows)


async def measured(objects: Objects, paths: dict[str, str]) -> dict[str, tuple[float, float, float]]:
    """Least, median and least processor time of nine answers each, ms."""
    transport = httpx.ASGITransport(build_app(objects, run_pipeline=False))
    found = {}
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        for name, path in paths.items():
            waits, works = [], []
            for _ in range(9):
                start, work = time.perf_counter(), time.process_time()
                answer = await client.get(path)
                waits.append(1000 * (time.perf_counter() - start))
                works.append(1000 * (time.process_time() - work))
                assert answer.status_code == 200, answer.text[:300]
            found[name] = (min(waits), statistics.median(waits), min(works))
    return found


def paths_of(objects: Objects) -> dict[str, str]:
    """Each view twice, at the end of the history and in its middle."""
    with objects.store.read() as connection:
        end = connection.execute(sa.select(sa.func.max(shots.c.at_ms))).scalar_one()
    found = {}
    for name, length in VIEWS.items():
        for place, to_ms in (("now", end + 1), ("a year ago", end - 365 * DAY)):
            if place == "now" or length < 365 * DAY:
                found[f"{name}, {place}"] = (
                    f"/api/v1/presses/Z/figure?from={as_text(to_ms - length)}&to={as_text(to_ms)}&width=1200"
                )
    return found | PAGES


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--most", type=int, default=10_000_000, help="shots of the largest step")
    asked.add_argument("--postgresql", action="store_true")
    given = asked.parse_args()
    steps: list[tuple[int, dict[str, tuple[float, float, float]]]] = []
    for count in (given.most // 100, given.most // 10, given.most):
        with tempfile.TemporaryDirectory() as name, databases(Path(name)) as urls:
            objects = objects_of(urls["PostgreSQL" if given.postgresql else "SQLite"])
            start = time.perf_counter()
            fill(objects, count)
            say(f"{count:,} shots laid out in {time.perf_counter() - start:.0f} s")
            steps.append((count, anyio.run(measured, objects, paths_of(objects))))
            objects.pipeline.close()
            objects.store.close()
    for name in steps[0][1]:
        shown = ", ".join("{:.1f} ({:.1f}; processor {:.1f})".format(*found[name]) for _, found in steps)
        slope = math.log(steps[-1][1][name][0] / steps[0][1][name][0]) / math.log(100)
        say(f"{name}: {shown} ms; slope {slope:+.2f}")


if __name__ == "__main__":
    main()
