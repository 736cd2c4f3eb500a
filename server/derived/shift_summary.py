"""The shift so far: what opened since it began, who answered what, and what stays open."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.store import alarm_history as history
from server.store import alarms as kept
from server.store.alarm_history import Told
from server.store.alarms import Alarm
from server.store.containments import held_lines
from server.store.plant import read_settings
from server.words.shifts import Shift, shift_at
from server.words.times import Zone


@dataclasses.dataclass(frozen=True)
class ShiftSummary:
    """What opened, who answered what, what stays open, since the shift began."""

    shift: Shift
    opened: tuple[Told, ...]
    answered: tuple[Told, ...]
    staying: tuple[Alarm, ...]
    #: Open records of held parts, a line each.
    parts_held: tuple[str, ...] = ()

    def as_facts(self) -> dict[str, Any]:
        """What JSON can carry, kept with a hand-over."""
        return {
            "opened": [f"{one.press}-{one.alarm_no}" for one in self.opened],
            "answered": [
                {"alarm": f"{one.press}-{one.alarm_no}", "who": one.who, "reason": one.reason}
                for one in self.answered
            ],
            "staying": [
                {"alarm": f"{one.press}-{one.alarm_no}", "urgency": one.urgency, "state": one.state}
                for one in self.staying
            ],
            "parts_held": list(self.parts_held),
        }


def shift_now(connection: sa.Connection, *, now_ms: int) -> Shift:
    """The shift that runs, by the plant's settings."""
    settings = read_settings(connection)
    return shift_at(now_ms, starts=settings["shifts"], zone=Zone(str(settings["time_zone"])))


def summarise(connection: sa.Connection, *, now_ms: int) -> ShiftSummary:
    """The shift so far."""
    shift = shift_now(connection, now_ms=now_ms)
    steps = history.steps_since(connection, since_ms=shift.from_ms, actions=("opened", "acknowledged"))
    return ShiftSummary(
        shift=shift,
        opened=tuple(one for one in steps if one.action == "opened"),
        answered=tuple(one for one in steps if one.action == "acknowledged"),
        staying=tuple(kept.open_alarms(connection)),
        parts_held=held_lines(connection),
    )
