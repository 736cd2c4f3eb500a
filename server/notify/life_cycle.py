"""The life of an alarm as a pure state machine, with the states of IEC 62682.

An alarm is its condition (active or not), whether somebody has acknowledged it, and whether it is
shelved; the state follows from the three. It ends when the condition is gone and somebody knew.
"""

import dataclasses
from typing import Final

NORMAL: Final = "normal"
UNACKNOWLEDGED: Final = "unacknowledged"
ACKNOWLEDGED: Final = "acknowledged"
RETURNED: Final = "returned_unacknowledged"
SHELVED: Final = "shelved"

OPEN_STATES: Final = (UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED)


@dataclasses.dataclass(frozen=True)
class Standing:
    """Where an alarm stands. `shelved_until_ms` None: not shelved."""

    active: bool
    acknowledged: bool = False
    shelved_until_ms: int | None = None

    @property
    def state(self) -> str:
        """The IEC 62682 state.

        >>> Standing(active=True).state, Standing(active=False).state
        ('unacknowledged', 'returned_unacknowledged')
        >>> Standing(active=False, acknowledged=True).state
        'normal'
        """
        if self.shelved_until_ms is not None:
            return SHELVED
        if self.active:
            return ACKNOWLEDGED if self.acknowledged else UNACKNOWLEDGED
        return NORMAL if self.acknowledged else RETURNED

    @property
    def has_ended(self) -> bool:
        return self.state == NORMAL


@dataclasses.dataclass(frozen=True)
class Move:
    """What happened to an alarm: the new standing and the name of the step ('' for none)."""

    standing: Standing
    action: str


def opened(*, active: bool) -> Move:
    """A new alarm. Not active: it came and went before anybody could see it."""
    return Move(Standing(active=active), "opened")


def with_condition(standing: Standing, *, active: bool) -> Move:
    """The condition was looked at again.

    One that comes back on an alarm nobody acknowledged is the same alarm; an ended alarm never
    moves again, so that what comes later is a new one.
    """
    if standing.has_ended or standing.active == active:
        return Move(standing, "")
    return Move(dataclasses.replace(standing, active=active), "came_back" if active else "returned")


def acknowledge(standing: Standing) -> Move:
    """Somebody has seen it. Again: nothing changes. A shelved alarm stays shelved."""
    if standing.acknowledged:
        return Move(standing, "")
    return Move(dataclasses.replace(standing, acknowledged=True), "acknowledged")


def shelve(standing: Standing, *, until_ms: int) -> Move:
    """Put an open alarm aside until a time; shelving again moves the end."""
    if standing.has_ended:
        return Move(standing, "")
    return Move(dataclasses.replace(standing, shelved_until_ms=until_ms), "shelved")


def unshelve(standing: Standing) -> Move:
    """Take it off the shelf: back to what condition and acknowledgement say."""
    if standing.shelved_until_ms is None:
        return Move(standing, "")
    return Move(dataclasses.replace(standing, shelved_until_ms=None), "unshelved")


def passed(standing: Standing, *, now_ms: int) -> Move:
    """Time has passed: the end of shelving."""
    if standing.shelved_until_ms is None or now_ms < standing.shelved_until_ms:
        return Move(standing, "")
    return Move(unshelve(standing).standing, "shelving_ended")
