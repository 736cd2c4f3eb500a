"""Set-points as text and what differs between two of them: one reading for events, pages and the API."""

import json
from collections.abc import Mapping
from typing import Any

#: Longest text of an event's setting, and of the values before and after.
LONGEST = 80


def differences(before: str, now: str) -> list[tuple[str, Any, Any]]:
    """Names of set-points that differ between two JSON objects, with both values; None: not given.

    >>> differences('{"hold_bar": 400, "speed": 60}', '{"hold_bar": 450, "speed": 60}')
    [('hold_bar', 400, 450)]
    """
    one, other = _object(before), _object(now)
    names = sorted({*one, *other})
    return [(name, one.get(name), other.get(name)) for name in names if one.get(name) != other.get(name)]


def value_text(value: Any) -> str:
    """A set-point as it is written: numbers without needless decimals.

    >>> value_text(400.0), value_text("fast"), value_text([210.0, 215.5]), value_text(None)
    ('400', 'fast', '210, 215.5', '')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "on" if value else "off"
    if isinstance(value, int | float):
        return f"{value:.12g}"
    if isinstance(value, list):
        return ", ".join(value_text(one) for one in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {value_text(one)}" for name, one in value.items())
    return str(value)


def as_event(before: str, now: str) -> tuple[str, str, str]:
    """(setting, from, to) of one change of set-points as an event says it.

    >>> as_event('{"hold_bar": 400.0}', '{"hold_bar": 450.0}')
    ('hold_bar', '400', '450')
    >>> as_event('{"a": 1.0, "b": 2.0}', '{"a": 2.0, "b": 1.0}')
    ('a, b', '1, 2', '2, 1')
    """
    found = differences(before, now)
    parts = (
        ", ".join(name for name, _, _ in found),
        ", ".join(value_text(one) or "–" for _, one, _ in found),
        ", ".join(value_text(other) or "–" for _, _, other in found),
    )
    setting, was, became = (part if len(part) <= LONGEST else part[: LONGEST - 1] + "…" for part in parts)
    return setting, was, became


def _object(text: str) -> dict[str, Any]:
    found = json.loads(text or "{}")
    return found if isinstance(found, dict) else {}
