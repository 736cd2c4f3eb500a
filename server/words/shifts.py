"""Which shift it is: the plant states when its shifts begin."""

import dataclasses
import datetime as dt
from collections.abc import Sequence

from server import clock
from server.language import N_, _
from server.words.times import Zone

_NAMES = {1: ("",), 2: (N_("early"), N_("late")), 3: (N_("early"), N_("late"), N_("night"))}


@dataclasses.dataclass(frozen=True)
class Shift:
    """The shift a moment lies in. `name` is empty where the plant has one shift."""

    name: str
    from_ms: int


def shift_at(at_ms: int, *, starts: Sequence[str], zone: Zone) -> Shift:
    """The shift of a moment; `starts` are local times like `06:00`.

    >>> shift_at(10 * 3_600_000, starts=["06:00", "14:00", "22:00"], zone=Zone("UTC"))
    Shift(name='early', from_ms=21600000)
    >>> shift_at(2 * 3_600_000, starts=["06:00", "14:00", "22:00"], zone=Zone("UTC")).name
    'night'
    """
    times = sorted(_minutes(text) for text in starts) or [0]
    local = zone.local(at_ms)
    minute = local.hour * 60 + local.minute
    day = local.date()
    begun = [start for start in times if start <= minute]
    if begun:
        start = begun[-1]
    else:
        start, day = times[-1], day - dt.timedelta(days=1)
    names = _NAMES.get(len(times), tuple(_("shift {i}", i=i + 1) for i in range(len(times))))
    at = dt.datetime.combine(day, dt.time(start // 60, start % 60), tzinfo=local.tzinfo)
    return Shift(name=names[times.index(start)], from_ms=clock.from_datetime(at))


def _minutes(text: str) -> int:
    hour, _, minute = text.partition(":")
    try:
        return int(hour) % 24 * 60 + int(minute or 0) % 60
    except ValueError:
        return 0
