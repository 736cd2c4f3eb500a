"""Escalation: who else is told when nobody has answered an alarm in time, level by level."""

import dataclasses

import sqlalchemy as sa

from server.language import N_
from server.notify.outbox import matching, send_along
from server.notify.steps import AlarmChanged, By, record_step
from server.store import alarms as kept
from server.store.alarms import Alarm
from server.store.numbering import lock_press
from server.store.outlet_routes import Route, routes

_MINUTE_MS = 60_000


def escalate(connection: sa.Connection, *, now_ms: int) -> list[AlarmChanged]:
    """Tell the next levels about every alarm that waits longer than their routes say."""
    known = [route for route in routes(connection) if route.level > 0 and route.active]
    if not known:
        return []
    changes: list[AlarmChanged] = []
    for alarm in kept.open_alarms(connection):
        if _due(alarm, known, now_ms=now_ms):
            # Somebody may be answering at this very moment: what counts is how it stands once it is ours.
            lock_press(connection, alarm.press_id)
            fresh = kept.alarm_by_no(connection, alarm.press, alarm.alarm_no)
            if fresh is not None:
                changes += _levels(connection, fresh, known, now_ms=now_ms)
    return changes


def _due(alarm: Alarm, known: list[Route], *, now_ms: int) -> list[Route]:
    """Routes of levels not yet told, whose time has come; none while nobody is called."""
    if alarm.waiting_since_ms is None:
        return []
    waited_ms = now_ms - alarm.waiting_since_ms
    return [
        route
        for route in known
        if route.level > alarm.escalated and waited_ms >= route.after_min * _MINUTE_MS
    ]


def _levels(
    connection: sa.Connection, alarm: Alarm, known: list[Route], *, now_ms: int
) -> list[AlarmChanged]:
    waited_ms = now_ms - (alarm.waiting_since_ms or now_ms)
    due = _due(alarm, known, now_ms=now_ms)
    chosen = matching(connection, due, alarm, now_ms=now_ms) if due else []
    changes: list[AlarmChanged] = []
    for level in sorted({route.level for route in chosen}):
        alarm = dataclasses.replace(alarm, escalated=level)
        kept.update_alarm(connection, alarm)
        by = By(
            reason=f"level_{level}",
            note=N_("nobody answered for {minutes} min", minutes=waited_ms // _MINUTE_MS),
        )
        step, change = record_step(connection, alarm, "escalated", by, now_ms=now_ms)
        mine = [route for route in chosen if route.level == level]
        send_along(connection, mine, alarm, step, now_ms=now_ms)
        changes.append(change)
    return changes
