"""From the values of one cycle event to a shot as the wire takes it. Pure: no network, no clock.

Null and 0 are different: Null is missing. A 0 where a finished cycle cannot read 0 is missing too,
and says so. A value without a usable unit becomes no field of a shot; its number stays in `extra`.
"""

import dataclasses
import datetime as dt
import math
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Any, Final, Literal, NamedTuple

from server.clock import UTC, as_text, from_datetime
from server.collect import opcua_names as names
from server.collect.opcua_names import Target
from server.collect.opcua_units import ASSUMED, MILLISECONDS, Unit
from server.contract import CODE_LENGTH_MAX

_COUNTER_MAX: Final = 1 << 62
#: Enumeration CycleQuality of OPC 40083; a test sample says nothing of the part.
_QUALITIES: Final[dict[int, str]] = {0: "good", 1: "other", 3: "other"}
_LONGEST: Final[dict[str, int]] = {"lot": 80, "box": 80, "serial": 200, "material": 80, "setup": 80}


class Key(NamedTuple):
    """Where in the event a value stands. Zones and units are numbered as their browse names are."""

    group: Literal["cycle", "unit", "barrel", "mould"]
    unit: int
    zone: int
    name: str


class Reading(NamedTuple):
    """A value as it came. `unit` None: none given, or one nobody knows; `unit_name` says which."""

    value: Any
    unit: Unit | None = None
    unit_name: str = ""


class UnreadableCycleError(Exception):
    """The event cannot be a shot. `code` as the spool keeps it."""

    def __init__(self, code: str, reason: str) -> None:
        super().__init__(reason)
        self.code = code
        self.reason = reason


@dataclasses.dataclass(frozen=True)
class CycleOptions:
    """What the operator says of a press. `assume`: 'metric' or 'us' where it names no unit."""

    pressure_basis: Literal["specific", "hydraulic"] = "specific"
    assume: str = ""
    unit: int | None = None
    screw_diameter_mm: float | None = None


@dataclasses.dataclass(frozen=True)
class ReadCycle:
    """A shot in stored units, and per field why it is missing. `counted_by`: which counter it carries."""

    shot: dict[str, Any]
    counter: int
    counted_by: str
    at_ms: int
    missing: dict[str, str]


def read_cycle(
    readings: Mapping[Key, Reading], *, press: str, labels: Mapping[str, str], options: CycleOptions
) -> ReadCycle:
    """The shot of an event. Raises `UnreadableCycleError` where counter or time cannot be read."""
    counted_by, counter = _counter(readings)
    at_ms = _time(readings)
    missing: dict[str, str] = {}
    shot: dict[str, Any] = {"press": press, "counter": counter, "at": as_text(at_ms)}
    shot |= {name: text for name, text in labels.items() if text}
    extra: dict[str, float] = {}
    main = _main_unit(readings, options)
    _cycle_fields(readings, shot, missing)
    for unit, key, reading in _of_units(readings):
        target = names.unit_targets(options.pressure_basis)[key.name]
        value = _in_stored_unit(key.name, target, reading, options, missing if unit == main else {}, extra)
        if value is None:
            continue
        if unit != main or target.extra:
            extra[(f"unit{unit}_" if unit != main else "") + target.field] = value
        else:
            shot.setdefault(target.field, value)
            missing.pop(target.field, None)
    _zones(readings, main, options, shot, extra, missing)
    _decompression(extra, shot, options)
    if extra:
        shot["extra"] = extra
    _note_wanted(shot, missing)
    return ReadCycle(shot, counter, counted_by, at_ms, missing)


def as_code(text: Any) -> str:
    """A mold's name as a code of the plant: what a code cannot hold is written as `-`.

    >>> as_code(" M/113 ")
    'M-113'
    """
    plain = unicodedata.normalize("NFC", _clean(text)).replace("/", "-").replace("\\", "-")
    return "" if plain in (".", "..") else plain[:CODE_LENGTH_MAX].strip()


def as_label(field: str, value: Any) -> str:
    """Text of a variable of the press; a list is joined, what is too long is cut.

    >>> as_label("material", ["PP", None, "MB 3"]), as_label("mold", "A\\\\B")
    ('PP + MB 3', 'A-B')
    """
    if isinstance(value, list | tuple):
        value = " + ".join(part for part in map(_clean, value) if part)
    return as_code(value) if field == "mold" else _clean(value)[: _LONGEST[field]].strip()


def _clean(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int):
        return ""
    return "".join(one for one in str(value) if unicodedata.category(one) not in _NO_TEXT).strip()


_NO_TEXT: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})


def _counter(readings: Mapping[Key, Reading]) -> tuple[str, int]:
    tried = []
    for name in ("MachineCycleCounter", "JobCycleCounter"):
        value = readings.get(Key("cycle", 0, 0, name), Reading(None)).value
        tried.append(f"{name} is {value!r:.60}")
        # A machine that never counted sends the default 0.
        least = 1 if name == "MachineCycleCounter" else 0
        if isinstance(value, int) and not isinstance(value, bool) and least <= value < _COUNTER_MAX:
            return name, value
    raise UnreadableCycleError("no_counter", f"the event has no usable cycle counter: {', '.join(tried)}")


def _time(readings: Mapping[Key, Reading]) -> int:
    for name in ("Time", "ReceiveTime"):
        value = readings.get(Key("cycle", 0, 0, name), Reading(None)).value
        if isinstance(value, dt.datetime) and value.year > 1970:
            return from_datetime(value if value.tzinfo else value.replace(tzinfo=UTC))
    raise UnreadableCycleError("no_time", "the event carries no usable Time; check the clock of the press")


def _cycle_fields(readings: Mapping[Key, Reading], shot: dict[str, Any], missing: dict[str, str]) -> None:
    def value(name: str) -> Any:
        return readings.get(Key("cycle", 0, 0, name), Reading(None)).value

    seconds = _number(value("CycleTime"))
    if seconds is not None and seconds > 0.0:
        shot["cycle_time_s"] = seconds * MILLISECONDS.factor
    elif value("CycleTime") is not None:
        missing["cycle_time_s"] = f"CycleTime reads {value('CycleTime')!r:.40}"
    quality = value("CycleQuality")
    if isinstance(quality, int) and quality in _QUALITIES:
        shot["quality"] = _QUALITIES[int(quality)]
    parts = value("PartId")
    serial = ", ".join(filter(None, map(_clean, parts))) if isinstance(parts, list | tuple) else _clean(parts)
    texts = {"lot": _clean(value("CurrentLotName")), "box": _clean(value("BoxId")), "serial": serial}
    for field, text in texts.items():
        if text and len(text) <= _LONGEST[field]:
            shot[field] = text
        elif text:
            missing[field] = f"{len(text)} characters are more than the {_LONGEST[field]} that are kept"


def _of_units(readings: Mapping[Key, Reading]) -> Iterator[tuple[int, Key, Reading]]:
    """Values of injection units, in the order of `UNIT_FIELDS`: the first that is there fills a field."""
    order = {name: position for position, name in enumerate(names.UNIT_FIELDS)}
    keys = [key for key in readings if key.group == "unit" and key.name in order]
    for key in sorted(keys, key=lambda key: (key.unit, order[key.name])):
        yield key.unit, key, readings[key]


def _main_unit(readings: Mapping[Key, Reading], options: CycleOptions) -> int:
    if options.unit is not None:
        return options.unit
    units = {key.unit for key in readings if key.group == "unit"}
    cushions = {
        key.unit for key, reading in readings.items()
        if key.name in ("CushionVolume", "CushionStroke") and reading.value is not None
    }  # fmt: skip
    return min(cushions or units, default=1)


def _in_stored_unit(
    name: str,
    target: Target,
    reading: Reading,
    options: CycleOptions,
    missing: dict[str, str],
    extra: dict[str, float],
) -> float | None:
    if reading.value is None:
        return None
    number = _number(reading.value)
    if number is None:
        missing.setdefault(target.field, f"{name} reads {reading.value!r:.40}, no finite number")
        return None
    unit = MILLISECONDS if name in names.DURATIONS else reading.unit
    if unit is None and options.assume and not reading.unit_name:
        unit = ASSUMED[options.assume].get(target.quantity)
    if unit is not None and unit.quantity == "flow" and target.quantity == "speed":
        return _speed_of_flow(name, unit.factor * number, options, extra)
    if unit is None or unit.quantity != target.quantity:
        extra[f"{name}_unit_unclear"] = number
        given_name = unit.name if unit else reading.unit_name
        given = f"the unit {given_name!r}" if given_name else "no unit"
        missing.setdefault(
            target.field, f"{name} comes with {given}, not one of {target.quantity}; see --assume-units"
        )
        return None
    value = unit.factor * number + unit.offset + 0.0
    if value == 0.0 and target.field in names.NEVER_ZERO:
        missing.setdefault(target.field, f"{name} reads 0, so the press does not measure it")
        return None
    return value


def _speed_of_flow(
    name: str, flow_cm3_s: float, options: CycleOptions, extra: dict[str, float]
) -> float | None:
    if options.screw_diameter_mm is None:
        extra[f"{name}_cm3_s"] = flow_cm3_s
        return None
    return 1000.0 * flow_cm3_s / _area_mm2(options.screw_diameter_mm)


def _area_mm2(diameter_mm: float) -> float:
    return math.pi / 4.0 * diameter_mm * diameter_mm


def _zones(
    readings: Mapping[Key, Reading],
    main: int,
    options: CycleOptions,
    shot: dict[str, Any],
    extra: dict[str, float],
    missing: dict[str, str],
) -> None:
    zones: list[float] = []
    for key in sorted(key for key in readings if key.group in ("barrel", "mould")):
        target = Target("zone_temps_c", "temperature")
        of_main = key.group == "barrel" and key.unit == main
        value = _in_stored_unit(key.name, target, readings[key], options, missing if of_main else {}, extra)
        if value is None:
            continue
        if of_main:
            zones.append(value)
        else:
            extra[f"{key.group}{key.unit}_zone{key.zone}_c"] = value
    if zones:
        shot["zone_temps_c"] = zones


def _decompression(extra: dict[str, float], shot: dict[str, Any], options: CycleOptions) -> None:
    """Travel of the suck-back after metering, where the screw diameter turns its volume into one."""
    volume = extra.get("decompression_after_cm3")
    if volume is not None and options.screw_diameter_mm is not None:
        shot["decompression_mm"] = 1000.0 * volume / _area_mm2(options.screw_diameter_mm)


def _note_wanted(shot: Mapping[str, Any], missing: dict[str, str]) -> None:
    for field in names.WANTED:
        if field not in shot and not (field == "cushion" and "cushion_mm" in shot):
            missing.setdefault(field, "not reported")
    if "cushion_cm3" in shot or "cushion_mm" in shot:
        for field in ("cushion", "cushion_cm3", "cushion_mm"):
            missing.pop(field, None)


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None
