"""Units as the plant likes them: stored values are mm, bar, °C, cm³, g, s; shown ones are the plant's."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final, Self

from server.contract import UNITS
from server.language import N_
from server.words.numbers import NOTHING, fixed

#: How a unit is written on a page.
WRITTEN: Final[dict[str, str]] = {
    "mm": "mm", "in": "in", "bar": "bar", "MPa": "MPa", "psi": "psi", "degC": "°C", "degF": "°F",
    "cm3": "cm³", "in3": "in³", "g": "g", "s": "s",
}  # fmt: skip

#: What a quantity is called inside a sentence.
QUANTITY: Final[dict[str, str]] = {
    "length": N_("length"), "pressure": N_("pressure"), "temperature": N_("temperature"),
    "volume": N_("volume"),
}  # fmt: skip

#: What a plant may choose for each quantity.
CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "length": ("mm", "in"),
    "pressure": ("bar", "MPa", "psi"),
    "temperature": ("degC", "degF"),
    "volume": ("cm3", "in3"),
}

#: Quantity of a charted signal, with the decimals that make sense in the stored unit.
_SIGNAL: Final[dict[str, tuple[str, int]]] = {
    "swept_mm": ("length", 2),
    "cushion_mm": ("length", 2),
    "shot_size_mm": ("length", 2),
    "drift_mm": ("length", 2),
    "peak_pressure_bar": ("pressure", 0),
    "transfer_pressure_bar": ("pressure", 0),
    "hold_pressure_bar": ("pressure", 0),
    "fill_time_s": ("time", 3),
    "cycle_time_s": ("time", 1),
    "recovery_s_per_mm": ("pace", 1),
    "part_weight_g": ("mass", 2),
    "melt_temp_c": ("temperature", 1),
}

#: Quantities by the unit they are kept in, as labels write it.
_OF_STORED: Final = {"mm": "length", "bar": "pressure", "°C": "temperature", "cm³": "volume"}

_PER_SECOND: Final = {"speed": "length", "flow": "volume"}
_MORE_DIGITS: Final[dict[str, int]] = {"in": 2, "in3": 1, "MPa": 1, "psi": 0, "degF": 0}


@dataclasses.dataclass(frozen=True)
class Units:
    """The plant's choice. Fields hold the wire's unit ids."""

    length: str = "mm"
    pressure: str = "bar"
    temperature: str = "degC"
    volume: str = "cm3"

    @classmethod
    def chosen(cls, wanted: Mapping[str, Any] | None) -> Self:
        """From the plant's settings; what is not known stays as it is stored."""
        given = wanted or {}
        kept = {name: str(given[name]) for name, fits in CHOICES.items() if given.get(name) in fits}
        return cls(**kept)

    def unit(self, quantity: str) -> str:
        """The unit id of a quantity."""
        fixed_units = {"mass": "g", "time": "s", "pace": "ms/mm" if self.length == "mm" else "ms/in"}
        return fixed_units.get(quantity) or str(getattr(self, quantity))

    def written(self, quantity: str) -> str:
        unit = self.unit(quantity)
        return WRITTEN.get(unit, unit)

    def shown(self, quantity: str, value: float) -> float:
        """A stored value in the plant's unit.

        >>> round(Units(length="in").shown("length", 25.4), 6), Units(pressure="MPa").shown("pressure", 500.0)
        (1.0, 50.0)
        """
        if quantity == "pace":
            return value * 1000.0 * (1.0 if self.length == "mm" else 25.4)
        factor, offset = UNITS.get(quantity, {}).get(self.unit(quantity), (1.0, 0.0))
        return (value - offset) / factor

    @property
    def are_stored(self) -> bool:
        """Whether pages show what is kept, unit for unit."""
        return self == STORED

    def factor(self, quantity: str) -> float:
        """Stored units in one shown unit."""
        return UNITS[quantity][self.unit(quantity)][0]

    def offset(self, quantity: str) -> float:
        """The stored value of a shown 0."""
        return UNITS[quantity][self.unit(quantity)][1]

    def entered(self, quantity: str, value: float | str | None) -> str:
        """A stored value as a field for numbers takes it: six significant digits, nothing for none.

        >>> inches, stored = Units(length="in"), Units()
        >>> inches.entered("length", 50.0), stored.entered("length", "50.0"), stored.entered("length", "")
        ('1.9685', '50', '')
        """
        return "" if value in (None, "") else f"{self.shown(quantity, float(value)):.6g}"

    def label(self, text: str) -> tuple[str, str]:
        """A label that ends with its stored unit in the shown one, and its quantity ('' where none changes).

        >>> inches = Units(length="in")
        >>> inches.label("gauge, mm"), inches.label("speed, mm/s"), inches.label("weight, g")
        (('gauge, in', 'length'), ('speed, in/s', 'length'), ('weight, g', ''))
        """
        name, comma, unit = text.rpartition(", ")
        stored, slash, per = unit.partition("/")
        quantity = _OF_STORED.get(stored, "") if comma else ""
        return (f"{name}, {self.written(quantity)}{slash}{per}", quantity) if quantity else (text, "")

    def shown_difference(self, quantity: str, value: float) -> float:
        """A stored difference in the plant's unit: the zero of the scale does not count."""
        return self.shown(quantity, value) - self.shown(quantity, 0.0)

    def text(self, quantity: str, value: float | None, places: int) -> str:
        """A stored value with the plant's unit behind it.

        >>> Units(length="in").text("length", 5.994, 2), Units().text("pressure", 1116.4, 0)
        ('0.2360 in', '1,116 bar')
        """
        if value is None:
            return NOTHING
        if quantity in _PER_SECOND:
            return f"{self.text(_PER_SECOND[quantity], value, places)}/s"
        more = _MORE_DIGITS.get(self.unit(quantity), 0)
        return f"{fixed(self.shown(quantity, value), places + more)} {self.written(quantity)}"


STORED: Final = Units()


def signal_quantity(signal: str) -> str:
    return _SIGNAL.get(signal, ("", 2))[0]


def signal_places(signal: str, units: Units) -> int:
    """Decimals a charted signal is shown with in the plant's unit."""
    quantity, places = _SIGNAL.get(signal, ("", 2))
    return places + (_MORE_DIGITS.get(units.unit(quantity), 0) if quantity else 0)


def signal_text(signal: str, value: float | None, units: Units) -> str:
    """
    >>> signal_text("cushion_mm", 6.114, Units())
    '6.11 mm'
    """
    quantity, places = _SIGNAL.get(signal, ("", 2))
    return units.text(quantity, value, places) if quantity else fixed(value, places)
