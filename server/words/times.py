"""Times as text: ages, spans, and local times with their zone."""

import datetime as dt
import zoneinfo
from typing import Final

from server import clock
from server.language import N_, _

SECOND: Final = 1_000
MINUTE: Final = 60 * SECOND
HOUR: Final = 60 * MINUTE
DAY: Final = 24 * HOUR

_MONTHS: Final = (
    N_("Jan"),
    N_("Feb"),
    N_("Mar"),
    N_("Apr"),
    N_("May"),
    N_("Jun"),
    N_("Jul"),
    N_("Aug"),
    N_("Sep"),
    N_("Oct"),
    N_("Nov"),
    N_("Dec"),
)


def span(length_ms: float) -> str:
    """A length of time in its largest sensible unit.

    >>> span(16_000), span(25 * MINUTE), span(3 * HOUR), span(9 * DAY), span(400)
    ('16 s', '25 min', '3 h', '9 days', '0 s')
    """
    length = max(0, int(length_ms))
    if length < 2 * MINUTE:
        return f"{length // SECOND} s"
    if length < 2 * HOUR:
        return _("{length} min", length=length // MINUTE)
    if length < 2 * DAY:
        return f"{length // HOUR} h"
    return _("{length:,d} days", length=length // DAY)


def age(at_ms: int | None, now_ms: int) -> str:
    """How long ago; a time ahead of the server's is said to be.

    >>> age(1_000, 17_000), age(None, 5), age(60_000, 1_000)
    ('16 s ago', 'never', 'ahead of the clock')
    """
    if at_ms is None:
        return "never"
    if at_ms > now_ms + 5 * SECOND:
        return _("ahead of the clock")
    return _("{now} ago", now=span(now_ms - at_ms))


class Zone:
    """The plant's time zone; an unknown name falls back to UTC and says so by its name."""

    def __init__(self, name: str) -> None:
        try:
            self._zone: dt.tzinfo = zoneinfo.ZoneInfo(name)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError):
            self._zone = dt.UTC
        self.name = name

    def local(self, at_ms: int) -> dt.datetime:
        return clock.as_datetime(at_ms).astimezone(self._zone)

    def clock_time(self, at_ms: int) -> str:
        """Hour and minute.

        >>> Zone("Europe/Berlin").clock_time(0)
        '01:00'
        """
        return f"{self.local(at_ms):%H:%M}"

    def clock_with_zone(self, at_ms: int) -> str:
        """
        >>> Zone("Europe/Berlin").clock_with_zone(0)
        '01:00 CET'
        """
        local = self.local(at_ms)
        return f"{local:%H:%M} {local.tzname()}"

    def day(self, at_ms: int, now_ms: int | None = None) -> str:
        """Day and month; with the year when it is not the year of now.

        >>> Zone("UTC").day(0, 1_000), Zone("UTC").day(0, 400 * DAY)
        ('1 Jan', '1 Jan 1970')
        """
        local = self.local(at_ms)
        text = f"{local.day} {_MONTHS[local.month - 1]}"
        if now_ms is not None and self.local(now_ms).year == local.year:
            return text
        return f"{text} {local.year}"

    def moment(self, at_ms: int | None, now_ms: int) -> str:
        """The time today, else day and time.

        >>> Zone("UTC").moment(0, 60_000), Zone("UTC").moment(0, 3 * DAY)
        ('00:00', '1 Jan 00:00')
        """
        if at_ms is None:
            return "–"
        local, now = self.local(at_ms), self.local(now_ms)
        if local.date() == now.date():
            return f"{local:%H:%M}"
        return f"{self.day(at_ms, now_ms)} {local:%H:%M}"

    def iso(self, at_ms: int) -> str:
        """Local time for a machine-readable attribute, with offset."""
        return self.local(at_ms).isoformat(timespec="seconds")

    def offset_minutes(self, at_ms: int) -> int:
        """Minutes to add to UTC for local time, for charts that know no zones."""
        offset = self.local(at_ms).utcoffset()
        return 0 if offset is None else int(offset.total_seconds() // 60)
