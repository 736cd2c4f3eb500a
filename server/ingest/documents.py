"""The structured fields of a shot: zone temperatures, the curve, extra numbers; all as canonical JSON."""

import itertools
import math
import unicodedata
from collections.abc import Mapping
from typing import Any, Final

import msgspec

from server.contract import CURVE_POINTS_MAX
from server.ingest.bounds import ZONE_RANGE, Conversion, Units, convert
from server.ingest.faults import RowFault, shown
from server.language import N_

ZONES_MAX: Final = 64
EXTRA_MAX: Final = 64
EXTRA_NAME_MAX: Final = 60
CURVE_FIELDS: Final = ("t_s", "position_mm", "pressure_bar")
_CURVE_UNITS: Final = {"position_mm": "cushion_mm", "pressure_bar": "peak_pressure_bar"}
_ANY_FINITE: Final = 1e15


def read_number(field: str, value: Any) -> float:
    """A finite number that is a number already; text and booleans are refused."""
    if type(value) is not float and type(value) is not int:
        raise RowFault(
            field,
            "not_a_number",
            N_("{field} is {value}; send a number, or leave it out", field=field, value=shown(value)),
        )
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise RowFault(
            field,
            "not_finite",
            N_("{field} is {value}; send a finite number, or leave it out", field=field, value=shown(value)),
        )
    return number


def canonical(document: Any) -> str:
    """JSON without spaces, keys sorted: equal documents are equal text."""
    return msgspec.json.encode(document, order="sorted").decode()


def read_zones(value: Any, conversion: Conversion) -> str | None:
    """A list of temperatures, one a zone; a null stands for a zone without a reading."""
    field = "zone_temps_c"
    if value is None:
        return None
    if not isinstance(value, list):
        raise RowFault(
            field,
            "not_a_list",
            N_("{field} is {value}; send a list of numbers", field=field, value=shown(value)),
        )
    if len(value) > ZONES_MAX:
        raise RowFault(
            field,
            "too_many",
            N_(
                "{field} has {value} entries; at most {zones_max} are kept",
                field=field,
                value=len(value),
                zones_max=ZONES_MAX,
            ),
        )
    zones: list[float | None] = []
    low, high, unit = ZONE_RANGE
    for sent in value:
        if sent is None:
            zones.append(None)
            continue
        zone = convert(read_number(field, sent), conversion)
        if not low <= zone <= high:
            raise RowFault(
                field,
                "out_of_range",
                N_(
                    "{field} holds {zone:g} {unit}; it must lie from {low:g} to {high:g} {unit}",
                    field=field,
                    zone=zone,
                    unit=unit,
                    low=low,
                    high=high,
                ),
            )
        zones.append(zone)
    return canonical(zones) if zones else None


def read_curve(value: Any, units: Units) -> str | None:
    """`{"t_s", "position_mm", "pressure_bar"}`: lists of one length with rising times."""
    if value is None:
        return None
    if not isinstance(value, Mapping):
        raise RowFault(
            "curve",
            "bad_curve",
            N_(
                "curve is {value}; send an object with {curve_names}",
                value=shown(value),
                curve_names=_curve_names(),
            ),
        )
    unknown = sorted(str(name) for name in value if name not in CURVE_FIELDS)
    if unknown:
        raise RowFault(
            "curve",
            "bad_curve",
            N_(
                "curve has {unknown}; known are {curve_names}",
                unknown=shown(unknown[0]),
                curve_names=_curve_names(),
            ),
        )
    columns: dict[str, list[float]] = {}
    for name in CURVE_FIELDS:
        if value.get(name) is not None:
            columns[name] = _curve_column(name, value[name], units)
    if not columns:
        return None
    _check_curve(columns)
    return canonical(columns) if columns["t_s"] else None


def _curve_names() -> str:
    return ", ".join(CURVE_FIELDS)


def _curve_column(name: str, values: Any, units: Units) -> list[float]:
    if not isinstance(values, list):
        raise RowFault(
            "curve",
            "bad_curve",
            N_("curve's {name} is {values}; send a list of numbers", name=name, values=shown(values)),
        )
    if len(values) > CURVE_POINTS_MAX:
        raise RowFault(
            "curve",
            "bad_curve",
            N_(
                "curve's {name} has {values} points; at most {curve_points_max} are kept, so thin it out",
                name=name,
                values=len(values),
                curve_points_max=CURVE_POINTS_MAX,
            ),
        )
    conversion = units.of(_CURVE_UNITS[name]) if name in _CURVE_UNITS else (1.0, 0.0)
    column = [convert(read_number("curve", v), conversion) for v in values]
    if any(abs(v) > _ANY_FINITE for v in column):
        raise RowFault(
            "curve", "bad_curve", N_("curve's {name} holds what no sensor gives; check the column", name=name)
        )
    return column


def _check_curve(columns: Mapping[str, list[float]]) -> None:
    if "t_s" not in columns:
        raise RowFault("curve", "bad_curve", N_("curve has no t_s; send the seconds of its points"))
    lengths = {name: len(column) for name, column in columns.items()}
    if len(set(lengths.values())) > 1:
        counts = ", ".join(f"{name} {n}" for name, n in lengths.items())
        raise RowFault("curve", "bad_curve", N_("curve's lists differ in length: {counts}", counts=counts))
    times = columns["t_s"]
    for before, after in itertools.pairwise(times):
        if not after > before:
            raise RowFault(
                "curve",
                "bad_curve",
                N_("curve's t_s goes from {before:g} to {after:g}; it must rise", before=before, after=after),
            )


def read_extra(value: Any, more: Mapping[str, Any]) -> str | None:
    """The object `extra` of numbers, together with the numbers under names of the sender's own."""
    if value is not None and not isinstance(value, Mapping):
        raise RowFault(
            "extra", "not_an_object", N_("extra is {value}; send an object of numbers", value=shown(value))
        )
    kept: dict[str, float] = {}
    for name, sent in [*more.items(), *(value or {}).items()]:
        if sent is None:
            continue
        text = _extra_name(name)
        kept[text] = read_number(f"extra.{text}", sent) + 0.0
    if len(kept) > EXTRA_MAX:
        raise RowFault(
            "extra",
            "too_many",
            N_(
                "the shot has {kept} extra numbers; at most {extra_max} are kept",
                kept=len(kept),
                extra_max=EXTRA_MAX,
            ),
        )
    return canonical(kept) if kept else None


def _extra_name(name: str) -> str:
    text = unicodedata.normalize("NFC", name)
    printable = text.isprintable() or not any(unicodedata.category(c) in ("Cc", "Cs") for c in text)
    if not printable or not 1 <= len(text) <= EXTRA_NAME_MAX:
        raise RowFault(
            "extra",
            "bad_name",
            N_(
                "the extra name {name} cannot be kept: 1 to {extra_name_max} characters, no control ones",
                name=shown(name),
                extra_name_max=EXTRA_NAME_MAX,
            ),
        )
    return text
