"""The alarm for a mold whose parts surely fall short of what it demands on a press.

Only where the mold states a demand and the drawing's limits. Opens when the whole confidence interval
lies below the demand, closes when the index itself has reached it: what lies between changes nothing.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.derived.capability import DrawingLimits, press_capability
from server.maths.capability import Capability
from server.notify.alarms import AlarmChanged, react
from server.notify.chart_conditions import capability_condition
from server.notify.conditions import Condition
from server.store import alarms as kept
from server.store.page_queries import press_with_state
from server.store.plant import mold_by_code, press_by_id, setups_of

#: What is judged: the day before the press's newest shot.
LOOKS_BACK_MS: Final = 24 * 3_600_000
#: Values without which nothing is said (common practice, no source).
NEEDED: Final = 50


def capability_now(connection: sa.Connection, press_id: int) -> Condition | None:
    """What a press makes now against its mold's demand; None where there is nothing to say."""
    row = press_with_state(connection, press_by_id(connection, press_id).press)
    if row is None or row["last_shot_ms"] is None or row["mold"] is None:
        return None
    mold = mold_by_code(connection, row["mold"])
    demand = json.loads(mold["demand"]).get("ppk") if mold is not None else None
    opened = kept.open_alarm(connection, press_id, "capability")
    if mold is None or not demand:
        short: dict[str, dict[str, float]] = {}
    else:
        leak = kept.open_alarm(connection, press_id, "leak")
        # A leak that is known explains parts that vary.
        explained = leak is not None and leak.active
        short = {} if explained else _short(connection, row, mold, float(demand), opened)
    facts = {"mold": row["mold"], "box": row["box"]}
    if not short and opened is None:
        return None
    return capability_condition(short, facts=facts)


def react_to_capability(
    connection: sa.Connection, press_id: int, condition: Condition, *, now_ms: int
) -> list[AlarmChanged]:
    """Let the alarm follow; held back like the others while the press is."""
    press = press_by_id(connection, press_id)
    row = press_with_state(connection, press.press)
    reason = "" if row is None else row["held_back"] or ""
    return react(connection, press, condition, now_ms=now_ms, suppressed_by=reason)


def _short(
    connection: sa.Connection,
    row: Mapping[str, Any],
    mold: Mapping[str, Any],
    demand: float,
    opened: kept.Alarm | None,
) -> dict[str, dict[str, float]]:
    """Signals that fall short: {signal: {ppk, upper, demand}}."""
    was = set(opened.facts.get("short", {})) if opened is not None and opened.active else set()
    setups = [
        one.setup_id for one in setups_of(connection, row["press_id"]).values() if one.mold == row["mold"]
    ]
    short = {}
    for signal, given in json.loads(mold["limits"]).items():
        limits = DrawingLimits(given.get("lower"), given.get("upper"), given.get("target"))
        if not limits.known():
            continue
        judged = press_capability(
            connection,
            row["press_id"],
            signal=signal,
            setup_ids=setups,
            limits=limits,
            from_ms=row["last_shot_ms"] - LOOKS_BACK_MS,
        ).found.capability
        if not isinstance(judged, Capability) or judged.n < NEEDED or judged.ppk is None:
            continue
        below = judged.ppk.value if signal in was else judged.ppk.interval.upper
        if below < demand:
            short[signal] = {"ppk": judged.ppk.value, "upper": judged.ppk.interval.upper, "demand": demand}
    return short
