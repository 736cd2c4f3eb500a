"""Pages about the alarms as a whole, as frozen dataclasses."""

import dataclasses

from markupsafe import Markup

from server.show.frame import Frame
from server.show.pages import Choice


@dataclasses.dataclass(frozen=True)
class MeasureRow:
    """A figure beside its benchmark; `verdict` in words, `falls_short` when it is not met."""

    name: str
    value: str
    benchmark: str
    verdict: str
    falls_short: bool
    source: str


@dataclasses.dataclass(frozen=True)
class FrequentRow:
    press: str
    href: str
    what: str
    count: str
    share: str
    note: str
    help: str = ""


@dataclasses.dataclass(frozen=True)
class StopRow:
    """A kind out of service on a press."""

    press: str
    what: str
    until_text: str
    who: str
    why: str
    api_href: str


@dataclasses.dataclass(frozen=True)
class PerformancePage:
    frame: Frame
    answer: str
    under: str
    measures: tuple[MeasureRow, ...]
    frequent: tuple[FrequentRow, ...]
    hours: Markup
    hours_text: str
    urgencies: tuple[MeasureRow, ...]
    floods: tuple[str, ...]
    stale: tuple[str, ...]
    stops: tuple[StopRow, ...]
    presses: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    longest_days: str


@dataclasses.dataclass(frozen=True)
class RouteRow:
    """One route in words."""

    number: int
    outlet: str
    recipient: str
    which: str
    when: str
    active: bool


@dataclasses.dataclass(frozen=True)
class MessageRow:
    alarm: str
    outlet: str
    recipient: str
    queued_text: str
    tries: str
    state: str


@dataclasses.dataclass(frozen=True)
class OutletsPage:
    frame: Frame
    answer: str
    under: str
    routes: tuple[RouteRow, ...]
    waiting: tuple[MessageRow, ...]
    dead: tuple[MessageRow, ...]
    sent: tuple[MessageRow, ...]
    outlets: tuple[Choice, ...]
    missing: tuple[str, ...]
    areas: tuple[Choice, ...]
    urgencies: tuple[Choice, ...]
    shifts: tuple[Choice, ...]
