"""A chunk of a table as the columns of the fast path; None where a cell needs the careful one."""

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from server.ingest.batch import ReadBatch
from server.ingest.bounds import WRAPPING
from server.ingest.cells import DOCUMENT_FIELDS, NUMBER_FIELDS
from server.ingest.columns import FIELDS, RAW_NONE, Column, read_columns
from server.ingest.csv_body import column_of
from server.ingest.faults import RowFault
from server.ingest.labels import Head
from server.ingest.table_cells import EXTRA, ZONE, Reading, is_number, signed, time_ms
from server.tabular.local_time import TimeTroubleError
from server.tabular.numbers import is_missing, point_of

_NONE = type(None)
Places = Sequence[tuple[int, str]]


def read_chunk_fast(
    chunk: Sequence[Sequence[Any]],
    places: Places,
    reading: Reading,
    head: Head,
    received_ms: int,
    first_row: int = 0,
) -> ReadBatch | None:
    """All rows of a chunk at once, or None."""
    fields = [field for _, field in places]
    if len(set(fields)) < len(fields):
        return None
    try:
        cells = list(zip(*chunk, strict=True))
        given = {field: _column(field, cells[index], reading) for index, field in places}
        _gather(given, ZONE, "zone_temps_c")
        _gather(given, EXTRA, "extra")
    except (ValueError, IndexError, OverflowError, RowFault):
        return None
    if not set(FIELDS).issuperset(given):
        return None
    count = len(chunk)
    columns = [given[name] if name in given else _absent(name, count) for name in FIELDS]
    return read_columns(columns, head, received_ms, first_row=first_row)


def _gather(given: dict[str, Column], prefix: str, field: str) -> None:
    """Columns of their own as one document a row."""
    parts = {name.removeprefix(prefix): given.pop(name) for name in list(given) if name.startswith(prefix)}
    if not parts:
        return
    if field in given:
        raise ValueError
    rows: Any
    if prefix == ZONE:
        last = max(map(int, parts))
        nothing: Column = [None] * len(next(iter(parts.values())))
        rows = zip(*(parts.get(str(i), nothing) for i in range(1, last + 1)), strict=True)
        given[field] = [
            RAW_NONE if set(row) == {None} else msgspec.Raw(msgspec.json.encode(row)) for row in rows
        ]
        return
    rows = zip(*parts.values(), strict=True)
    given[field] = [msgspec.Raw(msgspec.json.encode(_present(parts, row))) for row in rows]


def _present(parts: Mapping[str, Any], row: Sequence[Any]) -> dict[str, Any]:
    return {name: value for name, value in zip(parts, row, strict=True) if value is not None}


def _absent(name: str, count: int) -> Column:
    return [RAW_NONE if name in DOCUMENT_FIELDS else None] * count


def _column(field: str, cells: Sequence[Any], reading: Reading) -> Column:
    if field == "at":
        return _times(cells, reading)
    kinds = set(map(type, cells))
    if kinds == {_NONE}:
        return _absent(field, len(cells))
    if is_number(field):
        return _numbers(field, cells, kinds, reading)
    if kinds == {str}:
        return column_of(field, cells)
    if field == "counter" and kinds == {int}:
        return cells
    if field in DOCUMENT_FIELDS or field == "counter":
        raise ValueError
    return _texts(cells)


def _numbers(field: str, cells: Sequence[Any], kinds: set[type], reading: Reading) -> Column:
    column: Column
    if kinds == {str}:
        if reading.decimal_comma:
            cells = _points_of(cells)
        name = field if field in NUMBER_FIELDS else "cushion_mm"
        try:
            column = column_of(name, cells)
        except ValueError:
            # A dash or "n/a" for what was not measured; anything else needs the careful path.
            column = column_of(name, ["" if is_missing(cell) else cell for cell in cells])
    elif kinds <= {int, float, _NONE}:
        column = [None if cell is None or cell != cell else float(cell) for cell in cells]
    else:
        raise ValueError
    return [signed(field, value) for value in column] if reading.unwrap and field in WRAPPING else column


def _points_of(cells: Sequence[str]) -> Sequence[str]:
    """Commas as points; all at once where no cell has a point that could set thousands apart."""
    joined = "\n".join(cells)
    if "." in joined or "'" in joined or " " in joined or joined.count("\n") != len(cells) - 1:
        return list(map(point_of, cells))
    return joined.replace(",", ".").split("\n")


def _times(cells: Sequence[Any], reading: Reading) -> Column:
    if reading.time_format is None and set(map(type, cells)) == {str}:
        try:
            return reading.clock.all_ms(map(str.strip, cells))
        except TimeTroubleError as trouble:
            raise ValueError from trouble
    times = [time_ms(cell, reading) for cell in cells]
    if set(map(type, times)) != {int}:
        raise ValueError
    return times


def _texts(cells: Sequence[Any]) -> Column:
    if not set(map(type, cells)) <= {str, _NONE}:
        raise ValueError
    return [cell.strip() or None if cell is not None else None for cell in cells]
