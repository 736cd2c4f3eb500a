"""The only reader of the clock. Times are UTC; the store keeps whole milliseconds since 1970."""

import datetime as dt
import time

UTC = dt.UTC


def now_ms() -> int:
    """Milliseconds since 1970-01-01T00:00Z."""
    return time.time_ns() // 1_000_000


def as_datetime(at_ms: int) -> dt.datetime:
    """An aware UTC datetime of a millisecond count."""
    return dt.datetime(1970, 1, 1, tzinfo=UTC) + dt.timedelta(milliseconds=at_ms)


def as_text(at_ms: int) -> str:
    """RFC 3339 in UTC with milliseconds, e.g. `2026-04-01T06:00:00.000Z`."""
    return as_datetime(at_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def from_datetime(at: dt.datetime) -> int:
    """Milliseconds of an aware datetime, rounded half down to the millisecond."""
    if at.tzinfo is None:
        raise ValueError(f"a time needs its offset: {at.isoformat()}")
    return (at - dt.datetime(1970, 1, 1, tzinfo=UTC)) // dt.timedelta(milliseconds=1)
