"""Times of the wire: RFC 3339 with an offset, as milliseconds in UTC."""

import datetime as dt
import re
from typing import Final

from server.ingest.faults import RowFault, shown
from server.language import N_

#: A shot may lie this far ahead of the server's clock.
AHEAD_MS: Final = 10 * 60 * 1000
#: 1990-01-01: a time before it comes from a clock that was never set.
EARLIEST_MS: Final = 631_152_000_000
#: 2200-01-01, likewise.
LATEST_MS: Final = 7_258_118_400_000

_SHAPE = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]+)?"
    r"(?:[Zz]|[+-][0-9]{2}:[0-5][0-9])"
).fullmatch
_LOCAL = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?"
).fullmatch
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MS = dt.timedelta(milliseconds=1)
_EXAMPLE = "2026-04-01T06:00:00.000+02:00"


def read_time(text: str) -> int:
    """Milliseconds since 1970 in UTC, rounded down. Raises `RowFault` on the field `at`.

    >>> read_time("2026-04-01T08:00:00.1239+02:00") == read_time("2026-04-01T06:00:00.123Z")
    True
    """
    if _SHAPE(text):
        try:
            at = dt.datetime.fromisoformat(text if text[-1] != "z" else text[:-1] + "Z")
        except ValueError as error:
            raise _fault(text, str(error)) from None
        at_ms = (at - _EPOCH) // _MS
        if EARLIEST_MS <= at_ms < LATEST_MS:
            return at_ms
        raise RowFault(
            "at",
            "clock_not_set",
            N_(
                "at is {value}, not between 1990 and 2200: the press's clock is not set. Set it and"
                " send the right time",
                value=shown(text),
            ),
        )
    raise _fault(text, "")


def _fault(text: str, reason: str) -> RowFault:
    if _SHAPE(text):
        if text[17:19] == "60":
            return RowFault(
                "at",
                "leap_second",
                N_(
                    "at is {value}: second 60 is not kept. Send second 59, or 00 of the next minute",
                    value=shown(text),
                ),
            )
        if text[11:13] == "24":
            return RowFault(
                "at",
                "hour_24",
                N_("at is {value}: hours run from 00 to 23. Send 00:00 of the next day", value=shown(text)),
            )
        return RowFault(
            "at",
            "bad_time",
            N_(
                "at is {value}: {reason}. Send it like {example}",
                value=shown(text),
                reason=reason,
                example=_EXAMPLE,
            ),
        )
    if _LOCAL(text):
        return RowFault(
            "at",
            "no_offset",
            N_(
                "at is {value} without an offset, so it names no moment. Add Z or one like +02:00",
                value=shown(text),
            ),
        )
    return RowFault(
        "at",
        "bad_time",
        N_(
            "at is {value}, which is no RFC 3339 time. Send it like {example}",
            value=shown(text),
            example=_EXAMPLE,
        ),
    )


def check_not_ahead(at_ms: int, received_ms: int) -> None:
    """Raise the replayable fault where a shot is more than ten minutes ahead of the server."""
    if at_ms > received_ms + AHEAD_MS:
        ahead_s = (at_ms - received_ms) // 1000
        raise RowFault(
            "at",
            "in_the_future",
            N_(
                "at is {ahead_s} s ahead of the server, more than 10 min. The row is kept apart and"
                " can be replayed; set the press's clock",
                ahead_s=ahead_s,
            ),
            at_ms=at_ms,
        )
