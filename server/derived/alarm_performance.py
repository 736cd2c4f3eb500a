"""How the alarms themselves do: rates, floods, the ten that come most, stale and chattering ones.

Measured against published benchmarks for one operator position; the source stands beside each.
"""

import dataclasses
from collections import Counter
from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from server.contract import URGENCIES
from server.language import N_
from server.maths.results import Undetermined
from server.store import alarm_history as history
from server.store import alarms as kept
from server.store.alarm_history import Rise
from server.store.alarms import Alarm

TEN_MINUTES_MS: Final = 600_000
HOUR_MS: Final = 3_600_000
STALE_MS: Final = 24 * HOUR_MS
#: A flood begins with more than so many alarms in ten minutes and ends with fewer than so many.
FLOOD_ABOVE, FLOOD_BELOW = 10, 5
HOUR_FULL: Final = 30
_QUIET: Final = ("suppressed", "out_of_service", "shelved")

_ISA = N_("ISA-18.2 / IEC 62682, read in secondary public sources")
_RATE, _FLOOD = _ISA + ", 16.4.3", _ISA + ", 16.4.4"


@dataclasses.dataclass(frozen=True)
class Measure:
    """One figure beside its benchmark. `met` None: cannot be judged."""

    id: str
    value: float | Undetermined
    most: float
    below: bool
    unit: str
    source: str

    @property
    def met(self) -> bool | None:
        if isinstance(self.value, Undetermined):
            return None
        return self.value < self.most if self.below else self.value <= self.most


@dataclasses.dataclass(frozen=True)
class Frequent:
    """One kind of alarm of one press, how often it came, and its share (0 to 1) of all."""

    press: str
    name: str
    kind: str
    count: int
    share: float
    chattering: bool


@dataclasses.dataclass(frozen=True)
class Flood:
    """A stretch of too many alarms; `count` of them in all."""

    from_ms: int
    to_ms: int
    count: int


@dataclasses.dataclass(frozen=True)
class UrgencyShare:
    """How many alarms of an urgency, their share (0 to 1), and the recommended one."""

    urgency: str
    count: int
    share: float
    recommended: float


@dataclasses.dataclass(frozen=True)
class Performance:
    from_ms: int
    to_ms: int
    alarms: int
    measures: tuple[Measure, ...]
    frequent: tuple[Frequent, ...]
    floods: tuple[Flood, ...]
    stale: tuple[Alarm, ...]
    chattering: tuple[tuple[str, str], ...]
    #: Alarms in each hour of the day before `to_ms`, oldest first.
    hours: tuple[int, ...]
    urgencies: tuple[UrgencyShare, ...]


#: Share of now, this shift, this week that is recommended about (EEMUA 191 / ISA-18.2, from memory).
SHAPE: Final = (0.05, 0.15, 0.80)


def measure_alarms(connection: sa.Connection, *, now_ms: int, days: int = 30) -> Performance:
    """Everything about the last days, or since the first alarm where that is later."""
    wanted_ms = now_ms - days * 24 * HOUR_MS
    rises = history.rises_between(connection, from_ms=wanted_ms, to_ms=now_ms + 1)
    first_ms = history.first_alarm_ms(connection)
    from_ms = wanted_ms if first_ms is None else max(wanted_ms, min(first_ms, now_ms))
    falls = history.returns_between(connection, from_ms=wanted_ms, to_ms=now_ms + 1)
    opened = kept.open_alarms(connection)
    stale = tuple(alarm for alarm in opened if is_stale(alarm, now_ms=now_ms))
    flickering = _flickering(rises, falls)
    frequent = _frequent(rises, flickering)
    floods = find_floods([rise.at_ms for rise in rises], until_ms=now_ms)
    return Performance(
        from_ms=from_ms,
        to_ms=now_ms,
        alarms=len(rises),
        measures=_measures(rises, floods, stale, flickering, frequent, from_ms, now_ms),
        frequent=frequent,
        floods=floods,
        stale=stale,
        chattering=tuple(sorted(flickering)),
        hours=_hours(rises, now_ms),
        urgencies=_urgencies(history.urgencies_since(connection, since_ms=wanted_ms)),
    )


def is_stale(alarm: Alarm, *, now_ms: int) -> bool:
    """Whether an alarm stands longer than a day without being kept quiet on purpose."""
    return alarm.state not in _QUIET and now_ms - alarm.opened_ms > STALE_MS


def find_floods(moments: Sequence[int], *, until_ms: int) -> tuple[Flood, ...]:
    """Floods in ordered moments: more than ten in ten minutes until fewer than five in ten minutes.

    >>> find_floods([i * 1000 for i in range(12)], until_ms=10**7)
    (Flood(from_ms=0, to_ms=607000, count=12),)
    >>> find_floods([i * 1000 for i in range(10)], until_ms=10**7)
    ()
    """
    floods: list[Flood] = []
    start = 0
    while start + FLOOD_ABOVE < len(moments):
        if moments[start + FLOOD_ABOVE] - moments[start] >= TEN_MINUTES_MS:
            start += 1
            continue
        last = start + FLOOD_ABOVE
        # It goes on while the next alarm comes before the count of ten minutes has fallen below five.
        while last + 1 < len(moments) and moments[last + 1] <= _falls_below(moments, last):
            last += 1
        end_ms = min(_falls_below(moments, last), until_ms)
        floods.append(Flood(moments[start], end_ms, last - start + 1))
        start = last + 1
    return tuple(floods)


def _falls_below(moments: Sequence[int], last: int) -> int:
    """When fewer than five of the alarms up to `last` lie within the past ten minutes."""
    return moments[last - FLOOD_BELOW + 1] + TEN_MINUTES_MS


def _flickering(rises: Sequence[Rise], falls: Sequence[tuple[int, str, int]]) -> set[tuple[str, str]]:
    names = {rise.press_id: rise.press for rise in rises}
    ups: dict[tuple[int, str], list[int]] = {}
    downs: dict[tuple[int, str], list[int]] = {}
    for rise in rises:
        ups.setdefault((rise.press_id, rise.kind), []).append(rise.at_ms)
    for press_id, kind, at_ms in falls:
        downs.setdefault((press_id, kind), []).append(at_ms)
    return {
        (names[press_id], kind)
        for (press_id, kind), moments in ups.items()
        if history.is_chattering(moments, downs.get((press_id, kind), []))
    }


def _frequent(rises: Sequence[Rise], flickering: set[tuple[str, str]]) -> tuple[Frequent, ...]:
    counted = Counter((rise.press, rise.name, rise.kind) for rise in rises)
    order = sorted(counted.items(), key=lambda one: (-one[1], one[0]))
    return tuple(
        Frequent(press, name, kind, count, count / len(rises), (press, kind) in flickering)
        for (press, name, kind), count in order[:10]
    )


def _measures(
    rises: Sequence[Rise],
    floods: Sequence[Flood],
    stale: Sequence[Alarm],
    flickering: set[tuple[str, str]],
    frequent: Sequence[Frequent],
    from_ms: int,
    now_ms: int,
) -> tuple[Measure, ...]:
    span_ms = now_ms - from_ms
    tens = Counter(rise.at_ms // TEN_MINUTES_MS for rise in rises)
    hours = Counter(rise.at_ms // HOUR_MS for rise in rises)
    flooded_ms = sum(flood.to_ms - flood.from_ms for flood in floods)
    top_ten = _top_ten(rises, frequent)
    busiest = float(max(tens.values(), default=0))
    full_tens = sum(count > FLOOD_ABOVE for count in tens.values())
    full_hours = sum(count > HOUR_FULL for count in hours.values())
    return (
        Measure("rate", _per(len(rises), TEN_MINUTES_MS, span_ms), 1.0, False, "per_10_min", _ISA),
        Measure("busiest", busiest, FLOOD_ABOVE, False, "alarms", _RATE),
        Measure("full_tens", _per(full_tens, TEN_MINUTES_MS, span_ms), 0.01, True, "share", _RATE),
        Measure("full_hours", _per(full_hours, HOUR_MS, span_ms), 0.01, True, "share", _RATE),
        Measure("flooded", _per(flooded_ms, 1, span_ms), 0.01, True, "share", _FLOOD),
        Measure("top_ten", top_ten, 0.05, False, "share", _ISA + ", 16.4.5"),
        Measure("chattering", float(len(flickering)), 0.0, False, "alarms", _ISA + ", 16.4.6"),
        Measure("stale", float(len(stale)), 5.0, True, "alarms", _ISA + ", 16.4.7"),
    )


def _top_ten(rises: Sequence[Rise], frequent: Sequence[Frequent]) -> float | Undetermined:
    """Share of the ten that come most; where there are no more than ten, it says nothing."""
    if len({(rise.press_id, rise.kind) for rise in rises}) <= 10:
        return Undetermined(N_("no more than ten different alarms came"))
    return sum(one.share for one in frequent)


def _per(count: float, each_ms: int, span_ms: int) -> float | Undetermined:
    if span_ms < each_ms or span_ms <= 0:
        return Undetermined(N_("alarms have been counted for too short a time"))
    return count * each_ms / span_ms


def _hours(rises: Sequence[Rise], now_ms: int) -> tuple[int, ...]:
    counted = Counter((now_ms - rise.at_ms) // HOUR_MS for rise in rises)
    return tuple(counted[ago] for ago in range(23, -1, -1))


def _urgencies(counts: dict[str, int]) -> tuple[UrgencyShare, ...]:
    total = sum(counts.values())
    return tuple(
        UrgencyShare(urgency, counts.get(urgency, 0), counts.get(urgency, 0) / total if total else 0.0, share)
        for urgency, share in zip(URGENCIES, SHAPE, strict=True)
    )
