"""Cells of a table as the values of a shot: typed cells, decimal commas, times without an offset."""

import dataclasses
import datetime as dt
import decimal
import json
from collections.abc import Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from server.clock import as_text
from server.errors import InvalidError
from server.ingest.bounds import WRAPPING
from server.ingest.cells import NUMBER_FIELDS, TEXT_FIELDS, value_of
from server.ingest.faults import RowFault, shown
from server.language import N_
from server.tabular.local_time import LocalClock, TimeTroubleError
from server.tabular.numbers import is_missing, point_of

#: What to do about each trouble of a time.
_WAYS_OUT: Final = {
    "no_offset": "say whose time it is, like --time-zone Europe/Berlin",
    "date_order": "say which, like --date-order day_first",
    "no_such_time": "check the press's clock",
    "bad_time": "send it like 2026-04-01T06:00:00.000+02:00, or say how times are written, like "
    "--time-format '%d.%m.%Y %H:%M:%S'",
}
ZONE: Final = "zone_temps_c."
EXTRA: Final = "extra."


@dataclasses.dataclass(frozen=True)
class Reading:
    """How the cells of one file are read. `clock` goes through them in order."""

    clock: LocalClock
    #: As in `strptime`, for times nobody else writes so.
    time_format: str | None = None
    decimal_comma: bool = False
    #: Take small negatives kept as unsigned 16-bit numbers for what they are.
    unwrap: bool = False


def zone_of(name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidError(
            N_("there is no time zone {name}; names look like Europe/Berlin or UTC", name=shown(name)),
            field="time_zone",
        ) from None


def is_number(field: str) -> bool:
    """Whether a column read as `field` holds numbers: fields, zones and extra ones."""
    return field in NUMBER_FIELDS or field.startswith((ZONE, EXTRA))


def cell_value(field: str, cell: Any, reading: Reading) -> Any:
    """What a cell of `field` means; None is missing. Raises `RowFault`."""
    if cell is None or cell != cell:  # NaN is how tables write a missing number
        return None
    if field == "at":
        return time_text(cell, reading)
    if isinstance(cell, str):
        return _of_text(field, cell, reading)
    if isinstance(cell, decimal.Decimal):
        cell = float(cell)
    if field in TEXT_FIELDS and isinstance(cell, float) and cell.is_integer():
        return int(cell)  # spreadsheets keep a lot number as a float
    if isinstance(cell, dt.timedelta) and field in NUMBER_FIELDS:
        return cell.total_seconds()
    if isinstance(cell, dt.date | dt.time | bytes | bytearray):
        raise RowFault(
            field,
            "not_a_number",
            N_("{field} is {cell}; check the column and its format", field=field, cell=shown(cell)),
        )
    return signed(field, cell) if reading.unwrap else cell


def _of_text(field: str, cell: str, reading: Reading) -> Any:
    if field not in TEXT_FIELDS:
        if is_missing(cell):
            return None
        if reading.decimal_comma:
            cell = point_of(cell)
    value = value_of(field, cell)
    if isinstance(value, str) and field.startswith(ZONE):
        raise RowFault(
            "zone_temps_c",
            "not_a_number",
            N_("{field} is {value}; send a number", field=field, value=shown(value)),
        )
    return signed(field, value) if reading.unwrap else value


def signed(field: str, value: Any) -> Any:
    """A small negative that was kept as an unsigned 16-bit number, as what it is.

    >>> signed("cushion_mm", 655.31) < 0.0, signed("cushion_mm", 6.02), signed("shot_size_mm", 655.31)
    (True, 6.02, 655.31)
    """
    if field in WRAPPING and isinstance(value, int | float):
        for full, reach in ((655.36, 6.0), (6553.6, 60.0), (65536.0, 600.0)):
            if full - reach <= value < full:
                return round(value - full, 6)
    return value


def time_text(cell: Any, reading: Reading) -> Any:
    """A time as RFC 3339 text; what is no time at all is left for `read_time` to refuse."""
    at_ms = time_ms(cell, reading)
    return as_text(at_ms) if isinstance(at_ms, int) else at_ms


def time_ms(cell: Any, reading: Reading) -> Any:
    """A time in milliseconds; None where it is missing, the cell itself where it is no time."""
    try:
        if isinstance(cell, str):
            return _of_time_text(cell.strip(), reading)
        if isinstance(cell, dt.datetime):
            if cell.tzinfo is not None:
                return reading.clock.at_ms(cell.isoformat(sep=" "))
            return reading.clock.of(cell)
    except TimeTroubleError as trouble:
        raise RowFault(
            "at",
            trouble.code,
            N_("at is {message}; {ways_out}", message=trouble.message, ways_out=_WAYS_OUT[trouble.code]),
        ) from None
    return cell


def _of_time_text(text: str, reading: Reading) -> int | None:
    if not text:
        return None
    if reading.time_format is None:
        return reading.clock.at_ms(text)
    try:
        at = dt.datetime.strptime(text, reading.time_format)  # noqa: DTZ007 - the zone follows
    except ValueError:
        raise RowFault(
            "at",
            "bad_time",
            N_(
                "at is {value}, not as {time_format} says",
                value=shown(text),
                time_format=shown(reading.time_format),
            ),
        ) from None
    return reading.clock.at_ms(at.isoformat(sep=" ")) if at.tzinfo is not None else reading.clock.of(at)


def as_json(names: Sequence[str], cells: Sequence[Any]) -> str:
    """A row of typed cells as text, for keeping apart."""
    return json.dumps(dict(zip(names, cells, strict=False)), default=str, ensure_ascii=True)
