"""Units as OPC UA names them: UNECE common codes in EngineeringUnits, metric and US, to stored units.

OPC 40083 leaves the unit to the press, so it is read with every value and never assumed. Factors of
length, volume, pressure and temperature are those of `contract.UNITS`; codes: UNECE Rec. 20 as the
OPC Foundation's table lists them. Where a press gives no code (-1), its display name is looked at.
"""

import unicodedata
from typing import Any, Final, NamedTuple

from server.contract import UNITS


class Unit(NamedTuple):
    """stored = factor * x + offset; `quantity` says which stored unit that is."""

    quantity: str
    factor: float
    offset: float
    name: str


def _of(quantity: str, unit: str, name: str) -> Unit:
    return Unit(quantity, *UNITS[quantity][unit], name)


#: Stored units beside those of the contract: s, mm/s, cm³/s, r/min, %.
_CODES: Final[dict[str, Unit]] = {
    "MMT": _of("length", "mm", "mm"),
    "CMT": _of("length", "cm", "cm"),
    "MTR": Unit("length", 1000.0, 0.0, "m"),
    "4H": _of("length", "um", "µm"),
    "INH": _of("length", "in", "in"),
    "CMQ": _of("volume", "cm3", "cm³"),
    "MLT": _of("volume", "cm3", "ml"),
    "MMQ": _of("volume", "mm3", "mm³"),
    "LTR": _of("volume", "l", "l"),
    "INQ": _of("volume", "in3", "in³"),
    "BAR": _of("pressure", "bar", "bar"),
    "MPA": _of("pressure", "MPa", "MPa"),
    "KPA": _of("pressure", "kPa", "kPa"),
    "PAL": Unit("pressure", 1e-5, 0.0, "Pa"),
    "MBR": Unit("pressure", 1e-3, 0.0, "mbar"),
    "PS": _of("pressure", "psi", "psi"),
    "84": Unit("pressure", 1000.0 * UNITS["pressure"]["psi"][0], 0.0, "klbf/in²"),
    "CEL": _of("temperature", "degC", "°C"),
    "FAH": _of("temperature", "degF", "°F"),
    "KEL": _of("temperature", "K", "K"),
    "SEC": Unit("time", 1.0, 0.0, "s"),
    "C26": Unit("time", 1e-3, 0.0, "ms"),
    "MIN": Unit("time", 60.0, 0.0, "min"),
    "C16": Unit("speed", 1.0, 0.0, "mm/s"),
    "2M": Unit("speed", 10.0, 0.0, "cm/s"),
    "MTS": Unit("speed", 1000.0, 0.0, "m/s"),
    "IU": Unit("speed", 25.4, 0.0, "in/s"),
    "2J": Unit("flow", 1.0, 0.0, "cm³/s"),
    "G58": Unit("flow", UNITS["volume"]["in3"][0], 0.0, "in³/s"),
    "RPM": Unit("turns", 1.0, 0.0, "r/min"),
    "RPS": Unit("turns", 60.0, 0.0, "r/s"),
    "P1": Unit("share", 1.0, 0.0, "%"),
}

#: Display names a press may give instead of a code, after `_plain`.
_NAMES: Final[dict[str, str]] = {
    **{unit.name.replace("³", "3").replace("²", "2").lower(): code for code, unit in _CODES.items()},
    "lbf/in2": "PS", "inch": "INH", "in.": "INH", "c": "CEL", "degc": "CEL", "f": "FAH", "degf": "FAH",
    "ccm": "CMQ", "cc": "CMQ", "1/min": "RPM", "rpm": "RPM", "u/min": "RPM", "min-1": "RPM", "sec": "SEC",
    "ccm/s": "2J", "um": "4H", "n/mm2": "MPA",
}  # fmt: skip

MILLISECONDS: Final = _CODES["C26"]
#: The usual units, for a press whose operator vouches for them where it names none.
ASSUMED: Final[dict[str, dict[str, Unit]]] = {
    "metric": {
        "length": _CODES["MMT"], "volume": _CODES["CMQ"], "pressure": _CODES["BAR"],
        "temperature": _CODES["CEL"], "speed": _CODES["C16"], "turns": _CODES["RPM"],
    },
    "us": {
        "length": _CODES["INH"], "volume": _CODES["INQ"], "pressure": _CODES["PS"],
        "temperature": _CODES["FAH"], "speed": _CODES["IU"], "turns": _CODES["RPM"],
    },
}  # fmt: skip


def unit_id(code: str) -> int:
    """The UnitId of a common code.

    >>> unit_id("MMT"), unit_id("PS")
    (5066068, 20563)
    """
    return int.from_bytes(code.encode("ascii"), "big")


_IDS: Final[dict[int, Unit]] = {unit_id(code): unit for code, unit in _CODES.items()}


def unit_of(identifier: Any, display_name: str | None) -> Unit | None:
    """The unit of an EngineeringUnits value; None where neither code nor name is known.

    >>> unit_of(4804177, None).name, unit_of(-1, "lbf/in²").name, unit_of(-1, "parsec")
    ('in³', 'psi', None)
    """
    if isinstance(identifier, int) and identifier in _IDS:
        return _IDS[identifier]
    code = _NAMES.get(_plain(display_name or ""))
    return _CODES[code] if code else None


def _plain(name: str) -> str:
    # NFKC turns ³ into 3 and ℃ into °C.
    text = unicodedata.normalize("NFKC", name).replace("μ", "u").replace("°", "").replace(" ", "").lower()
    return text.replace("^", "")
