"""Conditions of the charts within the alarm budget, of the log itself, and of the drawing's demand."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.notify.conditions import Condition

#: Signals whose move concerns the parts made now, whatever the cause.
_OF_THE_PART: Final = ("swept_mm", "shot_size_mm")
#: A move of this many sigma of single shots is looked at within the shift (common practice, no source).
LARGE_MOVE: Final = 1.0
#: Doubts about a log that make everything said of the press worthless until settled.
_GRAVE: Final = ("other_press", "impossible", "stuck")

Active = Sequence[Mapping[str, Any]]


def leading_cause(causes: Mapping[str, float]) -> str:
    """The most probable cause that explains something; `unexplained` when sealing well leads.

    >>> leading_cause({"sealing": 0.2, "viscosity_shift": 0.7}), leading_cause({"sealing": 0.9})
    ('viscosity_shift', 'unexplained')
    """
    best = max(causes, key=lambda cause: causes[cause], default="unexplained")
    return "unexplained" if best == "sealing" else best


def shift_condition(
    active: Active, past: Active, *, causes: Mapping[str, float], facts: Mapping[str, Any]
) -> Condition:
    """Levels that moved. active: charts that signal now; past: findings that came and went since."""
    largest = _largest(active, past)
    part = any(one["signal"] in _OF_THE_PART for one in (*active, *past))
    return _charted("shift", active, past, soon=part and largest >= LARGE_MOVE, causes=causes, facts=facts)


def scatter_condition(
    active: Active, past: Active, *, causes: Mapping[str, float], facts: Mapping[str, Any]
) -> Condition:
    """Scatter that grew without the level moving."""
    part = any(one["signal"] == "swept_mm" for one in (*active, *past))
    return _charted("scatter", active, past, soon=part, causes=causes, facts=facts)


def _charted(
    kind: str,
    active: Active,
    past: Active,
    *,
    soon: bool,
    causes: Mapping[str, float],
    facts: Mapping[str, Any],
) -> Condition:
    rows = active or past
    moved = {one["signal"]: one.get("moved", one.get("extreme", 0.0)) for one in rows}
    since = [one["since_ms"] for one in active]
    return Condition(
        kind=kind,
        active_now=bool(active),
        was_active=bool(active or past),
        urgency="this_shift" if soon else "this_week",
        cause=leading_cause(causes) if rows else "",
        facts={"signals": moved, **({"since_ms": min(since)} if since else {}), **facts},
        last_active_ms=max((row["to_ms"] for row in past), default=None),
    )


def _largest(active: Active, past: Active) -> float:
    return max(
        (abs(one.get("moved", one.get("extreme", 0.0))) for one in (*active, *past)),
        default=0.0,
    )


def doubt_condition(doubts: Mapping[str, Any], *, facts: Mapping[str, Any]) -> Condition:
    """The log cannot be believed: what is said of the press rests on nothing."""
    grave = any(doubt in _GRAVE for doubt in doubts)
    return Condition(
        kind="data_quality",
        active_now=bool(doubts),
        was_active=bool(doubts),
        urgency="this_shift" if grave else "this_week",
        facts={"doubts": dict(doubts), **facts},
    )


def capability_condition(short: Mapping[str, Mapping[str, float]], *, facts: Mapping[str, Any]) -> Condition:
    """Signals that surely fall short of what the mold demands: {signal: {ppk, upper, demand}}."""
    return Condition(
        kind="capability",
        active_now=bool(short),
        was_active=bool(short),
        urgency="this_shift" if any(one["ppk"] < 1.0 for one in short.values()) else "this_week",
        facts={"short": {name: dict(one) for name, one in short.items()}, **facts},
    )
