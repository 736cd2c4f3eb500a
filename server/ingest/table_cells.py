"""Cells of a table as the values of a shot: typed cells, decimal commas, times without an offset."""

import dataclasses
import datetime as dt
import decimal
import json
import re
from collections.abc import Iterable, Sequence
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from server.errors import InvalidError
from server.ingest.cells import NUMBER_FIELDS, TEXT_FIELDS, value_of
from server.ingest.faults import RowFault, shown

_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+(?:[eE][+-]?[0-9]+)?\s*").fullmatch
_POINT = re.compile(r"\s*[+-]?[0-9]+\.[0-9]+(?:[eE][+-]?[0-9]+)?\s*").fullmatch
_PLAIN_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?"
).fullmatch


@dataclasses.dataclass(frozen=True)
class Reading:
    """How the cells of one file are read."""

    #: Where times have no offset of their own.
    zone: ZoneInfo | None = None
    #: As in `strptime`, for times that are not written year first.
    time_format: str | None = None
    decimal_comma: bool = False


def zone_of(name: str | None) -> ZoneInfo | None:
    if name is None:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidError(
            f"there is no time zone {shown(name)}; names look like Europe/Berlin or UTC", field="time_zone"
        ) from None


def has_decimal_comma(rows: Iterable[Sequence[Any]]) -> bool:
    """True where number cells carry a comma and none a point.

    >>> has_decimal_comma([["6,02", "80"], ["6,1", "80"]]), has_decimal_comma([["6,02", "8.5"]])
    (True, False)
    """
    comma = False
    for row in rows:
        for cell in row:
            if isinstance(cell, str):
                if _POINT(cell):
                    return False
                comma = comma or bool(_COMMA(cell))
    return comma


def point_of(cell: str) -> str:
    """The cell with its decimal comma as a point, where it is a number with one."""
    return cell.replace(",", ".") if _COMMA(cell) else cell


def cell_value(field: str, cell: Any, reading: Reading) -> Any:
    """What a cell of `field` means; None is missing. Raises `RowFault`."""
    if cell is None or cell != cell:  # NaN is how tables write a missing number
        return None
    if field == "at":
        return time_text(cell, reading)
    if isinstance(cell, str):
        if reading.decimal_comma and field not in TEXT_FIELDS:
            cell = point_of(cell)
        return value_of(field, cell)
    if isinstance(cell, decimal.Decimal):
        return float(cell)
    if field in TEXT_FIELDS and isinstance(cell, float) and cell.is_integer():
        return int(cell)  # spreadsheets keep a lot number as a float
    if isinstance(cell, dt.timedelta) and field in NUMBER_FIELDS:
        return cell.total_seconds()
    if isinstance(cell, dt.date | dt.time | bytes | bytearray):
        raise RowFault(field, "not_a_number", f"{field} is {shown(cell)}; check the column and its format")
    return cell


def time_text(cell: Any, reading: Reading) -> Any:
    """A time as RFC 3339 text where it can be one; what cannot is left for `read_time` to refuse."""
    if isinstance(cell, str):
        cell = cell.strip()
        if reading.time_format is not None:
            try:
                cell = dt.datetime.strptime(cell, reading.time_format)  # noqa: DTZ007 - the zone follows
            except ValueError:
                raise RowFault(
                    "at", "bad_time", f"at is {shown(cell)}, not as {shown(reading.time_format)} says"
                ) from None
        elif _PLAIN_TIME(cell):
            try:
                cell = dt.datetime.fromisoformat(cell)
            except ValueError:
                return cell
        elif cell and not cell[:4].isdigit():
            raise RowFault(
                "at",
                "bad_time",
                f"at is {shown(cell)}; say how times are written, like --time-format '%d.%m.%Y %H:%M:%S'",
            )
    if isinstance(cell, dt.datetime):
        return _with_offset(cell, reading.zone)
    return cell


def _with_offset(at: dt.datetime, zone: ZoneInfo | None) -> str:
    if at.tzinfo is not None:
        return at.astimezone(dt.UTC).isoformat()
    if zone is None:
        raise RowFault(
            "at",
            "no_offset",
            f"at is {at.isoformat(sep=' ')} without an offset; say whose time it is, "
            "like --time-zone Europe/Berlin",
        )
    known = at.replace(tzinfo=zone)
    # The hour skipped in spring: going to UTC and back shows another wall time.
    if known.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) != at:
        raise RowFault(
            "at",
            "no_such_time",
            f"at is {at.isoformat(sep=' ')}, an hour that {zone.key} skipped; check the clock",
        )
    return known.astimezone(dt.UTC).isoformat()


def as_json(names: Sequence[str], cells: Sequence[Any]) -> str:
    """A row of typed cells as text, for keeping apart."""
    return json.dumps(dict(zip(names, cells, strict=False)), default=str, ensure_ascii=True)
