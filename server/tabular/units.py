"""Units as logs write them, and what a number in one of them is in the stored unit."""

import re
import unicodedata
from typing import Final, NamedTuple

from server.contract import QUANTITY, SHOT_NUMBERS, UNITS

#: The unit a field is stored in follows from the end of its name.
TIMES: Final[dict[str, tuple[float, float]]] = {"s": (1.0, 0.0), "ms": (0.001, 0.0), "min": (60.0, 0.0)}
SPEEDS: Final[dict[str, tuple[float, float]]] = {
    "mm/s": (1.0, 0.0), "in/s": (25.4, 0.0), "m/min": (1000.0 / 60.0, 0.0), "cm/s": (10.0, 0.0)
}  # fmt: skip
TURNS: Final[dict[str, tuple[float, float]]] = {"rpm": (1.0, 0.0)}
SHARES: Final[dict[str, tuple[float, float]]] = {"%": (1.0, 0.0)}
ALL: Final[dict[str, dict[str, tuple[float, float]]]] = {
    **UNITS, "time": TIMES, "speed": SPEEDS, "turns": TURNS, "share": SHARES
}  # fmt: skip

#: Spellings seen in headers and in GETID files, in small letters without spaces.
_SPELLINGS: Final[dict[str, tuple[str, ...]]] = {
    "mm": ("mm", "millimeter", "millimetre"),
    "cm": ("cm",),
    "in": ("in", "inch", "inches", '"', "zoll"),
    "um": ("um", "µm", "μm"),
    "cm3": ("cm3", "cm^3", "cm³", "ccm", "cc", "cu.cm", "cubiccm", "cm**3"),
    "mm3": ("mm3", "mm^3", "mm³"),
    "in3": ("in3", "in^3", "in³", "cu.in", "cuin", "cubicinch"),
    "l": ("l", "liter", "litre", "dm3", "dm³"),
    "bar": ("bar", "barg"),
    "MPa": ("mpa",),
    "kPa": ("kpa",),
    "psi": ("psi", "lbf/in²", "lbf/in2", "psig"),
    "degC": ("degc", "°c", "c", "ºc", "celsius", "grdc", "gradc", "deg.c"),
    "degF": ("degf", "°f", "f", "ºf", "fahrenheit", "deg.f"),
    "K": ("k", "kelvin"),
    "g": ("g", "gram", "gramm", "gr"),
    "kg": ("kg",),
    "oz": ("oz", "ounce"),
    "lb": ("lb", "lbs"),
    "s": ("s", "sec", "sek", "second", "seconds", "secs"),
    "ms": ("ms", "msec"),
    "min": ("min", "minute", "minutes"),
    "mm/s": ("mm/s", "mm/sec", "mms"),
    "in/s": ("in/s", "in/sec", "ips", '"/s'),
    "cm/s": ("cm/s",),
    "m/min": ("m/min",),
    "rpm": ("rpm", "1/min", "u/min", "r/min", "min-1", "min^-1", "min⁻¹"),
    "%": ("%", "pct", "percent"),
}
_KNOWN: Final = {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings}
_QUANTITY_OF: Final = {unit: quantity for quantity, units in ALL.items() for unit in units}
_SUFFIX: Final = (
    ("_mm_s", "speed"), ("_mm", "length"), ("_cm3", "volume"), ("_bar", "pressure"), ("_s", "time"),
    ("_rpm", "turns"), ("_pct", "share"), ("_temp_c", "temperature"), ("_temps_c", "temperature"),
    ("_g", "mass"),
)  # fmt: skip


class Unit(NamedTuple):
    """A unit by the contract's name, and what it measures."""

    name: str
    quantity: str


def unit_named(text: str) -> Unit | None:
    """The unit a text stands for; None where it is none that is known.

    >>> unit_named("cm³"), unit_named(" SEC "), unit_named("parsec")
    (Unit(name='cm3', quantity='volume'), Unit(name='s', quantity='time'), None)
    """
    folded = unicodedata.normalize("NFC", text).strip().lower().replace(" ", "")
    name = _KNOWN.get(folded)
    return None if name is None else Unit(name, _QUANTITY_OF[name])


def quantity_of(field: str) -> str:
    """What a field measures; empty for texts, counters and times of day.

    >>> quantity_of("fill_time_s"), quantity_of("cushion_cm3"), quantity_of("lot")
    ('time', 'volume', '')
    """
    if field in QUANTITY:
        return QUANTITY[field]
    if field not in SHOT_NUMBERS:
        return ""
    return next((quantity for suffix, quantity in _SUFFIX if field.endswith(suffix)), "")


def conversion(field: str, unit: str) -> tuple[float, float] | None:
    """(factor, offset) from a unit to the one a field is stored in; None where the unit measures
    something else.

    >>> conversion("cushion_mm", "in"), conversion("cushion_mm", "bar")
    ((25.4, 0.0), None)
    """
    return ALL.get(quantity_of(field), {}).get(unit)


_HINT = re.compile(r"[\[(<{]\s*([^\[\](){}<>]{1,12}?)\s*[\])>}]")
_LAST = re.compile(r"[\s_/,;:]+([^\s_/,;:]+(?:/(?:s|sec|min))?)\s*$")


def hinted(name: str) -> tuple[str, Unit | None]:
    """A column name without its hint of a unit, and that unit.

    >>> hinted("Cushion [mm]"), hinted("fill time s")[1], hinted("Zone")
    (('Cushion', Unit(name='mm', quantity='length')), Unit(name='s', quantity='time'), ('Zone', None))
    """
    for match in _HINT.finditer(name):
        unit = unit_named(match[1])
        if unit is not None:
            return (name[: match.start()] + " " + name[match.end() :]).strip(), unit
    last = _LAST.search(name)
    if last is not None:
        unit = unit_named(last[1])
        # A lone capital letter is more often part of a name than a temperature.
        if unit is not None and not (len(last[1]) == 1 and last[1] in "CFKLG"):
            return name[: last.start()].strip(), unit
    return name.strip(), None
