"""Workbooks, and rows of a sheet as its XML unpacks: one row is held at a time, however long the sheet.

openpyxl reads the workbook (which sheets, shared texts, which styles are dates) and turns numbers into
times. Its own rows hold the same values and take several times as long, since a tree of every row is
built first; it goes through a whole sheet to find its size where none is said; and its rows end where
the sheet says it ends, which some programs write wrong.
"""

from collections.abc import Container, Iterator, Sequence
from pathlib import Path
from typing import IO, Any, Final
from xml.parsers import expat

from server.errors import TooLargeError
from server.language import N_
from server.lazily import Lazily

_excel, _styles = Lazily("openpyxl.reader.excel"), Lazily("openpyxl.styles.stylesheet")
_places, _times = Lazily("openpyxl.utils.cell"), Lazily("openpyxl.utils.datetime")
#: Of ECMA-376, part 1: the elements of a sheet.
SHEET_MAIN_NS: Final = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"

_PIECE: Final = 1 << 16
#: Spreadsheets keep 32,767 characters in a cell; what is far longer is no cell of a log.
CELL_TEXT_MAX: Final = 1 << 20
_ROW, _CELL, _VALUE, _INLINE, _TEXT, _PHONETIC, _SIZE = (
    f"{SHEET_MAIN_NS} {name}" for name in ("row", "c", "v", "is", "t", "rPh", "dimension")
)


class SheetReader:
    """Takes the XML of one sheet piece by piece; the rows finished by it come out."""

    def __init__(
        self,
        *,
        most: int,
        texts: Sequence[str],
        epoch: Any,
        dates: Container[int],
        durations: Container[int],
    ) -> None:
        """most: cells of a row that are read. Every row has at least as many cells as the longest before."""
        self._width, self._most = 0, most
        #: Rows the sheet says it has; None where it says nothing, or one, as some do of any sheet.
        self.rows_said: int | None = None
        self._texts, self._epoch = texts, epoch
        self._dates, self._durations = dates, durations
        #: Letters of a column → its number, from 1.
        self._columns: dict[str, int] = {}
        self._rows: list[list[Any]] = []
        self._row_no = self._column = 0
        self._row: list[Any] = []
        self._kind, self._style = "n", "0"
        self._text, self._taken = "", 0
        self._takes = False
        self._value: str | None = None
        self._inline: str | None = None
        self._phonetic = False
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartElementHandler = self._begin
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._take
        self._parser.StartDoctypeDeclHandler = _refuse

    def feed(self, piece: bytes) -> list[list[Any]]:
        """The cells of each row that ends in this piece; nothing at all ends the sheet."""
        self._parser.Parse(piece, not piece)
        rows, self._rows = self._rows, []
        return rows

    # --- what the parser meets ----------------------------------------------------------------

    def _begin(self, name: str, given: dict[str, str]) -> None:
        if name == _VALUE:
            self._text, self._takes = "", True
        elif name == _CELL:
            self._begin_cell(given)
        elif name == _ROW:
            number = given.get("r")
            self._row_no = self._row_no + 1 if number is None else int(float(number))
            self._column, self._row = 0, [None] * self._width
        elif name == _TEXT:
            self._text, self._takes = "", not self._phonetic and self._inline is not None
        elif name == _INLINE:
            self._inline = ""
        elif name == _PHONETIC:
            self._phonetic = True
        elif name == _SIZE:
            self.rows_said = _last_row(given.get("ref", ""))

    def _begin_cell(self, given: dict[str, str]) -> None:
        place = given.get("r")
        if place:
            letters = place.rstrip("0123456789")
            column = self._columns.get(letters)
            if column is None:
                column = self._columns[letters] = _places.column_index_from_string(letters)
            self._column = column
        else:
            self._column += 1
        self._kind = given.get("t", "n")
        self._style = given.get("s", "0")
        self._value = self._inline = None
        self._taken = 0

    def _take(self, text: str) -> None:
        if not self._takes:
            return
        self._taken += len(text)
        if self._taken > CELL_TEXT_MAX:
            raise TooLargeError(
                N_(
                    "a cell of row {row_no} holds more than {cell_text_max:,} characters",
                    row_no=self._row_no,
                    cell_text_max=CELL_TEXT_MAX,
                )
            )
        self._text += text

    def _end(self, name: str) -> None:
        if name == _VALUE:
            if self._value is None:
                self._value = self._text
            self._takes = False
        elif name == _CELL:
            if self._column <= self._most:
                self._keep(self._read())
        elif name == _ROW:
            self._rows.append(self._row)
            self._width, self._row = len(self._row), []
        elif name == _TEXT:
            if self._takes and self._inline is not None:
                self._inline += self._text
            self._takes = False
        elif name == _PHONETIC:
            self._phonetic = False

    def _keep(self, value: Any) -> None:
        row, place = self._row, self._column - 1
        if place >= len(row):
            if value is None:
                return
            row.extend([None] * (place + 1 - len(row)))
        row[place] = value

    # --- what a cell holds --------------------------------------------------------------------

    def _read(self) -> Any:
        kind, text = self._kind, self._value
        if kind == "inlineStr":
            return self._inline
        if not text:
            return None
        if kind == "n":
            number = float(text) if "." in text or "E" in text or "e" in text else int(text)
            style = int(self._style) if self._style != "0" else 0
            return self._time(number, style) if style in self._dates else number
        if kind == "s":
            return self._texts[int(text)]
        if kind == "b":
            return bool(int(text))
        return _times.from_ISO8601(text) if kind == "d" else text

    def _time(self, number: float, style: int) -> Any:
        try:
            return _times.from_excel(number, self._epoch, timedelta=style in self._durations)
        except (OverflowError, ValueError):
            # No date at all: the cell is what a spreadsheet shows in its place, and its row is refused.
            return "#VALUE!"


def _last_row(reference: str) -> int | None:
    """
    >>> _last_row("A1:L50001"), _last_row("A1"), _last_row("all of it")
    (50001, None, None)
    """
    try:
        last = _places.range_boundaries(reference)[3]
    except ValueError:
        return None
    return last if last and last > 1 else None


def _refuse(*_: Any) -> None:
    """Sheets declare no document types; whoever does wants to make texts out of nothing."""
    raise ValueError("the sheet declares a document type")


class Workbook:
    """A workbook opened: the paths of its sheets by their names, in their order."""

    def __init__(self, path: Path | IO[bytes]) -> None:
        """Raises anything zip, XML and reader may for a damaged one."""
        self._reader = _excel.ExcelReader(path, read_only=True, data_only=True)
        try:
            self._reader.read_manifest()
            self._reader.read_strings()
            self._reader.read_workbook()
            _styles.apply_stylesheet(self._reader.archive, self._reader.wb)
            self.sheets: dict[str, str] = {
                sheet.name: relation.target
                for sheet, relation in self._reader.parser.find_sheets()
                if relation.target in self._reader.valid_files and "chartsheet" not in relation.Type
            }
        except BaseException:
            self.close()
            raise
        #: Share of the sheet gone through, 0 to 1.
        self.share = 0.0
        self.rows_said: int | None = None

    def rows(self, sheet: str, *, most: int) -> Iterator[list[Any]]:
        """Cells of each row, at most so many of one."""
        book = self._reader.wb
        reader = SheetReader(
            most=most, texts=self._reader.shared_strings, epoch=book.epoch,
            dates=book._date_formats, durations=book._timedelta_formats,
        )  # fmt: skip
        part = self._reader.archive.getinfo(self.sheets[sheet])
        size, read = max(1, part.file_size), 0
        with self._reader.archive.open(part) as file:
            while piece := file.read(_PIECE):
                read += len(piece)
                self.share = min(1.0, read / size)
                rows = reader.feed(piece)
                self.rows_said = reader.rows_said
                yield from rows
            yield from reader.feed(b"")

    def close(self) -> None:
        self._reader.archive.close()
