"""Lines of the files in a watched folder as shots: EUROMAP 63 reports, and tables as CSV or TSV.

A reader is made from the beginning of a file, up to and with its first record. What is not clear
then (no counter, no time zone, day or month first) is a `FileTroubleError`: the file waits, nothing of it is
lost. A single line that cannot be read is a `LineFaultError` and kept apart with the reason.
"""

import csv
import dataclasses
import itertools
from collections.abc import Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from server.clock import as_text
from server.contract import SHOT_NUMBERS
from server.tabular import headers, numbers, report_files
from server.tabular.local_time import LocalClock, Order, TimeTroubleError, find_order
from server.tabular.report_files import ReportLines, Token
from server.tabular.units import conversion, quantity_of

_DELIMITERS: Final = (";", "\t", ",", "|")
#: A name that fits this well is taken without anybody confirming it.
SURE_ENOUGH: Final = 0.85
_HEADER_WITHIN: Final = 30


class FileTroubleError(Exception):
    """Why a file cannot be read yet; it waits."""


class LineFaultError(Exception):
    """Why a line is kept apart."""

    def __init__(self, code: str, reason: str) -> None:
        super().__init__(reason)
        self.code = code
        self.reason = reason


@dataclasses.dataclass(frozen=True)
class FolderOptions:
    """What the files do not say themselves. `units` by quantity where neither header nor GETID names
    one; `mapping` from a table's columns to fields goes before what their names suggest."""

    press: str
    mold: str = ""
    material: str = ""
    time_zone: str | None = None
    date_order: Order | None = None
    units: Mapping[str, str] = dataclasses.field(default_factory=dict)
    mapping: Mapping[str, str] = dataclasses.field(default_factory=dict)
    injection_unit: int = 1

    def zone(self) -> ZoneInfo | None:
        return None if self.time_zone is None else ZoneInfo(self.time_zone)

    def head(self) -> dict[str, Any]:
        """What stands in every shot."""
        named = {"press": self.press, "mold": self.mold, "material": self.material}
        return {name: value for name, value in named.items() if value}


@dataclasses.dataclass
class Memory:
    """What a reader has to know to go on in the middle of a file."""

    line: int = 0
    last_ms: int | None = None
    header_lines: list[str] = dataclasses.field(default_factory=list)


class ReportReader:
    """Records of an EUROMAP 63 report."""

    def __init__(self, options: FolderOptions, tokens: Mapping[str, Token], memory: Memory) -> None:
        self._options = options
        self._tokens = tokens
        self._lines = ReportLines(memory.header_lines, line=memory.line)
        self._clock = LocalClock(zone=options.zone(), order="year_first", last_ms=memory.last_ms)
        self._names: tuple[str, ...] = ()
        self._columns: list[report_files.Column] = []

    def memory(self) -> Memory:
        return Memory(self._lines.line, self._clock.last_ms, self._lines.header_lines)

    def shot(self, line: str) -> dict[str, Any] | None:
        """The shot of a line; None for a line of the header. Raises `LineFaultError`, `FileTroubleError`."""
        record = self._lines.take(line)
        if record is None:
            return None
        if record.names != self._names:
            self._read_header(record.names)
        if len(record.cells) != len(record.names):
            raise LineFaultError(
                "bad_line",
                f"line {record.line} has {len(record.cells)} cells under {len(record.names)} names",
            )
        fields = report_files.values_of(record, self._columns)
        return {**self._options.head(), **fields, "at": _moment(self._clock, report_files.time_of(record))}

    def _read_header(self, names: tuple[str, ...]) -> None:
        columns = report_files.read_columns(names, self._tokens, injection_unit=self._options.injection_unit)
        known = {column.field for column in columns}
        _check_known(known | ({"at"} if {"DATE", "TIME"} <= set(names) else set()), names)
        if self._options.time_zone is None:
            raise FileTroubleError("a report's times have no offset; say whose time it is with --time-zone")
        self._names = names
        self._columns = [self._with_unit(column) for column in columns]

    def _with_unit(self, column: report_files.Column) -> report_files.Column:
        unit = "" if column.unit else self._options.units.get(quantity_of(column.field), "")
        change = conversion(column.field, unit) if unit else None
        if change is None:
            return column
        return dataclasses.replace(column, factor=change[0], offset=change[1], unit=unit)


class TableReader:
    """Rows of a delimited table whose columns are mapped, or named plainly enough."""

    def __init__(self, options: FolderOptions, head: Sequence[str], memory: Memory) -> None:
        self._options = options
        self.header_at, self._delimiter, self.names = _find_header(head, options.mapping)
        self._fields = _fields_of(self.names, options)
        _check_known({field for field, _, _ in self._fields.values()}, self.names)
        sample = [self._cells(line) for line in head[self.header_at + 1 :]]
        self._comma = self._delimiter != "," and numbers.has_decimal_comma(
            [row[i] for i, (field, _, _) in self._fields.items() if field in SHOT_NUMBERS and i < len(row)]
            for row in sample
        )
        self._clock = LocalClock(zone=options.zone(), order=self._order(sample), last_ms=memory.last_ms)
        self._line = memory.line

    def memory(self) -> Memory:
        return Memory(self._line, self._clock.last_ms)

    def shot(self, line: str) -> dict[str, Any] | None:
        """The shot of a line; None for the header, what stands above it, and empty lines."""
        self._line += 1
        if self._line <= self.header_at + 1 or not line.strip(" \t\r\n,;|\x1a\x00"):
            return None
        cells = self._cells(line)
        if len(cells) > len(self.names) and any(cell.strip() for cell in cells[len(self.names) :]):
            raise LineFaultError(
                "bad_line", f"line {self._line} has {len(cells)} cells under {len(self.names)} names"
            )
        fields: dict[str, Any] = self._options.head()
        times: list[str] = []
        zones: dict[int, Any] = {}
        for index, (field, factor, offset) in self._fields.items():
            cell = cells[index].strip() if index < len(cells) else ""
            if field == "at":
                times.append(cell)
            elif not numbers.is_missing(cell):
                value = self._value(field, cell, factor, offset)
                if field.startswith("zone_temps_c."):
                    zones[int(field.partition(".")[2])] = value
                else:
                    fields[field] = value
        if zones:
            fields["zone_temps_c"] = [zones.get(i) for i in range(1, max(zones) + 1)]
        return {**fields, "at": _moment(self._clock, " ".join(times))}

    def _value(self, field: str, cell: str, factor: float, offset: float) -> Any:
        if field in ("lot", "box", "serial", "mold", "material", "setup", "press", "quality"):
            return cell
        number = numbers.number_in(cell, decimal_comma=self._comma)
        if number is None:
            return cell  # the server says what is wrong with it, and keeps it
        if field == "counter":
            return int(number) if number.is_integer() else cell
        return factor * number + offset + 0.0

    def _cells(self, line: str) -> list[str]:
        try:
            return next(csv.reader([line.strip("\r\n")], delimiter=self._delimiter), [])
        except csv.Error as error:
            raise LineFaultError("bad_line", f"line {self._line}: {error}") from None

    def _order(self, sample: Sequence[Sequence[str]]) -> Order | None:
        places = [i for i, (field, _, _) in self._fields.items() if field == "at"]
        cells = [" ".join(row[i] for i in places if i < len(row)) for row in sample]
        found = find_order(cell for cell in cells if cell.strip())
        if not found.has_offset and self._options.time_zone is None:
            raise FileTroubleError("its times have no offset; say whose time it is with --time-zone")
        order = self._options.date_order or found.order
        if order is None and found.ambiguous:
            raise FileTroubleError("its dates read day first or month first alike; say with --date-order")
        return order


def _moment(clock: LocalClock, text: str) -> str:
    try:
        return as_text(clock.at_ms(text))
    except TimeTroubleError as trouble:
        raise LineFaultError(trouble.code, trouble.message) from None


def _check_known(known: set[str], names: Sequence[str]) -> None:
    for what, fields in (
        ("the cycle counter", {"counter"}),
        ("the time", {"at"}),
        ("the shot size", {"shot_size_mm", "shot_size_cm3"}),
        ("the cushion", {"cushion_mm", "cushion_cm3"}),
    ):
        if not fields & known:
            columns = ", ".join(names)[:200]
            raise FileTroubleError(f"no column is plainly {what}; map one of: {columns}")


def _find_header(head: Sequence[str], mapping: Mapping[str, str]) -> tuple[int, str, tuple[str, ...]]:
    best: tuple[int, int, str, tuple[str, ...]] = (0, 0, "", ())
    for number, line in enumerate(itertools.islice(head, _HEADER_WITHIN)):
        for delimiter in _DELIMITERS:
            names = _names_of(line, delimiter)
            hits = sum(name in mapping or bool(headers.guess_column(name).field) for name in names if name)
            if hits > best[0]:
                best = (hits, number, delimiter, names)
    if best[0] < 2:
        raise FileTroubleError("none of its first lines is a header of columns that are known or mapped")
    return best[1], best[2], best[3]


def _names_of(line: str, delimiter: str) -> tuple[str, ...]:
    """The cells of a possible header; a name that runs over lines is one."""
    try:
        cells = next(csv.reader([line.strip("\r\n\ufeff")], delimiter=delimiter), [])
    except csv.Error:
        cells = line.split(delimiter)
    return tuple(" ".join(cell.split()) for cell in cells)


def _fields_of(names: Sequence[str], options: FolderOptions) -> dict[int, tuple[str, float, float]]:
    guesses = headers.guess_columns(names)
    mapped = {options.mapping[name] for name in names if name in options.mapping}
    fields: dict[int, tuple[str, float, float]] = {}
    for index, (name, guess) in enumerate(zip(names, guesses, strict=True)):
        field = options.mapping.get(name, "")
        if not field and guess.sure >= SURE_ENOUGH and not guess.injected and guess.field not in mapped:
            field = guess.field
        if not field or field == "press":
            continue
        base = field.partition(".")[0]
        unit = guess.unit or options.units.get(quantity_of(base), "")
        fields[index] = (field, *((conversion(base, unit) if unit else None) or (1.0, 0.0)))
    return fields
