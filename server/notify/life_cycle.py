"""The life of an alarm as a pure state machine, with the states of IEC 62682.

An alarm is its condition (active or not), whether somebody has acknowledged it, and what keeps it from
calling: the shelf, suppression by design, out of service. The state follows from these. It ends when
nothing keeps it, the condition is gone, and somebody knew or nobody was ever called.
"""

import dataclasses
from typing import Final

NORMAL: Final = "normal"
UNACKNOWLEDGED: Final = "unacknowledged"
ACKNOWLEDGED: Final = "acknowledged"
RETURNED: Final = "returned_unacknowledged"
SHELVED: Final = "shelved"
SUPPRESSED: Final = "suppressed"
OUT_OF_SERVICE: Final = "out_of_service"

OPEN_STATES: Final = (UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED, SUPPRESSED, OUT_OF_SERVICE)
#: States in which somebody is being called.
WAITING_STATES: Final = (UNACKNOWLEDGED, RETURNED)


@dataclasses.dataclass(frozen=True)
class Standing:
    """Where an alarm stands. `shelved_until_ms` None: not shelved; `suppressed_by` '': not suppressed.

    called: the condition held at a time when neither suppression nor being out of service kept
    people from hearing of it; only then must somebody answer.
    """

    active: bool
    acknowledged: bool = False
    shelved_until_ms: int | None = None
    suppressed_by: str = ""
    out_of_service: bool = False
    called: bool = True

    @property
    def state(self) -> str:
        """The IEC 62682 state.

        >>> Standing(active=True).state, Standing(active=False).state
        ('unacknowledged', 'returned_unacknowledged')
        >>> Standing(active=False, acknowledged=True).state
        'normal'
        >>> Standing(active=True, suppressed_by="startup").state
        'suppressed'
        """
        if self.out_of_service:
            return OUT_OF_SERVICE
        if self.suppressed_by:
            return SUPPRESSED
        if self.shelved_until_ms is not None:
            return SHELVED
        if self.active:
            return ACKNOWLEDGED if self.acknowledged else UNACKNOWLEDGED
        return NORMAL if self.acknowledged or not self.called else RETURNED

    @property
    def is_hidden(self) -> bool:
        """Kept from calling by design or by being out of service."""
        return self.out_of_service or bool(self.suppressed_by)

    @property
    def has_ended(self) -> bool:
        return self.state == NORMAL


@dataclasses.dataclass(frozen=True)
class Move:
    """What happened to an alarm: the new standing and the name of the step ('' for none)."""

    standing: Standing
    action: str


def opened(*, active: bool, suppressed_by: str = "", out_of_service: bool = False) -> Move:
    """A new alarm. Not active: it came and went before anybody could see it."""
    standing = Standing(active=active, suppressed_by=suppressed_by, out_of_service=out_of_service)
    return Move(dataclasses.replace(standing, called=not standing.is_hidden), "opened")


def with_condition(standing: Standing, *, active: bool) -> Move:
    """The condition was looked at again.

    One that comes back on an alarm nobody acknowledged is the same alarm; an ended alarm never
    moves again, so that what comes later is a new one. Where the alarm stayed open after an
    acknowledgement only because it was kept from calling, what comes back was not acknowledged.
    """
    if standing.has_ended or standing.active == active:
        return Move(standing, "")
    if not active:
        return Move(dataclasses.replace(standing, active=False), "returned")
    back = dataclasses.replace(standing, active=True, acknowledged=False)
    return Move(_heard(back), "came_back")


def acknowledge(standing: Standing) -> Move:
    """Somebody has seen it. Again: nothing changes. A shelved alarm stays shelved."""
    if standing.acknowledged or standing.has_ended:
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


def suppress(standing: Standing, *, reason: str) -> Move:
    """Suppression by design begins, goes on for another reason, or ends ('')."""
    if standing.has_ended or standing.suppressed_by == reason:
        return Move(standing, "")
    after = dataclasses.replace(standing, suppressed_by=reason)
    return Move(_heard(after), "suppressed" if reason else "released")


def set_service(standing: Standing, *, out_of_service: bool) -> Move:
    """Taken out of service, or put back."""
    if standing.has_ended or standing.out_of_service == out_of_service:
        return Move(standing, "")
    after = dataclasses.replace(standing, out_of_service=out_of_service)
    return Move(_heard(after), "taken_out_of_service" if out_of_service else "put_back_in_service")


def _heard(standing: Standing) -> Standing:
    """People are called from the moment an active condition is hidden no longer."""
    if standing.active and not standing.is_hidden and not standing.called:
        return dataclasses.replace(standing, called=True)
    return standing
