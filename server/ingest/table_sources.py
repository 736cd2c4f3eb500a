"""Files as rows of cells: delimited text, XLSX and Parquet, a piece at a time so that memory stays flat."""

import codecs
import csv
import dataclasses
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq

from server.errors import InvalidError, NotFoundError
from server.ingest.faults import shown

#: Lines looked at for the header: logs often begin with a title or the press's name.
HEADER_WITHIN: Final = 30
DELIMITERS: Final = (",", ";", "\t", "|")
_PIECE: Final = 1 << 20
_SUFFIXES: Final = {
    ".csv": "text",
    ".tsv": "text",
    ".txt": "text",
    ".xlsx": "xlsx",
    ".xlsm": "xlsx",
    ".parquet": "parquet",
}
Cells = Sequence[Any]
#: Tells whether a cell of a possible header line names a wanted column.
Wanted = Callable[[str], bool]


@dataclasses.dataclass(frozen=True)
class Source:
    """A table opened: its column names, and its rows, to be gone through once."""

    names: tuple[str, ...]
    rows: Iterator[Cells]
    #: Of a text file; empty where cells have types.
    delimiter: str = ""


def open_table(path: Path, *, wanted: Wanted, sheet: str | None = None, batch_rows: int = 20_000) -> Source:
    """The table in a file, by its suffix."""
    kind = _SUFFIXES.get(path.suffix.lower())
    if kind is None:
        raise InvalidError(f"{path.name}: tables end in {', '.join(_SUFFIXES)}", field="file")
    if not path.is_file():
        raise NotFoundError(f"{path}: there is no such file", field="file")
    if kind == "text":
        return _open_text(path, wanted)
    if kind == "xlsx":
        return _open_workbook(path, wanted, sheet)
    return _open_parquet(path, batch_rows)


def _clean(cells: Iterable[Any]) -> tuple[str, ...]:
    names = ["" if cell is None else str(cell).strip() for cell in cells]
    while names and not names[-1]:
        names.pop()
    return tuple(names)


def _no_header(path: Path) -> InvalidError:
    return InvalidError(
        f"{path.name}: none of the first {HEADER_WITHIN} lines names a field of a shot or a mapped column; "
        'map columns to fields, like --map "Column=cushion_mm"',
        field="file",
    )


# --- text ----------------------------------------------------------------------------------


def codec_of(path: Path) -> str:
    """UTF-16 by its mark, UTF-8 where the whole file is, else Windows-1252."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        piece = file.read(_PIECE)
        if piece.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        try:
            while piece:
                decoder.decode(piece)
                piece = file.read(_PIECE)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


def _open_text(path: Path, wanted: Wanted) -> Source:
    codec = codec_of(path)
    with path.open(encoding=codec, errors="replace", newline="") as file:
        lines = [file.readline() for _ in range(HEADER_WITHIN)]
    best: tuple[int, int, str, tuple[str, ...]] = (0, 0, "", ())
    for number, line in enumerate(lines):
        for delimiter in DELIMITERS:
            names = _split(line, delimiter)
            hits = sum(map(wanted, names))
            if hits > best[0]:
                best = (hits, number, delimiter, names)
    hits, number, delimiter, names = best
    if not hits:
        raise _no_header(path)
    return Source(names=names, rows=_text_rows(path, codec, number + 1, delimiter), delimiter=delimiter)


def _split(line: str, delimiter: str) -> tuple[str, ...]:
    try:
        return _clean(next(csv.reader([line.strip("\r\n")], delimiter=delimiter), []))
    except csv.Error:
        return ()


def _text_rows(path: Path, codec: str, skip: int, delimiter: str) -> Iterator[Cells]:
    with path.open(encoding=codec, errors="replace", newline="") as file:
        for _ in range(skip):
            file.readline()
        reader = csv.reader(file, delimiter=delimiter)
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                raise InvalidError(
                    f"{path.name}: line {skip + reader.line_num}: {error}", field="file"
                ) from None
            if any(cell and not cell.isspace() for cell in cells):
                yield cells


# --- workbooks -----------------------------------------------------------------------------


def _open_workbook(path: Path, wanted: Wanted, sheet: str | None) -> Source:
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # a damaged workbook meets any exception of zip, XML and reader
        raise InvalidError(f"{path.name} is no XLSX workbook: {error}", field="file") from error
    if not book.worksheets:
        book.close()
        raise _no_header(path)
    if sheet is not None and sheet not in book.sheetnames:
        names = ", ".join(book.sheetnames)
        book.close()
        raise InvalidError(f"{path.name} has no sheet {shown(sheet)}; it has {names}", field="sheet")
    rows = _workbook_rows(path, book, sheet or book.worksheets[0].title)
    for _ in range(HEADER_WITHIN):
        cells = next(rows, None)
        if cells is None:
            break
        names_found = _clean(cells)
        if any(map(wanted, names_found)):
            return Source(names=names_found, rows=rows)
    rows.close()
    raise _no_header(path)


def _workbook_rows(path: Path, book: Any, sheet: str) -> Any:
    try:
        for cells in book[sheet].iter_rows(values_only=True):
            if any(cell is not None and cell != "" for cell in cells):
                yield cells
    except Exception as error:  # as above
        raise InvalidError(f"{path.name} cannot be read to its end: {error}", field="file") from error
    finally:
        book.close()


# --- Parquet -------------------------------------------------------------------------------


def _open_parquet(path: Path, batch_rows: int) -> Source:
    try:
        file = pq.ParquetFile(path)
        names = tuple(file.schema_arrow.names)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise InvalidError(f"{path.name} is no Parquet file: {error}", field="file") from None
    return Source(names=names, rows=_parquet_rows(path, file, batch_rows))


def _parquet_rows(path: Path, file: Any, batch_rows: int) -> Iterator[Cells]:
    try:
        with file:
            for batch in file.iter_batches(batch_size=batch_rows):
                columns = [_plain(column).to_pylist() for column in batch.columns]
                yield from zip(*columns, strict=True)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise InvalidError(f"{path.name} cannot be read to its end: {error}", field="file") from error


def _plain(column: Any) -> Any:
    """Times to the microsecond, rounded down, so that they become plain datetimes."""
    kind = column.type
    if pa.types.is_timestamp(kind) and kind.unit == "ns":
        return column.cast(pa.timestamp("us", tz=kind.tz), safe=False)
    if pa.types.is_dictionary(kind):
        return column.cast(kind.value_type)
    return column
