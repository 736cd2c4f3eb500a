"""What waits to be sent about alarms, what has been, and what was given up."""

import dataclasses
import hashlib
from typing import Any

import sqlalchemy as sa

from server.store.alarms import Alarm
from server.store.numbering import next_of_plant
from server.store.tables import alarm_steps, alarms, outbox, presses

#: Stands for the press of a message that is about no alarm: a test of an outlet.
NO_PRESS = 0


#: An outlet and one of its recipients.
Lane = tuple[str, str]


@dataclasses.dataclass(frozen=True)
class Outgoing:
    """One message about one step, for one recipient of one outlet. `press` '' for a test message."""

    press: str
    name: str
    area: str
    press_id: int
    alarm_no: int
    step: int
    outlet: str
    recipient: str
    tries: int
    created_ms: int
    kind: str
    cause: str
    action: str
    state: str
    urgency: str
    note: str

    @property
    def message_id(self) -> str:
        """The same for every try, so that a receiver knows a message it has seen.

        Made of what the message is about, when it was queued, and for whom.
        """
        key = (self.press_id, self.alarm_no, self.step, self.created_ms, self.outlet, self.recipient)
        return hashlib.sha256(repr(key).encode()).hexdigest()[:32]


@dataclasses.dataclass(frozen=True)
class Queued:
    """A message as the list of what waits and what failed shows it."""

    press: str
    alarm_no: int
    outlet: str
    recipient: str
    created_ms: int
    tries: int
    next_try_ms: int
    delivered_ms: int | None
    dead_ms: int | None
    trouble: str


def queue_message(
    connection: sa.Connection, alarm: Alarm, step: int, *, outlet: str, recipient: str, now_ms: int
) -> None:
    """Put one message into the outbox, in the transaction of the step it tells of."""
    _queue(connection, alarm.press_id, alarm.alarm_no, step, outlet, recipient, now_ms)


def queue_test(connection: sa.Connection, *, outlet: str, recipient: str, now_ms: int) -> int:
    """Put a test message into the outbox; its number."""
    tests = (outbox.c.press_id == NO_PRESS, outbox.c.alarm_no == 0)
    number = next_of_plant(connection, outbox.c.step, *tests)
    _queue(connection, NO_PRESS, 0, number, outlet, recipient, now_ms)
    return number


def _queue(
    connection: sa.Connection,
    press_id: int,
    alarm_no: int,
    step: int,
    outlet: str,
    recipient: str,
    now_ms: int,
) -> None:
    connection.execute(
        sa.insert(outbox).values(
            press_id=press_id,
            alarm_no=alarm_no,
            step=step,
            outlet=outlet,
            recipient=recipient,
            created_ms=now_ms,
            next_try_ms=now_ms,
        )
    )


def _waiting(now_ms: int, lost_ms: int) -> sa.ColumnElement[bool]:
    return sa.and_(
        outbox.c.delivered_ms.is_(None),
        outbox.c.dead_ms.is_(None),
        outbox.c.next_try_ms <= now_ms,
        sa.or_(outbox.c.claimed_ms.is_(None), outbox.c.claimed_ms <= lost_ms),
    )


def _outgoing() -> sa.Select[Any]:
    about_alarm = sa.and_(alarms.c.press_id == outbox.c.press_id, alarms.c.alarm_no == outbox.c.alarm_no)
    about_step = sa.and_(
        alarm_steps.c.press_id == outbox.c.press_id,
        alarm_steps.c.alarm_no == outbox.c.alarm_no,
        alarm_steps.c.step == outbox.c.step,
    )
    text = sa.func.coalesce
    return (
        sa.select(
            text(presses.c.press, "").label("press"),
            text(presses.c.name, "").label("name"),
            text(presses.c.area, "").label("area"),
            outbox.c.press_id,
            outbox.c.alarm_no,
            outbox.c.step,
            outbox.c.outlet,
            outbox.c.recipient,
            outbox.c.tries,
            outbox.c.created_ms,
            text(alarms.c.kind, "").label("kind"),
            text(alarms.c.cause, "").label("cause"),
            text(alarm_steps.c.action, "test").label("action"),
            text(alarm_steps.c.state, "").label("state"),
            text(alarms.c.urgency, "").label("urgency"),
            text(alarm_steps.c.note, "").label("note"),
        )
        .outerjoin(presses, presses.c.press_id == outbox.c.press_id)
        .outerjoin(alarms, about_alarm)
        .outerjoin(alarm_steps, about_step)
    )


def due_lanes(connection: sa.Connection, *, now_ms: int, lost_ms: int = -1) -> list[Lane]:
    """Whom something is due for, who waits longest first."""
    rows = connection.execute(
        sa.select(outbox.c.outlet, outbox.c.recipient)
        .where(_waiting(now_ms, lost_ms))
        .group_by(outbox.c.outlet, outbox.c.recipient)
        .order_by(sa.func.min(outbox.c.next_try_ms), outbox.c.outlet, outbox.c.recipient)
        .limit(1_000)
    )
    return [(str(row.outlet), str(row.recipient)) for row in rows]


def due_messages(
    connection: sa.Connection, *, now_ms: int, lost_ms: int = -1, limit: int = 200, lane: Lane | None = None
) -> list[Outgoing]:
    """Messages whose next try is due, of everybody or of one lane, the oldest first.

    lost_ms: a claim made then or earlier counts for nothing; its courier never came back.
    """
    mine = () if lane is None else (outbox.c.outlet == lane[0], outbox.c.recipient == lane[1])
    rows = connection.execute(
        _outgoing()
        .where(_waiting(now_ms, lost_ms), *mine)
        .order_by(outbox.c.created_ms, outbox.c.press_id, outbox.c.alarm_no, outbox.c.step)
        .limit(limit)
    )
    return [Outgoing(**row._mapping) for row in rows]


def _is(message: Outgoing) -> sa.ColumnElement[bool]:
    return sa.and_(
        outbox.c.press_id == message.press_id,
        outbox.c.alarm_no == message.alarm_no,
        outbox.c.step == message.step,
        outbox.c.outlet == message.outlet,
        outbox.c.recipient == message.recipient,
    )


def claim(connection: sa.Connection, message: Outgoing, *, now_ms: int, lost_ms: int) -> bool:
    """Take a message to send it; False when another courier has it."""
    done = connection.execute(
        sa.update(outbox).where(_is(message), _waiting(now_ms, lost_ms)).values(claimed_ms=now_ms)
    )
    return bool(done.rowcount == 1)


def mark_delivered(connection: sa.Connection, message: Outgoing, *, now_ms: int) -> None:
    connection.execute(
        sa.update(outbox)
        .where(_is(message))
        .values(delivered_ms=now_ms, tries=message.tries + 1, claimed_ms=None, trouble="")
    )


def mark_failed(
    connection: sa.Connection, message: Outgoing, *, trouble: str, next_try_ms: int | None, now_ms: int
) -> None:
    """The try failed; next_try_ms None: given up."""
    connection.execute(
        sa.update(outbox)
        .where(_is(message))
        .values(
            tries=message.tries + 1,
            claimed_ms=None,
            trouble=trouble[:500],
            next_try_ms=now_ms if next_try_ms is None else next_try_ms,
            dead_ms=now_ms if next_try_ms is None else None,
        )
    )


def try_again(connection: sa.Connection, *, now_ms: int) -> int:
    """Everything that was given up is due again; how many."""
    given_up = sa.update(outbox).where(outbox.c.dead_ms.is_not(None))
    done = connection.execute(given_up.values(dead_ms=None, next_try_ms=now_ms, tries=0))
    return int(done.rowcount)


def messages(connection: sa.Connection, *, which: str, limit: int = 50) -> list[Queued]:
    """`waiting`, `dead` or `sent` messages of every outlet but the log, newest first."""
    conditions = {
        "waiting": sa.and_(outbox.c.delivered_ms.is_(None), outbox.c.dead_ms.is_(None)),
        "dead": outbox.c.dead_ms.is_not(None),
        "sent": outbox.c.delivered_ms.is_not(None),
    }
    columns = [outbox.c[field.name] for field in dataclasses.fields(Queued) if field.name != "press"]
    rows = connection.execute(
        sa.select(sa.func.coalesce(presses.c.press, "").label("press"), *columns)
        .outerjoin(presses, presses.c.press_id == outbox.c.press_id)
        .where(conditions[which], outbox.c.outlet != "log")
        .order_by(outbox.c.created_ms.desc(), outbox.c.press_id, outbox.c.alarm_no, outbox.c.step.desc())
        .limit(limit)
    )
    return [Queued(**row._mapping) for row in rows]
