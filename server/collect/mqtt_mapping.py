"""How a plant's JSON messages become shots: topic levels, fields, units; read from TOML or JSON.

```toml
topic = "plant/imm/{press}/shot"     # {name} is one level; + and # as in MQTT
[presses]                            # what the level says → the press's code in the plant
imm-07 = "P07"
[fields]                             # field of a shot → where it stands in the payload
counter = "cycle"
at = "ts"
cushion_mm = "values.cushion"
[units]                              # by quantity, or by field where one differs
length = "in"
fill_time_s = "ms"
[quality]                            # the press's words → good, short, flash, other
GOOD = "good"
[constants]                          # what no message says
material = "PP-DEMO"
```

Without [fields] a field is looked for under its own name, at the top and below `values`.
"""

import datetime as dt
import json
import re
import tomllib
import zoneinfo
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from server.contract import LABELS, QUALITIES, QUANTITY, SHOT_NUMBERS, SHOT_TEXTS, UNITS
from server.errors import UsageError

#: Every field a message may fill.
MESSAGE_FIELDS: Final = tuple(
    dict.fromkeys(("counter", "at", *LABELS, *SHOT_NUMBERS, *SHOT_TEXTS, "zone_temps_c", "curve"))
)
_TIME_UNITS: Final[dict[str, float]] = {"s": 1.0, "ms": 1e-3, "min": 60.0}
_SPEED_UNITS: Final[dict[str, float]] = {"mm/s": 1.0, "cm/s": 10.0, "m/s": 1000.0, "in/s": 25.4}
_TABLES: Final = ("presses", "molds", "fields", "units", "quality", "constants", "extra")
LEVEL: Final = re.compile(r"\{(\w+)\}\Z")


class MessageMapping(NamedTuple):
    """A mapping as read. `conversions`: field → (factor, offset) to the stored unit."""

    topic: str
    presses: Mapping[str, str]
    molds: Mapping[str, str]
    fields: Mapping[str, tuple[str, ...]]
    conversions: Mapping[str, tuple[float, float]]
    quality: Mapping[str, str]
    constants: Mapping[str, Any]
    extra: Mapping[str, tuple[str, ...]]
    zone: dt.tzinfo | None

    @property
    def filter(self) -> str:
        """The topic as a broker takes it.

        >>> read_mapping({"topic": "plant/{press}/shot"}).filter
        'plant/+/shot'
        """
        return "/".join("+" if LEVEL.match(level) else level for level in self.topic.split("/"))


def load_mapping(path: Path) -> MessageMapping:
    """A mapping from a .toml or .json file. Raises a `UsageError` that names what is wrong."""
    try:
        text = path.read_text(encoding="utf-8")
        document = json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise UsageError(f"--mapping {path}: {error.strerror}") from None
    except ValueError as error:
        raise UsageError(f"--mapping {path} cannot be read: {error}") from None
    try:
        return read_mapping(document)
    except UsageError as error:
        raise UsageError(f"--mapping {path}: {error.message}") from None


def read_mapping(document: Any) -> MessageMapping:
    """Check a mapping and resolve its units."""
    if not isinstance(document, dict):
        raise UsageError("a mapping is an object with a topic")
    unknown = [name for name in document if name not in ("topic", "time_zone", *_TABLES)]
    if unknown:
        raise UsageError(f"{unknown[0]!r} is not known; known are topic, time_zone, {', '.join(_TABLES)}")
    tables = {name: _table(document, name) for name in _TABLES}
    fields = tables["fields"]
    for name in [*fields, *tables["constants"]]:
        if name not in MESSAGE_FIELDS:
            raise UsageError(f"{name!r} is no field of a shot; known are {', '.join(MESSAGE_FIELDS)}")
    strange = [word for word in tables["quality"].values() if word not in QUALITIES]
    if strange:
        raise UsageError(f"quality {strange[0]!r}: one of {', '.join(QUALITIES)}")
    return MessageMapping(
        topic=_topic(document.get("topic")),
        presses=_texts(tables["presses"], "presses"),
        molds=_texts(tables["molds"], "molds"),
        fields={name: _path(path, name) for name, path in fields.items()},
        conversions=_conversions(_texts(tables["units"], "units")),
        quality=_texts(tables["quality"], "quality"),
        constants=tables["constants"],
        extra={name: _path(path, name) for name, path in tables["extra"].items()},
        zone=_zone(document.get("time_zone")),
    )


def _table(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    table = document.get(name, {})
    if not isinstance(table, dict):
        raise UsageError(f"[{name}] is a table of names and values")
    return table


def _texts(table: Mapping[str, Any], name: str) -> dict[str, str]:
    for key, value in table.items():
        if not isinstance(value, str):
            raise UsageError(f"[{name}] {key} = {value!r}: write a text")
    return dict(table)


def _path(path: Any, name: str) -> tuple[str, ...]:
    if not isinstance(path, str) or not path or "" in path.split("."):
        raise UsageError(f"{name} = {path!r}: write where it stands, like values.cushion")
    return tuple(path.split("."))


def _topic(topic: Any) -> str:
    if not isinstance(topic, str) or not topic or len(topic) > 1000:
        raise UsageError('topic is missing: write it like topic = "plant/imm/{press}/shot"')
    levels = topic.split("/")
    for position, level in enumerate(levels):
        match = LEVEL.match(level)
        if match and match[1] not in ("press", "mold", "material", "lot", "setup"):
            raise UsageError(f"topic level {level}: one of {{press}} {{mold}} {{material}} {{lot}} {{setup}}")
        lone = level in ("+", "#") and (level != "#" or position == len(levels) - 1)
        if not match and not lone and any(sign in level for sign in "+#{}"):
            raise UsageError(f"topic level {level!r}: + stands alone, # alone and last, a name in {{}} alone")
    return topic


def _zone(name: Any) -> dt.tzinfo | None:
    if name is None:
        return None
    try:
        return zoneinfo.ZoneInfo(str(name))
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise UsageError(f"time_zone {name!r} is not known; write it like Europe/Berlin") from None


def _conversions(units: Mapping[str, str]) -> dict[str, tuple[float, float]]:
    """Per field; a field's own unit goes before its quantity's."""
    fields = (*SHOT_NUMBERS, "zone_temps_c")
    for name in units:
        if name not in (*UNITS, "time", "speed", *fields):
            raise UsageError(f"[units] {name!r} is neither a quantity nor a field of a shot")
    found = {}
    for field in fields:
        quantity = _quantity(field)
        unit = units.get(field, units.get(quantity))
        if unit is not None:
            found[field] = _conversion(quantity, unit)
    return found


def _quantity(field: str) -> str:
    return QUANTITY.get(field, "time" if field.endswith("_s") else "")


def _conversion(quantity: str, unit: str) -> tuple[float, float]:
    plain = {"time": _TIME_UNITS, "speed": _SPEED_UNITS}.get(quantity)
    known = UNITS.get(quantity) or {name: (factor, 0.0) for name, factor in (plain or {}).items()}
    if unit not in known:
        raise UsageError(
            f"[units] {quantity or 'this field'} has no unit {unit!r}; known are {', '.join(known)}"
        )
    return known[unit]
