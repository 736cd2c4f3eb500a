"""A JSON message as a shot in stored units, or refused with the reason. Pure."""

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any, Final

import msgspec

from server.clock import UTC, as_text, from_datetime
from server.collect.mqtt_mapping import LEVEL, MESSAGE_FIELDS, MessageMapping
from server.contract import LABELS, SHOT_NUMBERS

#: Longest message looked at; a shot with its curve has a few thousand bytes.
PAYLOAD_MAX: Final = 262_144
#: Numbers of seconds since 1970 are smaller than this, of milliseconds larger.
_MS_FROM: Final = 1e11


class UnreadableMessageError(Exception):
    """A message that is no shot; kept apart with code, reason and the press it named, if any."""

    def __init__(self, code: str, reason: str, *, press: str = "") -> None:
        super().__init__(reason)
        self.code = code
        self.reason = reason
        self.press = press


def read_message(topic: str, payload: bytes, mapping: MessageMapping) -> dict[str, Any]:
    """The shot of a message, in stored units. Raises `UnreadableMessageError` and nothing else."""
    shot: dict[str, Any] = dict(mapping.constants)
    shot |= _levels(topic, mapping.topic)
    press = str(shot.get("press", ""))
    try:
        document = _document(payload)
        for field in MESSAGE_FIELDS:
            value = _find(document, field, mapping)
            if value is not None:
                shot[field] = _value(field, value, mapping)
        extra = _extra(document, mapping)
    except UnreadableMessageError as error:
        raise UnreadableMessageError(error.code, error.reason, press=press) from None
    if extra:
        shot["extra"] = extra
    shot["press"] = mapping.presses.get(str(shot.get("press", "")), str(shot.get("press", "")))
    if "mold" in shot:
        shot["mold"] = mapping.molds.get(str(shot["mold"]), shot["mold"])
    for field, code in (("press", "no_press"), ("counter", "no_counter"), ("at", "no_time")):
        if shot.get(field) in (None, ""):
            raise UnreadableMessageError(
                code,
                f"neither topic nor payload says {field}; name where it stands in the mapping",
                press=press,
            )
    return shot


def _levels(topic: str, pattern: str) -> dict[str, str]:
    found = {}
    for level, said in zip(pattern.split("/"), topic.split("/"), strict=False):
        match = LEVEL.match(level)
        if match:
            found[match[1]] = said
    return found


def _document(payload: bytes) -> dict[str, Any]:
    if len(payload) > PAYLOAD_MAX:
        raise UnreadableMessageError(
            "too_large", f"the message has {len(payload):,} bytes; at most {PAYLOAD_MAX:,} are read"
        )
    try:
        document = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise UnreadableMessageError("no_json", f"the message is no JSON: {error}") from None
    if not isinstance(document, dict):
        raise UnreadableMessageError(
            "no_object", "the message is JSON, but not an object: one shot a message"
        )
    return document


def _find(document: Mapping[str, Any], field: str, mapping: MessageMapping) -> Any:
    if field in mapping.fields:
        return _walk(document, mapping.fields[field])
    if mapping.fields and field not in LABELS:
        return None
    found = document.get(field)
    return _walk(document, ("values", field)) if found is None else found


def _walk(document: Any, path: tuple[str, ...]) -> Any:
    for step in path:
        if isinstance(document, list) and step.isdecimal() and int(step) < len(document):
            document = document[int(step)]
        elif isinstance(document, dict):
            document = document.get(step)
        else:
            return None
    return document


def _value(field: str, value: Any, mapping: MessageMapping) -> Any:
    if field == "at":
        return _time(value, mapping.zone)
    if field == "counter":
        return _counter(value)
    if field in SHOT_NUMBERS:
        return _converted(field, _number(field, value), mapping)
    if field == "zone_temps_c" and isinstance(value, list):
        return [_converted(field, _number(field, one), mapping) for one in value]
    if field == "quality":
        return mapping.quality.get(str(value), value)
    return value


def _converted(field: str, number: float, mapping: MessageMapping) -> float:
    factor, offset = mapping.conversions.get(field, (1.0, 0.0))
    return factor * number + offset if (factor, offset) != (1.0, 0.0) else number


def _number(field: str, value: Any) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    if isinstance(value, str) and re.fullmatch(r"\s*[-+]?\d{1,15}(\.\d{0,15})?\s*", value, re.ASCII):
        return float(value)
    raise UnreadableMessageError("not_a_number", f"{field} is {value!r:.60}, no number with a decimal point")


def _counter(value: Any) -> int:
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if isinstance(value, str) and re.fullmatch(r"\d{1,18}", value, re.ASCII):
        value = int(value)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << 62:
        raise UnreadableMessageError("bad_counter", f"counter is {value!r:.60}, no whole number from 0 on")
    return value


def _time(value: Any, zone: dt.tzinfo | None) -> str:
    try:
        if isinstance(value, int | float) and not isinstance(value, bool):
            ms = round(value if value >= _MS_FROM else value * 1000.0)
            return as_text(ms)
        at = dt.datetime.fromisoformat(str(value).strip())
        if at.tzinfo is None:
            if zone is None:
                raise UnreadableMessageError(
                    "no_offset", f"at is {value!r:.60} without an offset; name the time_zone in the mapping"
                )
            at = at.replace(tzinfo=zone)
        return as_text(from_datetime(at.astimezone(UTC)))
    except (ValueError, OverflowError):
        raise UnreadableMessageError(
            "bad_time", f"at is {value!r:.60}; send RFC 3339 with offset, or seconds or ms since 1970"
        ) from None


def _extra(document: Mapping[str, Any], mapping: MessageMapping) -> dict[str, float]:
    found = {name: _walk(document, path) for name, path in mapping.extra.items()}
    return {name: _number(name, value) for name, value in found.items() if value is not None}
