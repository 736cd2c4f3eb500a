"""Messages about alarms: queued with the step they tell of, for everybody the routes name."""

from typing import Any, Final

import sqlalchemy as sa

from server.contract import URGENCIES
from server.store import alarm_history
from server.store import outbox as kept
from server.store.alarms import Alarm
from server.store.outlet_routes import Route, routes
from server.store.plant import press_by_id, read_settings
from server.words.shifts import shift_at
from server.words.times import Zone

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
        "escalated",
    }
)
#: States in which an alarm tells nobody.
QUIET_STATES: Final = frozenset({"suppressed", "out_of_service", "shelved"})
#: Steps that only say that an alarm goes to and fro; told at most so often, or a flickering one floods.
_TO_AND_FRO: Final = frozenset({"came_back", "returned"})
#: The outlet that is always there: the server's log.
LOG_OUTLET: Final = "log"


def queue(connection: sa.Connection, alarm: Alarm, step: int, *, action: str, now_ms: int) -> None:
    """Put the messages about a step into the outbox, in the step's own transaction."""
    if action == "escalated" or not _is_told(alarm, action):
        return
    kept.queue_message(connection, alarm, step, outlet=LOG_OUTLET, recipient="", now_ms=now_ms)
    known = [route for route in routes(connection) if route.level == 0]
    if not known or (action in _TO_AND_FRO and _chatters(connection, alarm, now_ms=now_ms)):
        return
    send_along(connection, matching(connection, known, alarm, now_ms=now_ms), alarm, step, now_ms=now_ms)


def send_along(
    connection: sa.Connection, chosen: list[Route], alarm: Alarm, step: int, *, now_ms: int
) -> None:
    """One message for each outlet and recipient, however many routes lead there."""
    for outlet, recipient in sorted({(route.outlet, route.recipient) for route in chosen}):
        if outlet != LOG_OUTLET:
            kept.queue_message(connection, alarm, step, outlet=outlet, recipient=recipient, now_ms=now_ms)


def matching(connection: sa.Connection, known: list[Route], alarm: Alarm, *, now_ms: int) -> list[Route]:
    """The active routes that speak of this alarm now: its area, at least their urgency, their shift."""
    area = press_by_id(connection, alarm.press_id).area
    shift = _shift_start(read_settings(connection), now_ms)
    return [route for route in known if _fits(route, area=area, urgency=alarm.urgency, shift=shift)]


def _fits(route: Route, *, area: str, urgency: str, shift: str) -> bool:
    if not route.active or route.area not in ("", area) or route.shift not in ("", shift):
        return False
    return not route.urgency or URGENCIES.index(urgency) <= URGENCIES.index(route.urgency)


def _shift_start(settings: dict[str, Any], now_ms: int) -> str:
    """When the shift began, as the settings write it."""
    zone = Zone(str(settings["time_zone"]))
    begun = shift_at(now_ms, starts=settings["shifts"], zone=zone)
    return zone.local(begun.from_ms).strftime("%H:%M")


def _is_told(alarm: Alarm, action: str) -> bool:
    if action not in TOLD or alarm.state in QUIET_STATES:
        return False
    # What ends as it is released was never told of.
    return not (alarm.state == "normal" and action in ("released", "put_back_in_service"))


def _chatters(connection: sa.Connection, alarm: Alarm, *, now_ms: int) -> bool:
    return alarm_history.chatters(connection, alarm.press_id, alarm.kind, now_ms=now_ms)
