"""Files as rows of cells: delimited text, report files, XLSX and Parquet, a piece at a time so that
memory stays flat, whatever a file claims or unpacks to."""

import csv
import dataclasses
import io
import itertools
import zipfile
from collections.abc import Callable, Generator, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from server.errors import InvalidError, NotFoundError, TooLargeError
from server.ingest.faults import shown
from server.ingest.parquet_pages import BrokenPageError, largest_group, too_many_rows
from server.ingest.sheet_rows import Workbook
from server.ingest.table_text import BadLine, clean, codec_of, opened, possible_headers, share_read
from server.language import N_
from server.lazily import Lazily
from server.tabular.report_files import ReportLines

pa, pc, pq = Lazily("pyarrow"), Lazily("pyarrow.compute"), Lazily("pyarrow.parquet")

#: Lines looked at for the header: logs often begin with a title or the press's name.
HEADER_WITHIN: Final = 30
DELIMITERS: Final = (",", ";", "\t", "|")
COLUMNS_MAX: Final = 400
#: What a workbook may unpack to in all, and its texts, which are held in memory.
UNPACKED_MAX: Final = 4 << 30
TEXTS_MAX: Final = 128 << 20
#: A part that is packed closer than this and is large is no log.
PACKED_MAX: Final = 1000
ROW_GROUP_MAX: Final = 1 << 30
#: Bytes of text in one batch of a Parquet file: a dictionary may say a long text a million times.
BATCH_TEXT_MAX: Final = 128 << 20
_SUFFIXES: Final = {
    ".csv": "text",
    ".tsv": "text",
    ".txt": "text",
    ".xlsx": "xlsx",
    ".xlsm": "xlsx",
    ".parquet": "parquet",
    ".dat": "report",
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
    kind: str = "text"
    encoding: str = ""
    sheets: tuple[str, ...] = ()
    #: Share of the file gone through, 0 to 1.
    progress: Callable[[], float] = lambda: 0.0
    #: Rows in all, where the file says so.
    total: int | None = None


def open_table(
    path: Path,
    *,
    wanted: Wanted,
    sheet: str | None = None,
    batch_rows: int = 20_000,
    encoding: str | None = None,
    delimiter: str | None = None,
) -> Source:
    """The table in a file, by its suffix."""
    kind = _SUFFIXES.get(path.suffix.lower())
    if kind is None:
        raise InvalidError(
            N_("{name}: tables end in {join}", name=path.name, join=", ".join(_SUFFIXES)), field="file"
        )
    if not path.is_file():
        raise NotFoundError(N_("{path}: there is no such file", path=path), field="file")
    if kind == "text":
        return _open_text(path, wanted, encoding, delimiter)
    if kind == "report":
        return _open_report(path, wanted, encoding)
    if kind == "xlsx":
        return _open_workbook(path, wanted, sheet)
    return _open_parquet(path, wanted, batch_rows)


def _no_header(path: Path) -> InvalidError:
    return InvalidError(
        N_(
            "{name}: none of the first {header_within} lines names a field of a shot or a mapped"
            ' column; map columns to fields, like --map "Column=cushion_mm"',
            name=path.name,
            header_within=HEADER_WITHIN,
        ),
        field="file",
    )


def _check_width(path: Path, names: Sequence[str]) -> None:
    if len(names) > COLUMNS_MAX:
        raise InvalidError(
            N_(
                "{name} has {names} columns; at most {columns_max} are read",
                name=path.name,
                names=len(names),
                columns_max=COLUMNS_MAX,
            ),
            field="file",
        )


# --- text ----------------------------------------------------------------------------------


def _open_text(path: Path, wanted: Wanted, encoding: str | None, given: str | None) -> Source:
    codec = encoding or codec_of(path)
    with opened(path, codec) as file:
        lines = [file.readline(1 << 17) for _ in range(HEADER_WITHIN)]
    hits, after, delimiter, names = 0, 0, "", tuple[str, ...]()
    for mark in (given,) if given else DELIMITERS:
        for lines_read, found in possible_headers(lines, mark):
            if (count := sum(map(wanted, found))) > hits:
                hits, after, delimiter, names = count, lines_read, mark, found
    if not hits:
        raise _no_header(path)
    _check_width(path, names)
    at: list[io.TextIOWrapper] = []
    return Source(
        names=names,
        rows=_text_rows(path, codec, after, delimiter, at),
        delimiter=delimiter,
        encoding=codec,
        progress=share_read(at, path),
    )


def _text_rows(
    path: Path, codec: str, skip: int, delimiter: str, at: list[io.TextIOWrapper]
) -> Iterator[Cells]:
    with opened(path, codec) as file:
        at.append(file)
        for _ in range(skip):
            file.readline()
        reader = csv.reader(file, delimiter=delimiter)
        while True:
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                yield BadLine(f"line {skip + reader.line_num} cannot be read: {error}")
                continue
            if cells and ((cells[0] and not cells[0].isspace()) or "".join(cells).strip()):
                yield cells


def _open_report(path: Path, wanted: Wanted, encoding: str | None) -> Source:
    """An EUROMAP 63 report; its last line may be half written."""
    codec = encoding or codec_of(path)
    at: list[io.TextIOWrapper] = []
    rows = _report_rows(path, codec, at)
    first = next(rows, None)
    names = () if first is None else tuple(first)
    if not any(map(wanted, names)):
        rows.close()
        raise _no_header(path)
    _check_width(path, names)
    return Source(names=names, rows=rows, delimiter=",", kind="report", encoding=codec,
                  progress=share_read(at, path))  # fmt: skip


def _report_rows(path: Path, codec: str, at: list[io.TextIOWrapper]) -> Any:
    """The names, then each record; one under another header only where the names are the same."""
    with opened(path, codec) as file:
        at.append(file)
        lines = ReportLines()
        names: tuple[str, ...] = ()
        for line in file:
            record = lines.take(line)
            if record is None:
                continue
            if not names:
                names = record.names
                yield list(names)
            if record.names != names:
                yield BadLine(f"line {record.line} stands under another header than the first", record.raw)
            elif len(record.cells) != len(names):
                half = "" if line.endswith("\n") else "; the last line is only half written"
                count = f"{len(record.cells)} cells under {len(names)} names"
                yield BadLine(f"line {record.line} has {count}{half}", record.raw)
            else:
                yield [cell.strip('"') for cell in record.cells]


# --- workbooks -----------------------------------------------------------------------------


def _check_unpacked(path: Path) -> None:
    """Refuses a workbook that would unpack to more than a log does."""
    with zipfile.ZipFile(path) as packed:
        parts = packed.infolist()
    if sum(part.file_size for part in parts) > UNPACKED_MAX:
        raise TooLargeError(
            N_(
                "{name} unpacks to more than {unpacked_max} GB; split it",
                name=path.name,
                unpacked_max=UNPACKED_MAX >> 30,
            )
        )
    for part in parts:
        if "sharedStrings" in part.filename and part.file_size > TEXTS_MAX:
            raise TooLargeError(
                N_(
                    "{name} holds more than {texts_max} MB of text; save it as CSV instead",
                    name=path.name,
                    texts_max=TEXTS_MAX >> 20,
                )
            )
        if part.file_size > 50 << 20 and part.file_size > PACKED_MAX * max(1, part.compress_size):
            raise TooLargeError(
                N_(
                    "{name}: {filename} is packed too closely to be a log",
                    name=path.name,
                    filename=shown(part.filename),
                )
            )


def _open_workbook(path: Path, wanted: Wanted, sheet: str | None) -> Source:
    try:
        _check_unpacked(path)
        book = Workbook(path)
    except TooLargeError:
        raise
    except Exception as error:  # a damaged workbook meets any exception of zip, XML and reader
        raise InvalidError(
            N_("{name} is no XLSX workbook: {error}", name=path.name, error=error), field="file"
        ) from error
    sheets = tuple(book.sheets)
    if not sheets or (sheet is not None and sheet not in sheets):
        book.close()
        if not sheets:
            raise _no_header(path)
        raise InvalidError(
            N_(
                "{name} has no sheet {sheet}; it has {join}",
                name=path.name,
                sheet=shown(sheet),
                join=", ".join(sheets),
            ),
            field="sheet",
        )
    rows = _workbook_rows(path, book, sheet or sheets[0])
    for cells in itertools.islice(rows, HEADER_WITHIN):
        names = clean(cells)
        if any(map(wanted, names)):
            return Source(
                names=names, rows=rows, kind="xlsx", sheets=sheets, progress=lambda: book.share,
                total=book.rows_said,
            )  # fmt: skip
    rows.close()
    raise _no_header(path)


def _workbook_rows(path: Path, book: Workbook, sheet: str) -> Generator[Cells, None, None]:
    try:
        for cells in book.rows(sheet, most=COLUMNS_MAX):
            if any(cell is not None and cell != "" for cell in cells):
                yield cells
    except TooLargeError as error:
        raise TooLargeError(f"{path.name}: {error}") from error
    except Exception as error:  # as above
        raise InvalidError(
            N_("{name} cannot be read to its end: {error}", name=path.name, error=error), field="file"
        ) from error
    finally:
        book.close()


# --- Parquet -------------------------------------------------------------------------------


def _open_parquet(path: Path, wanted: Wanted, batch_rows: int) -> Source:
    try:
        # Texts stay in their dictionaries until it is known how much they unpack to.
        texts = [field.name for field in pq.read_schema(path) if _is_text(field.type)]
        file = pq.ParquetFile(path, read_dictionary=texts)
        names = tuple(file.schema_arrow.names)
        meta = file.metadata
        # By the footer, and by the pages themselves: a footer may say anything.
        told = max((meta.row_group(i).total_byte_size for i in range(meta.num_row_groups)), default=0)
        largest = told if told > ROW_GROUP_MAX else max(told, largest_group(path))
    except (pa.ArrowException, OSError, ValueError, BrokenPageError) as error:
        raise InvalidError(
            N_("{name} is no Parquet file: {error}", name=path.name, error=error), field="file"
        ) from None
    _check_width(path, names)
    if largest > ROW_GROUP_MAX:
        file.close()
        raise TooLargeError(
            N_(
                "{name} has a row group of {largest} MB; write it with smaller ones (100,000 rows)",
                name=path.name,
                largest=largest >> 20,
            )
        )
    if too_many_rows(path, meta.num_rows):
        file.close()
        raise TooLargeError(
            N_(
                "{name} says it holds {num_rows:,} rows in {st_size:,} bytes; no log does",
                name=path.name,
                num_rows=meta.num_rows,
                st_size=path.stat().st_size,
            )
        )
    count = [0, max(1, meta.num_rows)]
    # Columns nobody asks for are not unpacked; where none is known all of them are looked at.
    read = [name for name in names if wanted(name)] or list(names)
    return Source(
        names=tuple(read),
        rows=_parquet_rows(path, file, read, batch_rows, count),
        kind="parquet",
        progress=lambda: min(1.0, count[0] / count[1]),
        total=meta.num_rows,
    )


def _parquet_rows(
    path: Path, file: Any, names: list[str], batch_rows: int, count: list[int]
) -> Iterator[Cells]:
    try:
        with file:
            for batch in file.iter_batches(batch_size=batch_rows, columns=names):
                _check_texts(path, batch)
                places = [batch.schema.get_field_index(name) for name in names]
                found = [_plain(batch.column(place)).to_pylist() for place in places]
                count[0] += batch.num_rows
                yield from zip(*found, strict=True)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise InvalidError(
            N_("{name} cannot be read to its end: {error}", name=path.name, error=error), field="file"
        ) from error


def _is_text(kind: Any) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_binary(kind) or pa.types.is_large_string(kind))


def _check_texts(path: Path, batch: Any) -> None:
    """Before a text is written out as often as it is said: how much would that be?"""
    size = 0
    for column in batch.columns:
        if pa.types.is_dictionary(column.type) and _is_text(column.type.value_type):
            lengths = pc.binary_length(column.dictionary)
            size += pc.sum(lengths.take(column.indices)).as_py() or 0
    if size > BATCH_TEXT_MAX:
        raise TooLargeError(
            N_(
                "{name} unpacks to {size} MB of text in {num_rows} rows; at most {batch_text_max} MB"
                " are read at once",
                name=path.name,
                size=size >> 20,
                num_rows=batch.num_rows,
                batch_text_max=BATCH_TEXT_MAX >> 20,
            )
        )


def _plain(column: Any) -> Any:
    """Times to the microsecond, rounded down, so that they become plain datetimes."""
    kind = column.type
    if pa.types.is_timestamp(kind) and kind.unit == "ns":
        return column.cast(pa.timestamp("us", tz=kind.tz), safe=False)
    if pa.types.is_dictionary(kind):
        return column.cast(kind.value_type)
    return column
