"""RFC 3339 times as people and programs send them."""

import datetime as dt
import re

_SHAPE = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?"
    r"(?:[Zz]|[+-][0-9]{2}:[0-5][0-9])"
).fullmatch


def parse_time(text: str) -> dt.datetime | None:
    """An aware time, or None when it is none or lacks its offset. Seconds may be left out.

    >>> parse_time("2026-04-01T08:00+02:00").isoformat()
    '2026-04-01T08:00:00+02:00'
    >>> parse_time("2026-04-01T08:00") is None
    True
    """
    if not _SHAPE(text):
        return None
    try:
        return dt.datetime.fromisoformat(text.upper().replace(" ", "T"))
    except ValueError:
        return None
