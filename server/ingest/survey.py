"""A look at a file before anything of it is stored: what it holds, what is asked, what looks wrong.

The first rows are read as they would be stored; of a long text file rows from all over it are looked
at too, so that dates and units are judged by more than one night's shots. Nothing is written.
"""

import csv
import dataclasses
import datetime as dt
import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import SHOT_NUMBERS
from server.errors import InvalidError
from server.ingest.batch import ReadShot, RejectedRow
from server.ingest.rows import check_rows
from server.ingest.survey_checks import (
    ColumnFound,
    Flag,
    Question,
    flags_of,
    questions_of,
    raw_numbers,
    sum_tests,
)
from server.ingest.table_cells import Reading, zone_of
from server.ingest.table_plan import FIELDS, Plan, number_places
from server.ingest.table_sources import Source, open_table
from server.ingest.tables import close_source, find_dates, row_of_cells
from server.maths.results import Undetermined
from server.tabular.headers import Guess, guess_columns, header_key
from server.tabular.local_time import LocalClock, OrderFound
from server.tabular.numbers import has_decimal_comma, number_in
from server.valve.log_checks import (
    ConstantSum,
)
from server.valve.signals import DoseLag, dose_lag_evidence

Floats = NDArray[np.float64]

#: Rows looked at from the start, and spots all over a text file with some rows each.
FROM_THE_START: Final = 3_000
SPOTS, ROWS_A_SPOT = 24, 40
PREVIEW: Final = 12
_NOBODY: Final = "?"


@dataclasses.dataclass(frozen=True)
class Survey:
    """Everything a person is shown before an import."""

    kind: str
    encoding: str
    delimiter: str
    sheets: tuple[str, ...]
    decimal_comma: bool
    dates: OrderFound
    columns: tuple[ColumnFound, ...]
    header_key: str
    rows_looked_at: int
    rows_total: int | None
    presses: tuple[tuple[str, int], ...]
    first_ms: int | None
    last_ms: int | None
    questions: tuple[Question, ...]
    flags: tuple[Flag, ...]
    #: The constant-sum test of each column that is, or may be, the shot size.
    sums: tuple[tuple[str, ConstantSum | Undetermined], ...]
    dose_lag: DoseLag | Undetermined
    shots: tuple[ReadShot, ...]
    rejected: tuple[RejectedRow, ...]


def survey(path: Path, plan: Plan, *, received_ms: int) -> Survey:
    """Look at a file. An empty mapping in the plan is filled with what the names suggest."""
    plan.check()
    source = _open(path, plan)
    try:
        rows = list(itertools.islice(source.rows, FROM_THE_START))
    finally:
        close_source(source)
    spots = list(_spots(path, source)) if len(rows) == FROM_THE_START else []
    columns = _columns(source, plan, rows)
    places = [(i, one.field) for i, one in enumerate(columns) if one.field]
    comma = plan.decimal_comma
    if comma is None:
        comma = source.delimiter not in ("", ",") and has_decimal_comma(
            [row[i] for i in number_places(places) if i < len(row)] for row in rows
        )
    dates = find_dates(places, [*rows, *spots])
    shots, rejected = _read(source, places, columns, [rows, spots], plan, comma, dates, received_ms)
    raw = raw_numbers(places, [*rows, *spots], comma)
    return _told(source, plan, columns, comma, dates, rows, spots, shots, rejected, raw)


def planned(found: Survey, plan: Plan) -> Plan:
    """The plan with everything the survey found and nobody had to be asked about."""
    return dataclasses.replace(
        plan,
        mapping={one.name: one.field for one in found.columns if one.field},
        column_units={one.name: one.unit for one in found.columns if one.unit and one.field},
        decimal_comma=found.decimal_comma,
        date_order=plan.date_order or found.dates.order,
    )


# --- reading ----------------------------------------------------------------------------------


def _open(path: Path, plan: Plan) -> Source:
    def known(name: str) -> bool:
        return name in plan.mapping or any(one.field for one in guess_columns([name]))

    def named(name: str) -> bool:
        return bool(name) and number_in(name, decimal_comma=True) is None

    how: dict[str, Any] = {"sheet": plan.sheet, "encoding": plan.encoding, "delimiter": plan.delimiter}
    try:
        source = open_table(path, wanted=known, **how)
    except InvalidError:
        return open_table(path, wanted=named, **how)
    if source.kind != "parquet":
        return source
    close_source(source)
    return open_table(path, wanted=named, **how)  # a Parquet file's other columns are shown too


def _spots(path: Path, source: Source) -> Iterator[Sequence[Any]]:
    """Rows from all over a long text file."""
    if source.kind != "text" or source.encoding.startswith("utf-16"):
        return
    size = path.stat().st_size
    with path.open("rb") as file:
        for spot in range(1, SPOTS + 1):
            file.seek(size * spot // (SPOTS + 1))
            file.readline()
            lines = [file.readline() for _ in range(ROWS_A_SPOT)]
            codec = "utf-8" if source.encoding == "utf-8-sig" else source.encoding
            texts = [line.decode(codec, "replace").strip("\r\n") for line in lines]
            try:
                yield from (row for row in csv.reader(texts, delimiter=source.delimiter) if row)
            except csv.Error:
                continue


def _columns(source: Source, plan: Plan, rows: Sequence[Sequence[Any]]) -> tuple[ColumnFound, ...]:
    guesses = guess_columns(source.names)
    found = []
    for index, (name, guess) in enumerate(zip(source.names, guesses, strict=True)):
        cells = [row[index] for row in rows[:200] if index < len(row)]
        shown = tuple(str(cell)[:24] for cell in cells if cell is not None and str(cell).strip())[:3]
        found.append(_column(name, guess, plan, shown))
    return tuple(found)


def _column(name: str, guess: Guess, plan: Plan, cells: tuple[str, ...]) -> ColumnFound:
    tokens = plan.tokens()
    token = tokens.get(name)
    stated = token.unit.name if token is not None and token.unit is not None else ""
    if plan.mapping:
        field = plan.mapping.get(name, name if name in FIELDS and name not in plan.mapping.values() else "")
        same = field == guess.field
        unit = plan.column_units.get(name, (stated or guess.unit) if same else "")
        sure, why = (guess.sure, guess.why) if same else (1.0, "chosen")
        return ColumnFound(
            name, field, unit, sure if field else 0.0, why if field else "", guess.injected, cells
        )
    # An injected volume is cushion over again: it is shown, and taken only when somebody says so.
    field = "" if guess.injected else guess.field
    if field == "press" and plan.defaults.get("press"):
        field = ""
    unit = plan.column_units.get(name) or stated or guess.unit
    return ColumnFound(name, field, unit, guess.sure, guess.why, guess.injected, cells)


def _read(
    source: Source,
    places: Sequence[tuple[int, str]],
    columns: Sequence[ColumnFound],
    parts: Sequence[Sequence[Sequence[Any]]],
    plan: Plan,
    comma: bool,
    dates: OrderFound,
    received_ms: int,
) -> tuple[list[ReadShot], list[RejectedRow]]:
    """Rows as they would be stored, what is not answered yet taken for the likeliest."""
    units = {one.name: one.unit for one in columns if one.unit and one.field}
    defaults = {"press": _NOBODY, **{k: v for k, v in plan.defaults.items() if v}}
    sure = dataclasses.replace(plan, column_units=units, defaults=defaults)
    head = sure.head({one.name: one.field for one in columns if one.field})
    shots: list[ReadShot] = []
    rejected: list[RejectedRow] = []
    start = 0
    for rows in parts:
        clock = LocalClock(
            zone=zone_of(plan.time_zone or "UTC"), order=plan.date_order or dates.order or "day_first"
        )
        reading = Reading(clock, plan.time_format, comma, plan.unwrap)
        batch = check_rows((row_of_cells(row, places, source, reading) for row in rows), head, received_ms)
        shots += [shot._replace(row=shot.row + start) for shot in batch.shots]
        rejected += [dataclasses.replace(row, row=row.row + start) for row in batch.rejected]
        start += len(rows)
    return shots, rejected


# --- judging ----------------------------------------------------------------------------------


def _told(
    source: Source,
    plan: Plan,
    columns: tuple[ColumnFound, ...],
    comma: bool,
    dates: OrderFound,
    rows: Sequence[Sequence[Any]],
    spots: Sequence[Sequence[Any]],
    shots: Sequence[ReadShot],
    rejected: Sequence[RejectedRow],
    raw: Mapping[str, Floats],
) -> Survey:
    ordered = sorted(shots, key=lambda shot: (shot.at_ms, shot.counter))
    start = [shot for shot in shots if shot.row < len(rows)]
    arrays = _arrays(sorted(start, key=lambda shot: (shot.at_ms, shot.counter)))
    presses = Counter(shot.label.press for shot in shots if shot.label.press != _NOBODY)
    sums = sum_tests(columns, rows, comma)
    times = [i for i, one in enumerate(columns) if one.field == "at"]
    cells = (row[i] for row in rows for i in times if i < len(row))
    local = any(isinstance(cell, dt.datetime) and cell.tzinfo is None for cell in cells)
    return Survey(
        kind=source.kind,
        encoding=source.encoding,
        delimiter=source.delimiter,
        sheets=source.sheets,
        decimal_comma=comma,
        dates=dates,
        columns=columns,
        header_key=header_key(source.names),
        rows_looked_at=len(rows) + len(spots),
        rows_total=source.total if len(rows) == FROM_THE_START else len(rows),
        presses=tuple(presses.most_common(20)),
        first_ms=ordered[0].at_ms if ordered else None,
        last_ms=ordered[-1].at_ms if ordered else None,
        questions=tuple(questions_of(columns, plan, dates, start, presses, sums, local)),
        flags=tuple(flags_of(source, columns, plan, shots, start, rejected, raw)),
        sums=sums,
        dose_lag=dose_lag_evidence(arrays) if len(start) else Undetermined("no row could be read"),
        shots=tuple(start[:PREVIEW]),
        rejected=tuple(rejected[:PREVIEW]),
    )


def _arrays(shots: Sequence[ReadShot]) -> dict[str, NDArray[Any]]:
    columns: dict[str, NDArray[Any]] = {
        "at_ms": np.array([shot.at_ms for shot in shots], dtype=np.int64),
        "counter": np.array([shot.counter for shot in shots], dtype=np.int64),
    }
    for index, name in enumerate(SHOT_NUMBERS):
        columns[name] = np.array([shot.values[index] for shot in shots], dtype=np.float64)
    return columns
