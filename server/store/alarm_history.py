"""What the history of alarms tells: which chatter, how many there were and when, which are stale."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.store.tables import alarm_steps, alarms, presses

#: Steps that say that a condition rose or fell.
RISES = ("opened", "came_back")
RISES_AND_FALLS = (*RISES, "returned")
#: House rules, not from the standard: so many rises within a minute, or returns within an hour.
CHATTER_RISES, CHATTER_SPAN_MS = 3, 60_000
CHATTER_RETURNS, CHATTER_LONG_MS = 5, 3_600_000


@dataclasses.dataclass(frozen=True)
class Rise:
    """An alarm called, or would have: a condition rose."""

    press_id: int
    press: str
    name: str
    kind: str
    alarm_no: int
    at_ms: int
    action: str
    state: str


@dataclasses.dataclass(frozen=True)
class Told:
    """A step of an alarm with its press, for the summary of a shift."""

    press: str
    name: str
    kind: str
    alarm_no: int
    at_ms: int
    action: str
    who: str
    reason: str


def _steps_since(since_ms: int, actions: tuple[str, ...], columns: list[Any]) -> sa.Select[Any]:
    here = sa.and_(alarms.c.press_id == alarm_steps.c.press_id, alarms.c.alarm_no == alarm_steps.c.alarm_no)
    return (
        sa.select(*columns)
        .join(alarms, here)
        .join(presses, presses.c.press_id == alarm_steps.c.press_id)
        .where(alarm_steps.c.at_ms >= since_ms, alarm_steps.c.action.in_(actions))
        .order_by(alarm_steps.c.at_ms, alarm_steps.c.press_id, alarm_steps.c.alarm_no, alarm_steps.c.step)
    )


def rises_between(connection: sa.Connection, *, from_ms: int, to_ms: int, limit: int = 200_000) -> list[Rise]:
    """Every time a condition rose and nothing by design kept it quiet, in order."""
    columns = [
        presses.c.press_id,
        presses.c.press,
        presses.c.name,
        alarms.c.kind,
        alarm_steps.c.alarm_no,
        alarm_steps.c.at_ms,
        alarm_steps.c.action,
        alarm_steps.c.state,
    ]
    query = _steps_since(from_ms, RISES, columns)
    quiet = ("suppressed", "out_of_service", "shelved")
    query = query.where(alarm_steps.c.at_ms < to_ms, alarm_steps.c.state.not_in(quiet))
    return [Rise(**row._mapping) for row in connection.execute(query.limit(limit))]


def returns_between(
    connection: sa.Connection, *, from_ms: int, to_ms: int, limit: int = 200_000
) -> list[tuple[int, str, int]]:
    """Every time a condition fell, as (press id, kind, moment), in order."""
    columns = [presses.c.press_id, alarms.c.kind, alarm_steps.c.at_ms]
    query = _steps_since(from_ms, ("returned",), columns).where(alarm_steps.c.at_ms < to_ms)
    return [(row.press_id, row.kind, row.at_ms) for row in connection.execute(query.limit(limit))]


def steps_since(
    connection: sa.Connection, *, since_ms: int, actions: tuple[str, ...], limit: int = 2_000
) -> list[Told]:
    """Steps of some kinds since a moment, in order."""
    columns = [
        presses.c.press,
        presses.c.name,
        alarms.c.kind,
        alarm_steps.c.alarm_no,
        alarm_steps.c.at_ms,
        alarm_steps.c.action,
        alarm_steps.c.who,
        alarm_steps.c.reason,
    ]
    query = _steps_since(since_ms, actions, columns).limit(limit)
    return [Told(**row._mapping) for row in connection.execute(query)]


def is_chattering(rises: list[int], returns: list[int]) -> bool:
    """Whether rises and returns (ordered moments) come as close together as those of a flickering alarm.

    >>> is_chattering([0, 20_000, 59_000], []), is_chattering([0, 40_000, 80_000], [])
    (True, False)
    """
    return _close(rises, CHATTER_RISES, CHATTER_SPAN_MS) or _close(returns, CHATTER_RETURNS, CHATTER_LONG_MS)


def _close(moments: list[int], count: int, within_ms: int) -> bool:
    pairs = zip(moments, moments[count - 1 :], strict=False)
    return any(last - first < within_ms for first, last in pairs)


def chatters(connection: sa.Connection, press_id: int, kind: str, *, now_ms: int) -> bool:
    """Whether this kind of alarm of a press has flickered within the last hour."""
    return (press_id, kind) in chattering(connection, now_ms=now_ms, press_id=press_id)


def chattering(
    connection: sa.Connection, *, now_ms: int, press_id: int | None = None
) -> set[tuple[int, str]]:
    """Press and kind of every alarm that has flickered within the last hour."""
    columns = [presses.c.press_id, alarms.c.kind, alarm_steps.c.at_ms, alarm_steps.c.action]
    query = _steps_since(now_ms - CHATTER_LONG_MS, RISES_AND_FALLS, columns)
    if press_id is not None:
        query = query.where(alarm_steps.c.press_id == press_id)
    moments: dict[tuple[int, str], tuple[list[int], list[int]]] = {}
    for row in connection.execute(query):
        rises, returns = moments.setdefault((row.press_id, row.kind), ([], []))
        (returns if row.action == "returned" else rises).append(row.at_ms)
    return {key for key, (rises, returns) in moments.items() if is_chattering(rises, returns)}


def first_alarm_ms(connection: sa.Connection) -> int | None:
    """When the first alarm of all opened."""
    found = connection.execute(sa.select(sa.func.min(alarms.c.opened_ms))).scalar_one()
    return None if found is None else int(found)


def urgencies_since(connection: sa.Connection, *, since_ms: int) -> dict[str, int]:
    """How many alarms of each urgency opened since a moment."""
    rows = connection.execute(
        sa.select(alarms.c.urgency, sa.func.count())
        .where(alarms.c.opened_ms >= since_ms)
        .group_by(alarms.c.urgency)
    )
    return {str(urgency): int(count) for urgency, count in rows}
