"""What each number of a shot may be, and the units it may come in.

The bounds are those of physics and of the largest presses built, not those of a good process: they
catch a wrong unit, a swapped column or a broken sensor, and nothing else. Values: common practice,
no source.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from server.contract import QUANTITY, SHOT_NUMBERS, UNITS
from server.errors import BadBodyError
from server.ingest.faults import RowFault, shown
from server.language import N_


class Range(NamedTuple):
    """Lowest and highest value taken, in the stored unit."""

    low: float
    high: float
    unit: str


# Positions read slightly below zero where the screw bottoms ahead of the display's zero.
_POSITION: Final = Range(-20.0, 5000.0, "mm")
_PRESSURE: Final = Range(-50.0, 6000.0, "bar")
_TIME: Final = Range(0.0, 86_400.0, "s")

RANGES: Final[dict[str, Range]] = {
    "shot_size_mm": Range(0.0, 5000.0, "mm"),
    "shot_size_cm3": Range(0.0, 200_000.0, "cm³"),
    "cushion_mm": _POSITION,
    "cushion_cm3": Range(-1000.0, 200_000.0, "cm³"),
    "decompression_mm": Range(-20.0, 1000.0, "mm"),
    "start_position_mm": _POSITION,
    "transfer_position_mm": _POSITION,
    "minimum_position_mm": _POSITION,
    "drift_mm": Range(-500.0, 500.0, "mm"),
    "transfer_pressure_bar": _PRESSURE,
    "peak_pressure_bar": _PRESSURE,
    "hold_pressure_bar": _PRESSURE,
    "back_pressure_bar": _PRESSURE,
    "fill_time_s": _TIME,
    "hold_time_s": _TIME,
    "recovery_time_s": _TIME,
    "cycle_time_s": _TIME,
    "screw_speed_rpm": Range(-1000.0, 10_000.0, "rpm"),
    "injection_speed_mm_s": Range(-1000.0, 10_000.0, "mm/s"),
    "screw_torque_pct": Range(-1000.0, 1000.0, "%"),
    "melt_temp_c": Range(-273.15, 1000.0, "°C"),
    "oil_temp_c": Range(-273.15, 1000.0, "°C"),
    "part_weight_g": Range(0.0, 500_000.0, "g"),
}
#: A dead sensor on one zone must not cost the shot: thermocouple amplifiers rail far above any melt.
ZONE_RANGE: Final = Range(-273.15, 4000.0, "°C")

#: Fields where a small negative kept as unsigned 16-bit hundredths reads near 655.
WRAPPING: Final[frozenset[str]] = frozenset(
    {"cushion_mm", "minimum_position_mm", "drift_mm", "decompression_mm", "cushion_cm3"}
)
WRAPPED_LOW: Final = 650.0
WRAPPED_HIGH: Final = 655.355
_WRAP: Final = 655.36

_SAME: Final = (1.0, 0.0)
#: A speed changes with the unit of length: inches a second where lengths are inches.
_FOLLOWS: Final[dict[str, str]] = {"speed": "length"}

Conversion = tuple[float, float]


class Units(NamedTuple):
    """The units of a batch, resolved to one conversion a field; fields as stored are left out."""

    names: tuple[tuple[str, str], ...]
    conversions: Mapping[str, Conversion]

    def of(self, field: str) -> Conversion:
        return self.conversions.get(field, _SAME)


def read_units(named: Mapping[str, str]) -> Units:
    """Conversions for `{"length": "in", …}`; an unknown quantity or unit is a fault of the whole body."""
    chosen: dict[str, Conversion] = {}
    for quantity, unit in sorted(named.items()):
        if quantity not in UNITS:
            raise BadBodyError(
                N_(
                    "units name the quantity {quantity}; known are {join}",
                    quantity=shown(quantity),
                    join=", ".join(UNITS),
                ),
                field="units",
            )
        if unit not in UNITS[quantity]:
            raise BadBodyError(
                N_(
                    "{quantity} has no unit {unit}; known are {join}",
                    quantity=quantity,
                    unit=shown(unit),
                    join=", ".join(UNITS[quantity]),
                ),
                field="units",
            )
        chosen[quantity] = UNITS[quantity][unit]
    conversions = {}
    for field, quantity in QUANTITY.items():
        conversion = chosen.get(_FOLLOWS.get(quantity, quantity), _SAME)
        if conversion != _SAME:
            conversions[field] = conversion
    return Units(names=tuple(sorted(named.items())), conversions=conversions)


STORED_UNITS: Final = read_units({})


def convert(value: float, conversion: Conversion) -> float:
    """To the stored unit; a negative zero becomes zero, so that equal values have equal bits."""
    factor, offset = conversion
    return factor * value + offset + 0.0


def check_range(field: str, value: float, sent: float, shot_size: float | None = None) -> None:
    """Raise a `RowFault` where `value` (stored unit; `sent` as it came) cannot be."""
    if field in WRAPPING and WRAPPED_LOW <= sent <= WRAPPED_HIGH and _wrapped(field, sent, shot_size):
        raise RowFault(
            field,
            "wrapped_negative",
            N_(
                "{field} is {sent:g}, which looks like {sent_2:.2f} kept as an unsigned number of"
                " hundredths; read the press's value as signed",
                field=field,
                sent=sent,
                sent_2=sent - _WRAP,
            ),
        )
    low, high, unit = RANGES[field]
    if not low <= value <= high:
        came = f" (sent as {sent:g})" if sent != value else ""
        raise RowFault(
            field,
            "out_of_range",
            N_(
                "{field} is {value:g} {unit}{came}; it must lie from {low:g} to {high:g} {unit}."
                " Check the unit and the column, or leave the field out where the press does not"
                " measure it",
                field=field,
                value=value,
                unit=unit,
                came=came,
                low=low,
                high=high,
            ),
        )


def _wrapped(field: str, sent: float, shot_size: float | None) -> bool:
    # A large press can hold 655 cm³ in its cushion, but never more than it metered.
    return field != "cushion_cm3" or shot_size is None or sent > shot_size


assert set(RANGES) == set(SHOT_NUMBERS)
