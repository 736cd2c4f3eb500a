"""Shots from tables on disk: CSV, TSV, XLSX and Parquet files of other programs.

A column whose name is a field of the contract is read as that field; any other needs a mapping,
`{"Cushion [mm]": "cushion_mm"}`. A target `extra.NAME` keeps a number of one's own; two columns
mapped to `at` are joined (date and time). Columns not mapped are passed over.
"""

import dataclasses
import functools
import itertools
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from server.contract import SHOT_COLUMNS, SHOT_NUMBERS
from server.errors import InvalidError
from server.ingest.batch import ReadBatch
from server.ingest.cells import line_of
from server.ingest.faults import RowFault, shown
from server.ingest.labels import LABEL_FIELDS, Head, read_head
from server.ingest.rows import Row, check_rows
from server.ingest.table_cells import Reading, as_json, cell_value, has_decimal_comma, zone_of
from server.ingest.table_columns import read_chunk_fast
from server.ingest.table_sources import Source, open_table

FIELDS: Final = frozenset({"counter", "at", *LABEL_FIELDS, *SHOT_COLUMNS})
_NUMBERS: Final = frozenset(SHOT_NUMBERS)
_EXTRA: Final = "extra."
#: Rows looked at to find out how decimals are written.
_SAMPLE: Final = 200
_NOTHING: Final[Mapping[str, str]] = {}


@dataclasses.dataclass(frozen=True)
class Heading:
    """What the header of a table says: all columns, the field of each one read, the others."""

    columns: tuple[str, ...]
    fields: Mapping[str, str]
    passed_over: tuple[str, ...]


def read_heading(path: Path, *, mapping: Mapping[str, str] = _NOTHING, sheet: str | None = None) -> Heading:
    """Which columns of a file would be read as which field."""
    _check_mapping(mapping)
    source = open_table(path, wanted=_wanted(mapping), sheet=sheet)
    _close(source)
    return _heading(source, mapping)


def read_table(
    path: Path,
    *,
    received_ms: int,
    mapping: Mapping[str, str] = _NOTHING,
    units: Mapping[str, str] = _NOTHING,
    defaults: Mapping[str, str] = _NOTHING,
    time_zone: str | None = None,
    time_format: str | None = None,
    sheet: str | None = None,
    decimal_comma: bool | None = None,
    chunk_rows: int = 20_000,
) -> Iterator[ReadBatch]:
    """The rows of a file in batches of at most `chunk_rows`; `row` counts through the whole file from 0.

    `defaults` are press, mold, material, lot, setup where a row names none. Times without an offset
    are read in `time_zone`; `decimal_comma` None finds out. Faults of the file or of the mapping
    raise at once, before the first batch is asked for.
    """
    _check_mapping(mapping)
    head = read_head(defaults, units)
    zone = zone_of(time_zone)
    source = open_table(path, wanted=_wanted(mapping), sheet=sheet, batch_rows=chunk_rows)
    try:
        heading = _heading(source, mapping)
        _check_heading(heading, head)
        first = list(itertools.islice(source.rows, _SAMPLE))
        if decimal_comma is None:
            decimal_comma = source.delimiter not in ("", ",") and has_decimal_comma(
                [row[i] for i, field in _places(source, heading) if field in _NUMBERS and i < len(row)]
                for row in first
            )
    except Exception:
        _close(source)
        raise
    reading = Reading(zone=zone, time_format=time_format, decimal_comma=decimal_comma)
    rows = dataclasses.replace(source, rows=itertools.chain(first, source.rows))
    return _batches(rows, heading, reading, head, received_ms=received_ms, chunk_rows=chunk_rows)


def _close(source: Source) -> None:
    close = getattr(source.rows, "close", None)
    if close is not None:
        close()


def _wanted(mapping: Mapping[str, str]) -> Any:
    return lambda name: name in mapping or name in FIELDS


def _check_mapping(mapping: Mapping[str, str]) -> None:
    for column, field in mapping.items():
        if field not in FIELDS and not (field.startswith(_EXTRA) and len(field) > len(_EXTRA)):
            raise InvalidError(
                f"column {shown(column)} is mapped to {shown(field)}, which is no field of a shot; "
                f"known are {', '.join(sorted(FIELDS))} and extra.NAME",
                field="mapping",
            )


def _heading(source: Source, mapping: Mapping[str, str]) -> Heading:
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
        raise InvalidError(f"the header names {shown(twice[0])} twice; rename one", field="file")
    targets = [field for field in heading.fields.values() if field != "at"]
    for field in targets:
        if targets.count(field) > 1:
            columns = ", ".join(shown(c) for c, f in heading.fields.items() if f == field)
            raise InvalidError(f"the columns {columns} are all mapped to {field}; map one", field="mapping")
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
        f'no column holds {field}; {way} one of the columns left ({columns}), like --map "Column={field}"',
        field="mapping",
    )


def _batches(
    source: Source, heading: Heading, reading: Reading, head: Head, *, received_ms: int, chunk_rows: int
) -> Iterator[ReadBatch]:
    places = _places(source, heading)
    start = 0
    while chunk := list(itertools.islice(source.rows, chunk_rows)):
        batch = read_chunk_fast(chunk, places, reading, head, received_ms)
        if batch is None:
            rows = (row_of_cells(cells, places, source, reading) for cells in chunk)
            batch = check_rows(rows, head, received_ms)
        yield _moved(batch, start)
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
    fields: dict[str, Any] = {}
    fault: RowFault | None = None
    own: dict[str, Any] = {}
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
        if field.startswith(_EXTRA):
            own[field.removeprefix(_EXTRA)] = value
        else:
            fields[field] = value
    try:
        fields["at"] = cell_value("at", _joined(times), reading)
    except RowFault as caught:
        fault = fault or caught
    if own:
        given = fields.get("extra")
        fields["extra"] = {**own, **given} if isinstance(given, dict) else own
    return Row(functools.partial(_text, cells, source), fields, fault)


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
