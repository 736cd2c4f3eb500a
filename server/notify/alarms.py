"""Alarms: opened and moved by conditions and by time; every move is a step in their history."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.notify import life_cycle
from server.notify.conditions import Condition, silent_condition
from server.notify.escalation import escalate
from server.notify.service import put_back_due
from server.notify.steps import SYSTEM, AlarmChanged, By, record, standing_of, take_step
from server.store import alarm_service
from server.store import alarms as kept
from server.store.alarms import Alarm
from server.store.numbering import lock_press
from server.store.plant import Press, press_by_id

__all__ = [
    "SYSTEM",
    "AlarmChanged",
    "By",
    "react",
    "react_all",
    "standing_of",
    "suppress",
    "take_step",
    "tick",
]


def react(
    connection: sa.Connection, press: Press, condition: Condition, *, now_ms: int, suppressed_by: str = ""
) -> list[AlarmChanged]:
    """Open, update, return or end the alarm of one kind after its condition was looked at.

    What came and went since the last look opens an alarm that has already returned, so that nobody
    misses it. suppressed_by: id of the reason why this kind is suppressed by design now; '' when it
    is not, which releases an alarm that was.
    """
    return react_all(connection, press, [(condition, suppressed_by)], now_ms=now_ms)


def react_all(
    connection: sa.Connection,
    press: Press,
    conditions: Sequence[tuple[Condition, str]],
    *,
    now_ms: int,
    known: Sequence[Alarm] | None = None,
) -> list[AlarmChanged]:
    """As `react`, for conditions of different kinds with what suppresses each: looked up once for all.

    known: the press's open alarms, by whom they were already looked up with the press locked.
    """
    open_now = {alarm.kind: alarm for alarm in _open_of(connection, press, known)}
    kinds = [condition.kind for condition, _ in conditions]
    if len(set(kinds)) < len(kinds):
        raise ValueError(f"one condition a kind, not {kinds}")
    return [
        change
        for condition, reason in conditions
        for change in _react(
            connection, press, open_now.get(condition.kind), condition, now_ms=now_ms, suppressed_by=reason
        )
    ]


def _react(
    connection: sa.Connection,
    press: Press,
    alarm: Alarm | None,
    condition: Condition,
    *,
    now_ms: int,
    suppressed_by: str,
) -> list[AlarmChanged]:
    if alarm is None:
        if not _is_news(connection, press.press_id, condition):
            return []
        return [_open(connection, press, condition, now_ms=now_ms, suppressed_by=suppressed_by)]
    changes: list[AlarmChanged] = []
    alarm = _described(connection, alarm, condition, changes, now_ms=now_ms)
    # Suppressed before it can call; released after it is known whether the condition still holds.
    if suppressed_by:
        alarm = _suppressed(connection, alarm, suppressed_by, changes, now_ms=now_ms)
    move = life_cycle.with_condition(standing_of(alarm), active=condition.active_now)
    alarm, change = take_step(connection, alarm, move, By(), now_ms=now_ms)
    changes += [change] if change else []
    if not suppressed_by:
        _suppressed(connection, alarm, "", changes, now_ms=now_ms)
    return changes


def suppress(
    connection: sa.Connection,
    press: Press,
    *,
    suppressed_by: str,
    now_ms: int,
    known: Sequence[Alarm] | None = None,
) -> list[AlarmChanged]:
    """Suppress the open alarms of a press by design, or release them (''); known: these alone."""
    changes: list[AlarmChanged] = []
    for alarm in _open_of(connection, press, known):
        _suppressed(connection, alarm, suppressed_by, changes, now_ms=now_ms)
    return changes


def _open_of(connection: sa.Connection, press: Press, known: Sequence[Alarm] | None) -> Sequence[Alarm]:
    if known is not None:
        return known
    lock_press(connection, press.press_id)
    return kept.open_alarms_of(connection, press.press_id)


def _suppressed(
    connection: sa.Connection, alarm: Alarm, reason: str, changes: list[AlarmChanged], *, now_ms: int
) -> Alarm:
    move = life_cycle.suppress(standing_of(alarm), reason=reason)
    by = By(reason=reason or alarm.suppressed_by)
    alarm, change = take_step(connection, alarm, move, by, now_ms=now_ms)
    changes += [change] if change else []
    return alarm


def _is_news(connection: sa.Connection, press_id: int, condition: Condition) -> bool:
    if condition.active_now:
        return True
    if not condition.was_active:
        return False
    last = condition.last_active_ms
    return last is None or not kept.ended_since(connection, press_id, condition.kind, at_ms=last)


def _open(
    connection: sa.Connection, press: Press, condition: Condition, *, now_ms: int, suppressed_by: str
) -> AlarmChanged:
    stopped = alarm_service.stop_of(connection, press.press_id, condition.kind)
    move = life_cycle.opened(
        active=condition.active_now, suppressed_by=suppressed_by, out_of_service=stopped is not None
    )
    standing = move.standing
    alarm = kept.insert_alarm(
        connection,
        Alarm(
            press_id=press.press_id,
            press=press.press,
            alarm_no=0,
            kind=condition.kind,
            state=standing.state,
            urgency=condition.urgency,
            cause=condition.cause,
            opened_ms=now_ms,
            since_ms=now_ms,
            ended_ms=None,
            acknowledged_by=None,
            acknowledged_ms=None,
            reason=None,
            note="",
            shelved_until_ms=None,
            active=condition.active_now,
            facts=condition.facts,
            suppressed_by=standing.suppressed_by,
            out_of_service=standing.out_of_service,
            called=standing.called,
            waiting_since_ms=None if standing.is_hidden else now_ms,
            escalated=0,
        ),
    )
    return record(connection, alarm, move.action, By(reason=suppressed_by), now_ms=now_ms)


def _described(
    connection: sa.Connection,
    alarm: Alarm,
    condition: Condition,
    changes: list[AlarmChanged],
    *,
    now_ms: int,
) -> Alarm:
    """The alarm with what is newly known of it; cause and urgency are steps, facts are not.

    Once the condition is gone, the alarm keeps telling what it was opened for.
    """
    if not (condition.active_now or condition.was_active):
        return alarm
    described = dataclasses.replace(
        alarm,
        cause=condition.cause or alarm.cause,
        urgency=condition.urgency,
        facts={**alarm.facts, **condition.facts},
    )
    if described == alarm:
        return alarm
    kept.update_alarm(connection, described)
    for name, action in (("cause", "cause_changed"), ("urgency", "urgency_changed")):
        before, after = getattr(alarm, name), getattr(described, name)
        if before != after:
            by = By(note=f"{before} → {after}")
            changes.append(record(connection, described, action, by, now_ms=now_ms))
    return described


def tick(
    connection: sa.Connection, *, now_ms: int, settings: Mapping[str, Any], listening_since_ms: int = 0
) -> list[AlarmChanged]:
    """What time alone does: shelving and being out of service end, presses fall silent or speak again,
    and who else must know is told of what nobody answers.

    listening_since_ms: since when presses could send at all; a server that was down makes none silent.
    """
    changes: list[AlarmChanged] = []
    for alarm in kept.shelved_until(connection, now_ms=now_ms):
        lock_press(connection, alarm.press_id)
        fresh = kept.alarm_by_no(connection, alarm.press, alarm.alarm_no)
        if fresh is None or fresh.ended_ms is not None:
            continue
        move = life_cycle.passed(standing_of(fresh), now_ms=now_ms)
        _, change = take_step(connection, fresh, move, By(), now_ms=now_ms)
        changes += [change] if change else []
    changes += put_back_due(connection, now_ms=now_ms)
    changes += _silence(connection, now_ms=now_ms, settings=settings, since_ms=listening_since_ms)
    return changes + escalate(connection, now_ms=now_ms)


def _silence(
    connection: sa.Connection, *, now_ms: int, settings: Mapping[str, Any], since_ms: int
) -> list[AlarmChanged]:
    changes: list[AlarmChanged] = []
    known = {alarm.press_id: alarm for alarm in kept.open_alarms(connection, kind="silent")}
    # A press may be told to be called silent sooner than the plant says: look at all of them.
    for quiet in kept.quiet_presses(connection, before_ms=now_ms):
        alarm, own = known.get(quiet.press_id), quiet.silent_after_s
        was_silent = alarm is not None and alarm.active
        condition = silent_condition(
            last_shot_ms=quiet.last_shot_ms,
            last_arrival_ms=quiet.last_arrival_ms,
            silent_after_s=float(settings["silent_after_s"]) if own is None else own,
            # A press that was silent before the server stopped is still silent when it starts again.
            listening_since_ms=0 if was_silent else since_ms,
            now_ms=now_ms,
        )
        same_urgency = alarm is None or alarm.urgency == condition.urgency
        if condition.active_now != was_silent or (was_silent and not same_urgency):
            press = press_by_id(connection, quiet.press_id)
            changes += react(connection, press, condition, now_ms=now_ms)
    return changes
