"""Which condition an alarm follows: thresholds with hysteresis, urgency and leading cause."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from server.contract import LEAK_CAUSES

#: Leak-likelihood from which an alarm cannot wait (common practice, no source).
URGENT_LIKELIHOOD: Final = 0.9
#: From which it should be looked at within the shift (common practice, no source).
SHIFT_LIKELIHOOD: Final = 0.7
#: Silence after which a press is more than between two jobs (common practice, no source).
LONG_SILENCE_MS: Final = 4 * 3_600_000
#: A shot this close to its arrival was sent live, not imported.
LIVE_WITHIN_MS: Final = 600_000


@dataclasses.dataclass(frozen=True)
class Condition:
    """What was found out about one kind of alarm on one press.

    was_active: it held at some time since the last look, though it may be over.
    last_active_ms: when it last held, if known; keeps history that is evaluated again from
    opening an alarm that somebody already ended.
    """

    kind: str
    active_now: bool
    was_active: bool = False
    urgency: str = "this_shift"
    cause: str = ""
    facts: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    last_active_ms: int | None = None


def leading_leak_cause(causes: Mapping[str, float]) -> str:
    """The most probable of the causes that add up to the leak-likelihood; '' without any.

    >>> leading_leak_cause({"sealing": 0.1, "steady_leak": 0.3, "not_closing": 0.6})
    'not_closing'
    """
    known = [(causes[cause], cause) for cause in LEAK_CAUSES if causes.get(cause, 0.0) > 0.0]
    return max(known)[1] if known else ""


def leak_urgency(likelihood: float, *, cause: str) -> str:
    """How soon somebody should go there.

    >>> leak_urgency(0.75, cause="steady_leak"), leak_urgency(0.75, cause="not_closing")
    ('this_shift', 'now')
    """
    if likelihood >= URGENT_LIKELIHOOD or cause == "not_closing":
        return "now"
    return "this_shift" if likelihood >= SHIFT_LIKELIHOOD else "this_week"


def leak_condition(
    likelihood: float | None,
    causes: Mapping[str, float],
    open_now: bool,
    settings: Mapping[str, Any],
    *,
    highest: float | None = None,
    facts: Mapping[str, Any] | None = None,
    last_active_ms: int | None = None,
) -> Condition | None:
    """The leak condition, with hysteresis: opens at `open_at`, closes below `close_at`.

    open_now: the condition of the open alarm is active. highest: the highest likelihood since the
    last look. None when nothing can be said: the alarm then stays as it is.
    """
    if likelihood is None:
        return None
    opens_at, closes_at = float(settings["open_at"]), float(settings["close_at"])
    cause = leading_leak_cause(causes)
    active = likelihood >= (closes_at if open_now else opens_at)
    top = likelihood if highest is None else max(likelihood, highest)
    return Condition(
        kind="leak",
        active_now=active,
        was_active=top >= opens_at,
        # What came and went is judged by its worst moment, what lasts by now.
        urgency=leak_urgency(likelihood if active else top, cause=cause),
        cause=cause,
        facts={"likelihood": likelihood, **(facts or {})},
        last_active_ms=last_active_ms,
    )


def bottoming_condition(
    bottoming_now: bool,
    was_bottoming: bool = False,
    *,
    facts: Mapping[str, Any] | None = None,
    last_active_ms: int | None = None,
) -> Condition:
    """The screw has no cushion left: parts of these shots are not packed, so it cannot wait."""
    return Condition(
        kind="bottoming",
        active_now=bottoming_now,
        was_active=was_bottoming or bottoming_now,
        urgency="now",
        cause="bottoming",
        facts=facts or {},
        last_active_ms=last_active_ms,
    )


def silent_condition(
    *,
    last_shot_ms: int,
    last_arrival_ms: int,
    silent_after_s: float,
    listening_since_ms: int = 0,
    now_ms: int,
) -> Condition:
    """A press that sent live and has stopped. Imported history says nothing about now."""
    silence = now_ms - max(last_arrival_ms, listening_since_ms)
    live = last_arrival_ms - last_shot_ms <= LIVE_WITHIN_MS
    return Condition(
        kind="silent",
        active_now=live and silence >= silent_after_s * 1000.0,
        urgency="this_shift" if silence > LONG_SILENCE_MS else "this_week",
        facts={"last_shot_ms": last_shot_ms, "last_arrival_ms": last_arrival_ms},
    )
