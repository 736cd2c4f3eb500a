"""Shots from tables on disk: CSV, TSV, XLSX, Parquet and report files of other programs.

A column whose name is a field of the contract is read as that field; any other needs a mapping,
`{"Cushion [mm]": "cushion_mm"}`. A target `extra.NAME` keeps a number of one's own, `zone_temps_c.3` is
one of the zones; two columns mapped to `at` are joined (date and time). Columns not mapped are passed over.
"""

import dataclasses
import functools
import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from server.contract import SHOT_NUMBERS
from server.errors import InvalidError
from server.ingest.batch import ReadBatch, ReadShot, RejectedRow, shot_line
from server.ingest.cells import line_of
from server.ingest.faults import RowFault, shown
from server.ingest.labels import Head
from server.ingest.rows import Row, check_rows
from server.ingest.table_cells import EXTRA, ZONE, Reading, as_json, cell_value, zone_of
from server.ingest.table_columns import read_chunk_fast
from server.ingest.table_plan import FIELDS, Plan, number_places
from server.ingest.table_sources import Source, open_table
from server.ingest.table_text import BadLine
from server.language import N_
from server.tabular.local_time import LocalClock, OrderFound, find_order
from server.tabular.numbers import has_decimal_comma

#: Rows looked at to find out how decimals and dates are written.
SAMPLE: Final = 2_000
_WEIGHT: Final = SHOT_NUMBERS.index("part_weight_g")
_NOTHING: Final[Mapping[str, str]] = {}


@dataclasses.dataclass(frozen=True)
class Heading:
    """What the header of a table says: all columns, the field of each one read, the others."""

    columns: tuple[str, ...]
    fields: Mapping[str, str]
    passed_over: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class OpenTable:
    """A file about to be read: its batches, and how far they are. How decimals and dates were found to
    be written stands beside it."""

    batches: Iterator[ReadBatch]
    progress: Callable[[], float]
    heading: Heading
    decimal_comma: bool
    dates: OrderFound
    source: Source


def read_heading(path: Path, *, mapping: Mapping[str, str] = _NOTHING, sheet: str | None = None) -> Heading:
    """Which columns of a file would be read as which field."""
    Plan(mapping=mapping).check()
    source = open_table(path, wanted=_wanted(mapping), sheet=sheet)
    close_source(source)
    return heading_of(source, mapping)


def read_table(path: Path, *, received_ms: int, chunk_rows: int = 20_000, **how: Any) -> Iterator[ReadBatch]:
    """The rows of a file in batches of at most `chunk_rows`; `row` counts through the whole file from 0.

    `how`: the fields of `Plan`. Faults of the file or of the mapping raise at once, before the first
    batch is asked for.
    """
    return open_planned(path, Plan(**how), received_ms=received_ms, chunk_rows=chunk_rows).batches


def open_planned(path: Path, plan: Plan, *, received_ms: int, chunk_rows: int = 20_000) -> OpenTable:
    """The same with what is known of the file beside it."""
    plan.check()
    zone = zone_of(plan.time_zone)
    source = open_table(
        path,
        wanted=_wanted(plan.mapping),
        sheet=plan.sheet,
        batch_rows=chunk_rows,
        encoding=plan.encoding,
        delimiter=plan.delimiter,
    )
    try:
        heading = heading_of(source, plan.mapping)
        head = plan.head(heading.fields)
        _check_heading(heading, head)
        first = list(itertools.islice(source.rows, SAMPLE))
        places = _places(source, heading)
        comma = plan.decimal_comma
        if comma is None:
            comma = _has_comma(source, places, first)
        dates = find_dates(places, first)
    except Exception:
        close_source(source)
        raise
    clock = LocalClock(
        zone=zone,
        order=plan.date_order or dates.order,
        descending=_is_descending(places, first, plan, dates),
    )
    reading = Reading(clock, plan.time_format, comma, plan.unwrap)
    rows = dataclasses.replace(source, rows=itertools.chain(first, source.rows))
    batches = _batches(rows, heading, reading, head, received_ms=received_ms, chunk_rows=chunk_rows)
    if plan.cavities == "sum":
        batches = _summed(batches)
    if plan.only_press:
        batches = (_only(batch, plan.only_press) for batch in batches)
    return OpenTable(batches, source.progress, heading, comma, dates, source)


def close_source(source: Source) -> None:
    close = getattr(source.rows, "close", None)
    if close is not None:
        close()


def _wanted(mapping: Mapping[str, str]) -> Any:
    return lambda name: name in mapping or name in FIELDS


def heading_of(source: Source, mapping: Mapping[str, str]) -> Heading:
    fields: dict[str, str] = {}
    for name in source.names:
        field = mapping.get(name) or (name if name in FIELDS and name not in mapping.values() else None)
        if field is not None:
            fields[name] = field
    return Heading(
        columns=source.names,
        fields=fields,
        passed_over=tuple(n for n in source.names if n and n not in fields),
    )


def _check_heading(heading: Heading, head: Head) -> None:
    twice = sorted({n for n in heading.fields if heading.columns.count(n) > 1})
    if twice:
        raise InvalidError(
            N_("the header names {twice} twice; rename one", twice=shown(twice[0])), field="file"
        )
    targets = [field for field in heading.fields.values() if field != "at"]
    for field in targets:
        if targets.count(field) > 1:
            columns = ", ".join(shown(c) for c, f in heading.fields.items() if f == field)
            raise InvalidError(
                N_("the columns {columns} are all mapped to {field}; map one", columns=columns, field=field),
                field="mapping",
            )
    known = set(heading.fields.values())
    for field in ("counter", "at"):
        if field not in known:
            raise _missing_column(field, heading)
    if "press" not in known and not head.label.press:
        raise _missing_column("press", heading)


def _missing_column(field: str, heading: Heading) -> InvalidError:
    columns = ", ".join(shown(c) for c in heading.passed_over) or "none"
    way = "name the press with --press, or map" if field == "press" else "map"
    return InvalidError(
        N_(
            'no column holds {field}; {way} one of the columns left ({columns}), like --map "Column={field}"',
            field=field,
            way=way,
            columns=columns,
        ),
        field="mapping",
    )


def _has_comma(source: Source, places: Sequence[tuple[int, str]], rows: Sequence[Sequence[Any]]) -> bool:
    if source.delimiter in ("", ","):
        return False
    numbers = number_places(places)
    return has_decimal_comma([row[i] for i in numbers if i < len(row)] for row in rows)


def find_dates(places: Sequence[tuple[int, str]], rows: Sequence[Sequence[Any]]) -> OrderFound:
    """In which order the dates of a table stand; typed cells need none."""
    wanted = [index for index, field in places if field == "at"]
    joined = (_joined([row[i] for i in wanted if i < len(row)]) for row in rows if len(row))
    return find_order(cell for cell in joined if isinstance(cell, str) and cell.strip())


def _is_descending(
    places: Sequence[tuple[int, str]], rows: Sequence[Sequence[Any]], plan: Plan, dates: OrderFound
) -> bool:
    """Whether the newest row stands first: what the repeated hour of autumn is told by."""
    zone = zone_of("UTC")
    reading = Reading(LocalClock(zone=zone, order=plan.date_order or dates.order), plan.time_format)
    times = []
    for row in (*rows[:50], *rows[-50:]):
        cell = _joined([row[i] for i, field in places if field == "at" and i < len(row)])
        try:
            text = cell_value("at", cell, reading)
        except RowFault:
            continue
        if isinstance(text, str):
            times.append(text)
    falls = sum(later < earlier for earlier, later in itertools.pairwise(times))
    return falls > len(times) / 2


def _batches(
    source: Source, heading: Heading, reading: Reading, head: Head, *, received_ms: int, chunk_rows: int
) -> Iterator[ReadBatch]:
    places = _places(source, heading)
    start = 0
    while chunk := list(itertools.islice(source.rows, chunk_rows)):
        last_ms = reading.clock.last_ms
        batch = read_chunk_fast(chunk, places, reading, head, received_ms, start)
        if batch is None:
            reading.clock.last_ms = last_ms
            rows = (row_of_cells(cells, places, source, reading) for cells in chunk)
            batch = _moved(check_rows(rows, head, received_ms), start)
        yield batch
        start += batch.received


def _places(source: Source, heading: Heading) -> list[tuple[int, str]]:
    """Index and field of each column read."""
    return [(i, heading.fields[name]) for i, name in enumerate(source.names) if name in heading.fields]


def _moved(batch: ReadBatch, start: int) -> ReadBatch:
    """Row numbers through the whole file."""
    if not start:
        return batch
    return ReadBatch(
        received=batch.received,
        shots=[shot._replace(row=shot.row + start) for shot in batch.shots],
        rejected=[dataclasses.replace(apart, row=apart.row + start) for apart in batch.rejected],
    )


def row_of_cells(
    cells: Sequence[Any], places: Sequence[tuple[int, str]], source: Source, reading: Reading
) -> Row:
    """A row's cells as the fields of a shot; the first cell that cannot be read is its fault."""
    if isinstance(cells, BadLine):
        return Row(cells.raw or cells.reason, {}, RowFault("", "bad_line", cells.reason))
    fields: dict[str, Any] = {}
    fault: RowFault | None = None
    own: dict[str, Any] = {}
    zones: dict[int, Any] = {}
    times: list[Any] = []
    for index, field in places:
        cell = cells[index] if index < len(cells) else None
        if field == "at":
            times.append(cell)
            continue
        try:
            value = cell_value(field, cell, reading)
        except RowFault as caught:
            fault = fault or caught
            continue
        if field.startswith(EXTRA):
            own[field.removeprefix(EXTRA)] = value
        elif field.startswith(ZONE):
            zones[int(field.removeprefix(ZONE))] = value
        else:
            fields[field] = value
    try:
        fields["at"] = cell_value("at", _joined(times), reading)
    except RowFault as caught:
        fault = fault or caught
    _add_documents(fields, own, zones)
    return Row(functools.partial(_text, cells, source), fields, fault)


def _add_documents(fields: dict[str, Any], own: Mapping[str, Any], zones: Mapping[int, Any]) -> None:
    if own:
        given = fields.get("extra")
        fields["extra"] = {**own, **given} if isinstance(given, dict) else own
    if any(value is not None for value in zones.values()):
        fields["zone_temps_c"] = [zones.get(i) for i in range(1, max(zones) + 1)]


def _text(cells: Sequence[Any], source: Source) -> str:
    """The row as it stands in the file; as JSON where its cells have types."""
    if not source.delimiter:
        return as_json(source.names, cells)
    return line_of(cells, source.delimiter)


def _joined(times: Sequence[Any]) -> Any:
    """Date and time from two columns as one."""
    if len(times) == 1:
        return times[0]
    parts = [_part(cell) for cell in times if cell is not None]
    return " ".join(parts)


def _part(cell: Any) -> str:
    text = str(cell).strip()
    return text.removesuffix(" 00:00:00")  # a spreadsheet's date alone


def _only(batch: ReadBatch, press: str) -> ReadBatch:
    """Rows of another press kept apart."""
    if all(shot.label.press == press for shot in batch.shots):
        return batch
    own = [shot for shot in batch.shots if shot.label.press == press]
    others = [
        RejectedRow(
            row=shot.row,
            field="press",
            code="foreign_press",
            message=f"the row is of press {shown(shot.label.press)}; only {shown(press)} was asked for",
            raw=shot_line(shot),
            press=shot.label.press,
        )
        for shot in batch.shots
        if shot.label.press != press
    ]
    rejected = sorted((*batch.rejected, *others), key=lambda row: row.row)
    return dataclasses.replace(batch, shots=own, rejected=rejected)


def _summed(batches: Iterator[ReadBatch]) -> Iterator[ReadBatch]:
    """Rows that follow one another with the same press, counter and time as one shot of all cavities."""
    held: list[ReadShot] = []
    for batch in batches:
        whole: list[ReadShot] = []
        for shot in batch.shots:
            if held and _key(held[0]) != _key(shot):
                whole.append(_as_one(held))
                held = []
            held.append(shot)
        yield dataclasses.replace(batch, shots=whole)
    if held:
        yield ReadBatch(received=0, shots=[_as_one(held)], rejected=[])


def _key(shot: ReadShot) -> tuple[str, int, int]:
    return shot.label.press, shot.at_ms, shot.counter


def _as_one(rows: Sequence[ReadShot]) -> ReadShot:
    """The first of the rows with all weights added up; without one where any is missing."""
    first = rows[0]
    if len(rows) == 1:
        return first
    weights = [row.values[_WEIGHT] for row in rows]
    total = None if None in weights else sum(weights)
    return first._replace(values=(*first.values[:_WEIGHT], total, *first.values[_WEIGHT + 1 :]))
