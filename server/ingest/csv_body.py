"""CSV bodies: a header of field names, then one shot a line."""

import csv
import functools
import io
from collections.abc import Iterator, Sequence
from math import isfinite
from typing import Any, Final

from server.contract import SHOT_COLUMNS
from server.errors import BadBodyError, TooLargeError
from server.ingest.batch import ReadBatch
from server.ingest.cells import DOCUMENT_FIELDS, NUMBER_FIELDS, line_of, value_of
from server.ingest.columns import FIELDS, RAW_NONE, Column, read_columns
from server.ingest.faults import RowFault, shown
from server.ingest.forms import check_lines, decode
from server.ingest.json_body import Around
from server.ingest.labels import LABEL_FIELDS, Head
from server.ingest.rows import Row, check_rows
from server.language import N_

DELIMITERS: Final = (",", ";", "\t")
COLUMNS_MAX: Final = 400
HEADER_MAX: Final = 65_536
LINE_MAX: Final = 1 << 20
_KNOWN: Final = frozenset({"counter", "at", *LABEL_FIELDS, *SHOT_COLUMNS})


def read_csv(body: bytes, around: Around, *, codec: str) -> ReadBatch:
    """A table as text; delimiter comma, semicolon or tab, whichever the header holds most of."""
    check_lines(body.count(b"\n"), around.max_rows)
    text = decode(body, codec)
    return read_csv_fast(text, around) or read_csv_carefully(text, around)


def delimiter_of(header: str) -> str:
    """The delimiter that splits a header line into most names.

    >>> delimiter_of("counter;at;cushion_mm")
    ';'
    """
    return max(DELIMITERS, key=header.count)


def _header_of(text: str) -> tuple[list[str], str]:
    first = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = delimiter_of(first)
    if len(first) > HEADER_MAX:
        raise BadBodyError(
            N_(
                "the header has {first} characters; at most {header_max} are read",
                first=len(first),
                header_max=HEADER_MAX,
            )
        )
    try:
        names = [name.strip() for name in next(csv.reader([first.rstrip("\r")], delimiter=delimiter), [])]
    except csv.Error as error:
        raise BadBodyError(N_("the header cannot be read: {error}", error=error)) from None
    while names and not names[-1]:
        names.pop()
    _check_header(names)
    return names, delimiter


def _check_header(names: Sequence[str]) -> None:
    if not names:
        raise BadBodyError(N_("the table is empty; its first line is a header of field names"))
    if not _KNOWN.intersection(names):
        raise BadBodyError(
            N_(
                "the first line {join} names no field of a shot; start with a header like"
                " press,counter,at,shot_size_mm,cushion_mm",
                join=shown(",".join(names)),
            )
        )
    if len(names) > COLUMNS_MAX:
        raise BadBodyError(
            N_(
                "the header has {names} columns; at most {columns_max} are read",
                names=len(names),
                columns_max=COLUMNS_MAX,
            )
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise BadBodyError(
            N_("the header names {twice} twice; each column needs its own name", twice=shown(twice[0]))
        )
    if "" in names:
        raise BadBodyError(N_("column {index} of the header has no name", index=names.index("") + 1))


def read_csv_fast(text: str, around: Around) -> ReadBatch | None:
    """The columns at once; None where a cell or the shape of a line needs a careful look."""
    names, delimiter = _header_of(text)
    if not _KNOWN.issuperset(names) or "counter" not in names or "at" not in names:
        return None
    rows = _plain_rows(text, delimiter, len(names))
    if rows is None:
        return None
    around.check_count(len(rows))
    head = around.head({}, None)
    given = dict(zip(names, zip(*rows, strict=True), strict=True)) if rows else {}
    try:
        columns = [
            column_of(name, given[name]) if name in given else _absent(name, len(rows)) for name in FIELDS
        ]
    except ValueError:
        return None
    return read_columns(columns, head, around.received_ms)


def _beyond(text: str) -> str:
    """Everything after the header."""
    return text.lstrip("\r\n").partition("\n")[2]


def _plain_rows(text: str, delimiter: str, width: int) -> list[list[str]] | None:
    if '"' in text:
        return None
    lines = [line.rstrip("\r") for line in _beyond(text).split("\n")]
    rows = [line.split(delimiter) for line in lines if line and not line.isspace()]
    return rows if all(len(row) == width for row in rows) else None


def _absent(name: str, count: int) -> Column:
    return [RAW_NONE if name in DOCUMENT_FIELDS else None] * count


def column_of(name: str, cells: Sequence[str]) -> Column:
    """Text cells as a column for `read_columns`; `ValueError` where the careful path has to look."""
    if not cells[0] and not any(cells):
        return _absent(name, len(cells))
    if name in NUMBER_FIELDS:
        return _numbers(cells)
    if name == "counter":
        _check_plain(cells)
        return list(map(int, cells))
    if name in DOCUMENT_FIELDS:
        raise ValueError
    return [cell.strip() or None for cell in cells]


def _numbers(cells: Sequence[str]) -> list[float | None]:
    _check_plain(cells)
    if "" not in cells:
        present = list(map(float, cells))
        numbers: list[float | None] = [*present]
    else:
        numbers = [float(cell) if cell else None for cell in cells]
        present = [n for n in numbers if n is not None]
    if not isfinite(sum(present)):
        raise ValueError
    return numbers


def _check_plain(cells: Sequence[str]) -> None:
    # `float` and `int` read underscores and the digits of every script; the contract knows ten of them.
    joined = "".join(cells)
    if "_" in joined or not joined.isascii():
        raise ValueError


def read_csv_carefully(text: str, around: Around) -> ReadBatch:
    names, delimiter = _header_of(text)
    head: Head = around.head({}, None)
    return check_rows(_rows(text, names, delimiter, around), head, around.received_ms)


def _rows(text: str, names: Sequence[str], delimiter: str, around: Around) -> Iterator[Row]:
    reader = csv.reader(_lines(_beyond(text)), delimiter=delimiter)
    count = 0
    while True:
        try:
            cells = next(reader, None)
        except csv.Error as error:
            count += 1
            around.check_count(count)
            yield Row("", None, RowFault("", "bad_line", N_("the line cannot be read: {error}", error=error)))
            continue
        if cells is None:
            return
        if not any(cell.strip() for cell in cells) and len(cells) <= 1:
            continue
        count += 1
        around.check_count(count)
        yield _row_of(names, cells, delimiter)


def _lines(text: str) -> Iterator[str]:
    for line in io.StringIO(text, newline=""):
        if len(line) > LINE_MAX:
            raise TooLargeError(
                N_(
                    "a line has {line} characters; at most {line_max} are read",
                    line=len(line),
                    line_max=LINE_MAX,
                )
            )
        yield line


def _row_of(names: Sequence[str], cells: Sequence[str], delimiter: str) -> Row:
    raw = functools.partial(line_of, cells, delimiter)
    if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
        fault = RowFault(
            "",
            "bad_line",
            N_(
                "the line has {cells} cells under {names} names; quote cells that hold the delimiter",
                cells=len(cells),
                names=len(names),
            ),
        )
        return Row(raw, dict(zip(names, cells, strict=False)), fault)
    fields: dict[str, Any] = {}
    try:
        for name, cell in zip(names, cells, strict=False):
            fields[name] = value_of(name, cell)
    except RowFault as fault:
        return Row(raw, {n: c for n, c in zip(names, cells, strict=False) if n == "press"}, fault)
    return Row(raw, fields)
