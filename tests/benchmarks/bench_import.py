"""A file of one million shots into a fresh SQLite plant: seconds, rows a second, memory at its highest.

    nice -n 10 .venv/bin/python tests/benchmarks/bench_import.py            # CSV and Parquet
    nice -n 10 .venv/bin/python tests/benchmarks/bench_import.py --kind xlsx --rows 200000

Reading, checking and storing are timed, as `ringtell import` does them; the evaluation that follows is
not. Processor seconds stand beside the clock, since a shared machine makes only the clock slower.
"""

import argparse
import datetime as dt
import resource
import sys
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq

from server.app import build_objects
from server.clock import now_ms
from server.import_run import run_import
from server.ingest.survey import planned, survey
from server.ingest.table_plan import Plan
from server.settings import Settings
from server.store import imports
from server.store.engine import upgrade

COLUMNS = (
    "Cycle", "Time", "Shot size [mm]", "Cushion [mm]", "Peak pressure [bar]", "Transfer pressure [bar]",
    "Fill time [s]", "Recovery time [s]", "Cycle time [s]", "Part weight [g]", "Oil temp [°C]", "Lot",
)  # fmt: skip
START = dt.datetime(2025, 1, 1, tzinfo=dt.UTC).replace(tzinfo=None)
PIECE = 50_000


def rows(count: int):  # type: ignore[no-untyped-def]  # a generator of tuples
    """Shots of a press that works, 20 s apart, decimals as logs write them."""
    chance = np.random.default_rng(1)
    for start in range(0, count, PIECE):
        size = min(PIECE, count - start)
        columns = [
            np.round(middle + spread * chance.standard_normal(size), places).tolist()
            for middle, spread, places in (
                (80, 0.02, 2), (6, 0.05, 2), (1000, 5, 1), (950, 5, 1), (1.25, 0.01, 2), (8.4, 0.05, 2),
                (20.1, 0.1, 1), (41.2, 0.05, 2), (44.5, 0.2, 1),
            )
        ]  # fmt: skip
        for i, values in enumerate(zip(*columns, strict=True)):
            number = start + i
            yield (number, START + dt.timedelta(seconds=20 * number), *values, f"L{number // 5000}")


def write(path: Path, kind: str, count: int) -> None:
    if kind == "csv":
        with path.open("w", encoding="utf-8") as file:
            file.write(";".join(COLUMNS) + "\n")
            for row in rows(count):
                cells = (f"{value}".replace(".", ",") for value in row[2:])
                file.write(f"{row[0]};{row[1]:%d.%m.%Y %H:%M:%S};{';'.join(cells)}\n")
    elif kind == "parquet":
        columns = list(zip(*rows(count), strict=True))
        table = pa.table(dict(zip(COLUMNS, map(list, columns), strict=True)))
        pq.write_table(table, path, row_group_size=100_000)
    else:
        book = openpyxl.Workbook(write_only=True)
        sheet = book.create_sheet("Log")
        sheet.append(list(COLUMNS))
        for row in rows(count):
            sheet.append(list(row))
        book.save(path)


def own_mb() -> int:
    """Memory of this process without what it maps of files (the database's pages among them), MB."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("RssAnon:")[1].split()[0]) >> 10


def timed(folder: Path, kind: str, count: int) -> None:
    path = folder / f"week.{kind}"
    # In a process of its own: what writing takes must not hide what reading does.
    writer = get_context("spawn").Process(target=write, args=(path, kind, count))
    writer.start()
    writer.join()
    url = f"sqlite:///{folder / kind}.db"
    upgrade(url)
    objects = build_objects(Settings(database_url=url, child_process=False))
    asked = Plan(defaults={"press": "P07", "mold": "M-1"}, time_zone="Europe/Berlin")
    began, cpu = time.perf_counter(), time.process_time()
    plan = planned(survey(path, asked, received_ms=now_ms()), asked)
    number = objects.store.write(
        lambda c: imports.add_import(c, file_name=path.name, size=0, who="benchmark", now_ms=now_ms())
    )
    before = own_mb()
    marks: list[int] = []
    outcome = run_import(
        objects.pipeline, path, plan, import_no=number, piece_rows=20_000,
        report=lambda _share, _answer: marks.append(own_mb()),
    )  # fmt: skip
    spent, cpu = time.perf_counter() - began, time.process_time() - cpu
    objects.store.close()
    assert outcome.received == count
    early, late = max(marks[: len(marks) // 5 + 1]), max(marks)
    sys.stdout.write(
        f"{kind:8} {count:>9,} rows, {outcome.stored:,} stored in {spent:.1f} s"
        f" ({count / spent:,.0f} a second; {cpu:.1f} s of processor); memory of its own {before} MB before,"
        f" {early} MB within the first fifth, {late} MB at its highest"
        f" ({resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MB with what is mapped of files)\n"
    )
    sys.stdout.flush()


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--rows", type=int, default=1_000_000)
    given.add_argument("--kind", action="append", choices=("csv", "parquet", "xlsx"))
    asked = given.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for kind in asked.kind or ("csv", "parquet"):
            timed(Path(folder), kind, asked.rows)


if __name__ == "__main__":
    main()
