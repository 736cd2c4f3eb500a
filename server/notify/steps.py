"""A step of an alarm: the move, the row as it is afterwards, and the line in its history, kept together."""

import dataclasses

import sqlalchemy as sa

from server.notify.life_cycle import WAITING_STATES, Move, Standing
from server.notify.outbox import queue
from server.store import alarms as kept
from server.store.alarms import Alarm

#: Who moves an alarm when no person does.
SYSTEM = "ringtell"


@dataclasses.dataclass(frozen=True)
class AlarmChanged:
    """An alarm took a step. `action` names it, `state` is the one after it."""

    press_id: int
    press: str
    alarm_no: int
    kind: str
    action: str
    state: str
    urgency: str

    @property
    def id(self) -> str:
        return kept.public_id(self.press, self.alarm_no)


@dataclasses.dataclass(frozen=True)
class By:
    """Who takes a step and what they say about it."""

    who: str = SYSTEM
    reason: str = ""
    note: str = ""
    idempotency_key: str | None = None


def standing_of(alarm: Alarm) -> Standing:
    """The alarm as the state machine sees it."""
    return Standing(
        active=alarm.active,
        acknowledged=alarm.acknowledged_ms is not None,
        shelved_until_ms=alarm.shelved_until_ms,
        suppressed_by=alarm.suppressed_by,
        out_of_service=alarm.out_of_service,
        called=alarm.called,
    )


def waiting_since(alarm: Alarm, state: str, *, now_ms: int) -> int | None:
    """Since when somebody is called without an answer; None while nobody is."""
    if state not in WAITING_STATES:
        return None
    return now_ms if alarm.waiting_since_ms is None else alarm.waiting_since_ms


def take_step(
    connection: sa.Connection, alarm: Alarm, move: Move, by: By, *, now_ms: int
) -> tuple[Alarm, AlarmChanged | None]:
    """Keep a move and its step; nothing when the move is none."""
    if not move.action:
        return alarm, None
    standing = move.standing
    waiting_ms = waiting_since(alarm, standing.state, now_ms=now_ms)
    moved = dataclasses.replace(
        alarm,
        state=standing.state,
        active=standing.active,
        shelved_until_ms=standing.shelved_until_ms,
        suppressed_by=standing.suppressed_by,
        out_of_service=standing.out_of_service,
        called=standing.called,
        since_ms=now_ms if standing.state != alarm.state else alarm.since_ms,
        ended_ms=now_ms if standing.has_ended else None,
        waiting_since_ms=waiting_ms,
        escalated=0 if waiting_ms is None else alarm.escalated,
    )
    if move.action == "acknowledged":
        moved = dataclasses.replace(
            moved, acknowledged_by=by.who, acknowledged_ms=now_ms, reason=by.reason, note=by.note
        )
    elif not standing.acknowledged:
        moved = dataclasses.replace(moved, acknowledged_by=None, acknowledged_ms=None, reason=None, note="")
    kept.update_alarm(connection, moved)
    return moved, record(connection, moved, move.action, by, now_ms=now_ms)


def record(connection: sa.Connection, alarm: Alarm, action: str, by: By, *, now_ms: int) -> AlarmChanged:
    """Add a line to the history of an alarm and queue the messages about it."""
    return record_step(connection, alarm, action, by, now_ms=now_ms)[1]


def record_step(
    connection: sa.Connection, alarm: Alarm, action: str, by: By, *, now_ms: int
) -> tuple[int, AlarmChanged]:
    """Like `record`, with the number of the line."""
    step = kept.add_step(
        connection,
        alarm,
        at_ms=now_ms,
        action=action,
        who=by.who,
        reason=by.reason,
        note=by.note,
        idempotency_key=by.idempotency_key,
    )
    queue(connection, alarm, step, action=action, now_ms=now_ms)
    return step, AlarmChanged(
        alarm.press_id, alarm.press, alarm.alarm_no, alarm.kind, action, alarm.state, alarm.urgency
    )
