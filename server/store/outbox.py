"""What waits to be sent about alarms, and what has been."""

import dataclasses

import sqlalchemy as sa

from server.store.alarms import Alarm
from server.store.tables import alarm_steps, alarms, outbox, presses


@dataclasses.dataclass(frozen=True)
class Outgoing:
    """One message about one step, waiting for one recipient of one outlet."""

    press: str
    press_id: int
    alarm_no: int
    step: int
    outlet: str
    recipient: str
    tries: int
    kind: str
    action: str
    state: str
    urgency: str


def queue_message(
    connection: sa.Connection, alarm: Alarm, step: int, *, outlet: str, recipient: str, now_ms: int
) -> None:
    connection.execute(
        sa.insert(outbox).values(
            press_id=alarm.press_id,
            alarm_no=alarm.alarm_no,
            step=step,
            outlet=outlet,
            recipient=recipient,
            created_ms=now_ms,
            next_try_ms=now_ms,
        )
    )


def due_messages(connection: sa.Connection, *, now_ms: int, limit: int = 200) -> list[Outgoing]:
    """Messages whose next try is due, the oldest first."""
    rows = connection.execute(
        sa.select(
            presses.c.press,
            outbox.c.press_id,
            outbox.c.alarm_no,
            outbox.c.step,
            outbox.c.outlet,
            outbox.c.recipient,
            outbox.c.tries,
            alarms.c.kind,
            alarm_steps.c.action,
            alarm_steps.c.state,
            alarms.c.urgency,
        )
        .join(presses, presses.c.press_id == outbox.c.press_id)
        .join(alarms, sa.and_(alarms.c.press_id == outbox.c.press_id, alarms.c.alarm_no == outbox.c.alarm_no))
        .join(
            alarm_steps,
            sa.and_(
                alarm_steps.c.press_id == outbox.c.press_id,
                alarm_steps.c.alarm_no == outbox.c.alarm_no,
                alarm_steps.c.step == outbox.c.step,
            ),
        )
        .where(outbox.c.delivered_ms.is_(None), outbox.c.next_try_ms <= now_ms)
        .order_by(outbox.c.created_ms, outbox.c.press_id, outbox.c.alarm_no, outbox.c.step)
        .limit(limit)
    )
    return [Outgoing(**row._mapping) for row in rows]


def mark_delivered(connection: sa.Connection, message: Outgoing, *, now_ms: int) -> None:
    connection.execute(
        sa.update(outbox)
        .where(
            outbox.c.press_id == message.press_id,
            outbox.c.alarm_no == message.alarm_no,
            outbox.c.step == message.step,
            outbox.c.outlet == message.outlet,
            outbox.c.recipient == message.recipient,
        )
        .values(delivered_ms=now_ms, tries=message.tries + 1)
    )
