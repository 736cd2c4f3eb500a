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
    Suspicion,
    constant_sum,
    repeated_cavities,
    two_counters,
    unit_suspicions,
    wrapped_suspicions,
)
from server.valve.signals import DoseLag, dose_lag_evidence

Floats = NDArray[np.float64]

#: Rows looked at from the start, and spots all over a text file with some rows each.
FROM_THE_START: Final = 3_000
SPOTS, ROWS_A_SPOT = 24, 40
PREVIEW: Final = 12
_NOBODY: Final = "?"


@dataclasses.dataclass(frozen=True)
class ColumnFound:
    """A column: what it is read as (empty: passed over), in which unit, how sure, and some of its cells."""

    name: str
    field: str
    unit: str
    sure: float
    why: str
    injected: bool
    cells: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Question:
    """What the file leaves open. `code` as in the words for imports; `about` a field or column."""

    code: str
    about: str = ""
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)


@dataclasses.dataclass(frozen=True)
class Flag:
    """What looks wrong and by what figure."""

    code: str
    field: str = ""
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)


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
    raw = _raw_numbers(places, [*rows, *spots], comma)
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


def _raw_numbers(
    places: Sequence[tuple[int, str]], rows: Sequence[Sequence[Any]], comma: bool
) -> dict[str, Floats]:
    """Columns of numbers as they stand, NaN where there is none."""
    raw: dict[str, Floats] = {}
    for index, field in places:
        if field in SHOT_NUMBERS:
            cells = (row[index] if index < len(row) else None for row in rows)
            raw[field] = np.array([_number(cell, comma) for cell in cells], dtype=np.float64)
    return raw


def _number(cell: Any, comma: bool) -> float:
    if isinstance(cell, str):
        found = number_in(cell, decimal_comma=comma)
        return np.nan if found is None else found
    return float(cell) if isinstance(cell, int | float) else np.nan


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
    sums = _sum_tests(columns, rows, comma)
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
        questions=tuple(_questions(columns, plan, dates, start, presses, sums, local)),
        flags=tuple(_flags(source, columns, plan, shots, start, rejected, raw)),
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


def _questions(
    columns: Sequence[ColumnFound],
    plan: Plan,
    dates: OrderFound,
    shots: Sequence[ReadShot],
    presses: Counter[str],
    sums: Sequence[tuple[str, ConstantSum | Undetermined]],
    local: bool,
) -> Iterator[Question]:
    fields = {one.field for one in columns if one.field}
    for what, choices in (
        ("counter", {"counter"}),
        ("at", {"at"}),
        ("shot_size", {"shot_size_mm", "shot_size_cm3"}),
        ("cushion", {"cushion_mm", "cushion_cm3"}),
    ):
        if not choices & fields:
            yield Question("column", what)
    if "press" not in fields and not plan.defaults.get("press"):
        yield Question("press")
    if plan.time_zone is None and (local or (dates.read > 0 and not dates.has_offset)):
        yield Question("time_zone")
    if dates.ambiguous and plan.date_order is None and plan.time_format is None:
        yield Question("date_order")
    if len(presses) > 1 and plan.only_press is None:
        yield Question("presses", facts={"presses": dict(presses)})
    times = np.array([shot.at_ms for shot in shots]), np.array([shot.counter for shot in shots])
    if plan.cavities == "keep" and (repeated := repeated_cavities(*times)) > 0:
        yield Question("cavities", facts={"rows": repeated, "of": len(shots)})
    fields_of = {one.name: one.field for one in columns}
    for name, found in sums:
        if fields_of[name] and isinstance(found, ConstantSum) and found.injected is not False:
            yield Question("injected", name)


def _flags(
    source: Source,
    columns: Sequence[ColumnFound],
    plan: Plan,
    shots: Sequence[ReadShot],
    start: Sequence[ReadShot],
    rejected: Sequence[RejectedRow],
    raw: Mapping[str, Floats],
) -> Iterator[Flag]:
    for one in _suspicions(shots, raw, plan):
        rows = round(one.share * (len(shots) + len(rejected)))
        yield Flag(one.kind, one.field, {"value": one.value, "maybe": one.maybe, "rows": max(1, rows)})
    counts = Counter((row.field, row.code) for row in rejected)
    for (field, code), rows in counts.most_common(12):
        example = next(row.message for row in rejected if (row.field, row.code) == (field, code))
        yield Flag("rejected", field, {"code": code, "rows": rows, "example": example})
    keyed = sorted(start, key=lambda shot: (shot.at_ms, shot.counter))
    if len({shot.label.press for shot in start}) == 1:
        mixed = two_counters(
            np.array([shot.at_ms for shot in keyed]), np.array([shot.counter for shot in keyed])
        )
        if mixed is not None:
            yield Flag("two_counters", "counter", {"rows": mixed.rows, "of": mixed.of})
    if source.kind == "report" and not plan.tokens():
        yield Flag("no_getid")
    for column in columns:
        if column.field and 0.0 < column.sure < 0.85:
            yield Flag("unsure", column.field, {"column": column.name})


def _suspicions(shots: Sequence[ReadShot], raw: Mapping[str, Floats], plan: Plan) -> list[Suspicion]:
    stored = {
        name: np.array([shot.values[index] for shot in shots], dtype=np.float64)
        for index, name in enumerate(SHOT_NUMBERS)
    }
    found = unit_suspicions(stored)
    if not plan.unwrap:
        found += wrapped_suspicions(raw)
    return found


def _sum_tests(
    columns: Sequence[ColumnFound], rows: Sequence[Sequence[Any]], comma: bool
) -> tuple[tuple[str, ConstantSum | Undetermined], ...]:
    """The constant-sum test of every column that is, or may be, the shot size."""

    def values(place: int) -> Floats:
        return np.array([_number(row[place] if place < len(row) else None, comma) for row in rows])

    cushions = {one.field: i for i, one in enumerate(columns) if one.field.startswith("cushion")}
    found = []
    for place, one in enumerate(columns):
        if not (one.field.startswith("shot_size") or one.injected) or not cushions:
            continue
        like = "cushion_mm" if one.field.endswith("_mm") else "cushion_cm3"
        cushion = cushions.get(like, next(iter(cushions.values())))
        same = columns[cushion].field.endswith(like[-4:]) and columns[cushion].unit == one.unit
        found.append((one.name, constant_sum(values(place), values(cushion), same_unit=same)))
    return tuple(found)
