"""Messages about alarms: queued with the step they tell of, sent when their time comes."""

import logging
from typing import Final

import sqlalchemy as sa

from server.store import outbox as kept
from server.store.alarms import Alarm
from server.store.outbox import Outgoing

log = logging.getLogger("ringtell.alarms")

#: Steps somebody away from the screen is told about.
TOLD: Final = frozenset(
    {
        "opened",
        "came_back",
        "returned",
        "urgency_changed",
        "shelving_ended",
        "released",
        "put_back_in_service",
    }
)
#: States in which an alarm tells nobody, and in which the end of hiding is no news.
QUIET_STATES: Final = frozenset({"suppressed", "out_of_service"})
#: The outlet that is always there: the server's log.
LOG_OUTLET: Final = "log"


def queue(connection: sa.Connection, alarm: Alarm, step: int, *, action: str, now_ms: int) -> None:
    """Put the message about a step into the outbox, in the step's own transaction."""
    ended_unheard = alarm.state == "normal" and action in ("released", "put_back_in_service")
    if action in TOLD and alarm.state not in QUIET_STATES and not ended_unheard:
        kept.queue_message(connection, alarm, step, outlet=LOG_OUTLET, recipient="", now_ms=now_ms)


def deliver(connection: sa.Connection, *, now_ms: int) -> int:
    """Send what is due; how many left. A message may leave twice after a crash, but is never lost."""
    due = kept.due_messages(connection, now_ms=now_ms)
    for message in due:
        log.info("%s", text_of(message))
        kept.mark_delivered(connection, message, now_ms=now_ms)
    return len(due)


def text_of(message: Outgoing) -> str:
    """One line for a log."""
    return (
        f"alarm {message.press}-{message.alarm_no} {message.kind} {message.action}:"
        f" {message.state}, {message.urgency}"
    )
