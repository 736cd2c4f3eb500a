"""A chunk of a table as the columns of the fast path; None where a cell needs the careful one."""

from collections.abc import Sequence
from typing import Any

from server.ingest.batch import ReadBatch
from server.ingest.cells import DOCUMENT_FIELDS, NUMBER_FIELDS
from server.ingest.columns import FIELDS, RAW_NONE, Column, read_columns
from server.ingest.csv_body import column_of
from server.ingest.faults import RowFault
from server.ingest.labels import Head
from server.ingest.table_cells import Reading, point_of, time_text

_NONE = type(None)
Places = Sequence[tuple[int, str]]


def read_chunk_fast(
    chunk: Sequence[Sequence[Any]], places: Places, reading: Reading, head: Head, received_ms: int
) -> ReadBatch | None:
    """All rows of a chunk at once, or None."""
    fields = [field for _, field in places]
    if len(set(fields)) < len(fields) or not set(FIELDS).issuperset(fields):
        return None
    try:
        cells = list(zip(*chunk, strict=True))
        given = {field: _column(field, cells[index], reading) for index, field in places}
    except (ValueError, IndexError, OverflowError, RowFault):
        return None
    count = len(chunk)
    columns = [given[name] if name in given else _absent(name, count) for name in FIELDS]
    return read_columns(columns, head, received_ms)


def _absent(name: str, count: int) -> Column:
    return [RAW_NONE if name in DOCUMENT_FIELDS else None] * count


def _column(field: str, cells: Sequence[Any], reading: Reading) -> Column:
    kinds = set(map(type, cells))
    if field == "at":
        return _texts([time_text(cell, reading) for cell in cells])
    if kinds == {str}:
        if field in NUMBER_FIELDS and reading.decimal_comma:
            cells = list(map(point_of, cells))
        return column_of(field, cells)
    if kinds == {_NONE}:
        return _absent(field, len(cells))
    if field in NUMBER_FIELDS and kinds <= {int, float, _NONE}:
        return [None if cell is None or cell != cell else float(cell) for cell in cells]
    if field == "counter" and kinds == {int}:
        return cells
    if field in NUMBER_FIELDS or field in DOCUMENT_FIELDS or field == "counter":
        raise ValueError
    return _texts(cells)


def _texts(cells: Sequence[Any]) -> Column:
    if not set(map(type, cells)) <= {str, _NONE}:
        raise ValueError
    return [cell.strip() or None if cell is not None else None for cell in cells]
