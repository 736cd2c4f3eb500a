"""EUROMAP 63 report files as text: units from the GETID file, the header, one record a shot.

A report begins with the names of its tokens, separated by commas, often wrapped over several lines;
then comes one record a line. Commas within brackets separate nothing (`ActTmpBrlZn[1,3]`), texts
stand in double quotes, and the last line may be half written. Units stand in the GETID file alone.
Token names as far as public texts give them (see DEVELOPERS.md); tokens nobody knows are passed over.
"""

import dataclasses
import itertools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from server.tabular.units import Unit, conversion, unit_named

#: What each token holds; its unit where the GETID file does not say.
FIELDS: Final[dict[str, str]] = {
    "ActCntCyc": "counter",
    "ActTimCyc": "cycle_time_s",
    "ActTimFill": "fill_time_s",
    "ActTimPlst": "recovery_time_s",
    "ActStrCsh": "cushion_mm",
    "ActVolCsh": "cushion_cm3",
    "ActStrPlst": "shot_size_mm",
    "ActVolPlst": "shot_size_cm3",
    "ActStrXfr": "transfer_position_mm",
    "ActPrsMachSpecMax": "peak_pressure_bar",
    "ActPrsXfrSpec": "transfer_pressure_bar",
    "ActPrsHldSpecMax": "hold_pressure_bar",
    "ActPrsPlstSpecMax": "back_pressure_bar",
    "ActTmpOil": "oil_temp_c",
    "SetDescMld": "mold",
    "SetDescMat": "material",
}
#: Tokens that stand in where the first choice is not in the report. Hydraulic and specific pressure
#: are never mixed: a report with any specific pressure is read as specific.
_STAND_INS: Final[dict[str, str]] = {
    "COUNT": "counter",
    "ActPrsMachHydMax": "peak_pressure_bar",
    "ActPrsXfrHyd": "transfer_pressure_bar",
    "ActPrsHldHydMax": "hold_pressure_bar",
    "ActPrsPlstHydMax": "back_pressure_bar",
    "@SetDescMat": "material",
}
ZONE: Final = "ActTmpBrlZn"
_TOKEN = re.compile(r"(@?[A-Za-z][A-Za-z0-9_]*)(?:\[\s*(\d+)\s*(?:,\s*(\d+)\s*)?\])?").fullmatch
_CELL = re.compile(r'"[^"]*"|\[[^\]]*\]|[^,"\[]+|["\[]')
_HEADER_MAX: Final = 65_536
_TEXTS: Final = frozenset({"mold", "material"})


@dataclasses.dataclass(frozen=True)
class Token:
    """A line of a GETID file."""

    name: str
    unit_text: str
    unit: Unit | None
    text: str


@dataclasses.dataclass(frozen=True)
class Column:
    """A column of a report that is read: the field, which zone of it, and the conversion."""

    index: int
    token: str
    field: str
    zone: int = 0
    factor: float = 1.0
    offset: float = 0.0
    #: The unit the GETID file names; empty where it names none and the usual one is taken.
    unit: str = ""


def split_record(line: str) -> list[str]:
    """The cells of a line; commas within brackets and quotes separate nothing.

    >>> split_record('DATE,ActTmpBrlZn[1,3],"a,b"')
    ['DATE', 'ActTmpBrlZn[1,3]', '"a,b"']
    """
    if "[" not in line and '"' not in line:
        return [cell.strip() for cell in line.split(",")]
    cells, current, place = [], "", 0
    while place < len(line):
        if line[place] == ",":
            cells.append(current.strip())
            current = ""
            place += 1
            continue
        match = _CELL.match(line, place)
        assert match is not None
        current += match[0]
        place = match.end()
    return [*cells, current.strip()]


def read_getid(text: str) -> dict[str, Token]:
    """Tokens of a GETID file by name; lines that are none are passed over.

    >>> read_getid('ActStrCsh[1],N,8,2,0,"mm","cushion stroke";')["ActStrCsh"].unit.name
    'mm'
    """
    found: dict[str, Token] = {}
    for line in text.splitlines():
        cells = split_record(line.strip().removesuffix(";"))
        name = _TOKEN(cells[0])
        if name is None or len(cells) < 6 or cells[1] not in ("N", "A"):
            continue
        unit_text = cells[5].strip('"').strip()
        token = Token(cells[0], unit_text, unit_named(unit_text), ",".join(cells[6:]).strip('"'))
        found.setdefault(name[1], token)
        found[cells[0].replace(" ", "")] = token
    return found


def is_getid(text: str) -> bool:
    """Whether a text begins like a GETID file."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return bool(read_getid(first))


def is_header_line(line: str) -> bool:
    """Names begin with a letter or `@`; a record has a cell that begins with a digit, a sign or a quote.

    >>> is_header_line("ActTmpBrlZn[1,3],ActStrCsh"), is_header_line("off,off,12,6.1")
    (True, False)
    """
    # Where a bracket is open the line is broken within a name, and what stands behind a comma is no cell.
    whole = line.count("[") == line.count("]")
    cells = [cell for cell in split_record(line.rstrip("\r\n").rstrip(";")) if cell] if whole else []
    return all(cell[0] == "@" or cell[0].isalpha() for cell in cells or [line.lstrip()[:1] or " "])


def header_tokens(lines: Sequence[str], width: int) -> list[str]:
    """The names of a header wrapped over `lines`, read so that a record of `width` cells fits.

    A line may break behind a comma, between two names or within one; the number of cells of the
    first record settles which.
    """
    parts = [line.strip() for line in lines]
    seams = [i for i in range(1, len(parts)) if not parts[i - 1].endswith(",") and parts[i][:1] != ","]
    best: list[str] = []
    for joins in itertools.islice(itertools.product((",", ""), repeat=len(seams)), 256):
        glue = dict(zip(seams, joins, strict=True))
        text = "".join(glue.get(i, "") + part for i, part in enumerate(parts)) if parts else ""
        names = [name.replace(" ", "") for name in split_record(text.rstrip(","))]
        if not best or len(names) == width:
            best = names
        if len(names) == width and all(_TOKEN(name) for name in names):
            return names
    return best


def read_columns(
    names: Sequence[str], tokens: Mapping[str, Token], *, injection_unit: int = 1
) -> list[Column]:
    """Which columns of a report are read as what. Without a unit in the GETID file the usual one is taken."""
    heads = [_TOKEN(name) for name in names]
    base = [head[1] if head is not None else "" for head in heads]
    specific = any(name.startswith("ActPrs") and "Spec" in name for name in base)
    chosen: dict[tuple[str, int], Column] = {}
    for stand_in, fields in ((False, FIELDS), (True, _STAND_INS)):
        for index, head in enumerate(heads):
            if head is None or int(head[2] or injection_unit) != injection_unit:
                continue
            field, zone = _meaning(head, fields, tokens, stand_in=stand_in)
            if not field or (stand_in and specific and "Hyd" in head[1]):
                continue
            column = _column(index, names[index], head[1], field, zone, tokens)
            chosen.setdefault((field, zone), column)
    return sorted(chosen.values(), key=lambda one: one.index)


def _meaning(
    head: re.Match[str], fields: Mapping[str, str], tokens: Mapping[str, Token], *, stand_in: bool
) -> tuple[str, int]:
    name = head[1]
    if name == ZONE and not stand_in:
        return "zone_temps_c", int(head[3] or 1)
    if "Dcmp" in name and name.startswith("Act") and not stand_in:
        known = tokens.get(name)
        # How the decompression token is spelt is not public: the GETID file has to say it is a length.
        if known is not None and known.unit is not None and known.unit.quantity == "length":
            return "decompression_mm", 0
    return fields.get(name, ""), 0


def _column(index: int, name: str, base: str, field: str, zone: int, tokens: Mapping[str, Token]) -> Column:
    token = tokens.get(name) or tokens.get(base)
    if token is None or token.unit is None:
        return Column(index, name, field, zone)
    change = conversion(field, token.unit.name)
    if change is None:
        return Column(index, name, field, zone)
    return Column(index, name, field, zone, *change, unit=token.unit.name)


@dataclasses.dataclass(frozen=True)
class Record:
    """A line of a report: its cells under the names of the header it stands under."""

    line: int
    raw: str
    cells: tuple[str, ...]
    names: tuple[str, ...]


class ReportLines:
    """Goes over whole lines and gives records. `header_lines` is all that has to be kept to go on later."""

    def __init__(self, header_lines: Sequence[str] = (), *, line: int = 0) -> None:
        self.header_lines = list(header_lines)
        self.line = line
        self._names: tuple[str, ...] = ()
        self._within_header = False

    @property
    def names(self) -> tuple[str, ...]:
        return self._names

    def take(self, text: str) -> Record | None:
        """The record of a line; None for a line of the header or an empty one."""
        self.line += 1
        text = text.rstrip("\r\n").lstrip("\ufeff")
        if not text.strip("\x1a\x00 \t"):
            return None
        if is_header_line(text):
            if not self._within_header:
                self.header_lines = []
                self._names = ()
            self._within_header = True
            if sum(map(len, self.header_lines)) < _HEADER_MAX:
                self.header_lines.append(text)
            return None
        self._within_header = False
        cells = split_record(text.rstrip(";"))
        if not self._names:
            self._names = tuple(header_tokens(self.header_lines, len(cells)))
            self.header_lines = [",".join(self._names)]
        return Record(self.line, text, tuple(cells), self._names)


def records_of(lines: Iterable[str]) -> Iterator[Record]:
    """The records of a whole report."""
    reader = ReportLines()
    for line in lines:
        record = reader.take(line)
        if record is not None:
            yield record


def time_of(record: Record) -> str:
    """Date and time of a record as text; empty where it has none."""
    places = {name: i for i, name in enumerate(record.names)}
    if "DATE" not in places or "TIME" not in places:
        return ""
    wanted = [places[name] for name in ("DATE", "TIME") if places[name] < len(record.cells)]
    return " ".join(record.cells[place].strip('"') for place in wanted)


def values_of(record: Record, columns: Sequence[Column]) -> dict[str, Any]:
    """Fields of a shot in stored units; a cell that is no number stays text for the check behind."""
    fields: dict[str, Any] = {}
    zones: dict[int, Any] = {}
    for column in columns:
        if column.index >= len(record.cells):
            continue
        cell = record.cells[column.index].strip('"').strip()
        if not cell:
            continue
        value = cell if column.field in _TEXTS else _number(cell, column)
        if column.field == "zone_temps_c":
            zones[column.zone] = value
        else:
            fields[column.field] = value
    if zones:
        fields["zone_temps_c"] = [zones.get(i) for i in range(1, max(zones) + 1)]
    return fields


def _number(cell: str, column: Column) -> Any:
    try:
        number = float(cell)
    except ValueError:
        return cell
    if column.field == "counter":
        return int(number) if number.is_integer() else cell
    return column.factor * number + column.offset + 0.0
