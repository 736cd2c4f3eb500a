"""Times of a press's own clock: in which order day and month stand, and which moment they name.

A log without offsets is read in a zone. In spring an hour is skipped: such a time names no moment.
In autumn an hour is passed twice: which of the two it was is told from the order of the rows.
"""

import dataclasses
import datetime as dt
import functools
import itertools
import re
from collections.abc import Iterable
from typing import Final, Literal
from zoneinfo import ZoneInfo

Order = Literal["year_first", "day_first", "month_first"]
ORDERS: Final[tuple[Order, ...]] = ("year_first", "day_first", "month_first")

_EPOCH: Final = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MS: Final = dt.timedelta(milliseconds=1)
_DATE = (
    r"(?:(?P<y>\d{4})[-./](?P<m>\d{1,2})[-./](?P<d>\d{1,2})"
    r"|(?P<a>\d{1,2})[-./](?P<b>\d{1,2})[-./](?P<y2>\d{4}|\d{2})"
    r"|(?P<c>\d{8}))"
)
_CLOCK = (
    r"(?P<h>\d{1,2}):(?P<min>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?"
    r"\s*(?P<half>[AaPp]\.?[Mm]\.?)?"
)
_OFFSET = r"(?P<o>[Zz]|[+-]\d{2}:?\d{2})?"
_TIME = re.compile(rf"\s*{_DATE}(?:[T ,]\s*{_CLOCK})?\s*{_OFFSET}\s*", re.ASCII).fullmatch


class TimeTroubleError(Exception):
    """Why a text names no moment. `code` is stable."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


@dataclasses.dataclass(frozen=True)
class OrderFound:
    """Which order the dates of a column have.

    `order` None: every date reads either way and somebody has to say, or it is no date at all.
    """

    order: Order | None
    ambiguous: bool
    has_offset: bool
    read: int
    unread: int


def find_order(cells: Iterable[str]) -> OrderFound:
    """Decide the order of day and month from the dates themselves.

    A first number above 12 settles day first, a second one month first; dates with points are written
    day first everywhere (common practice, no source). Where both stay at 12 or
    below, the order in which the rows grow is asked: one reading going steadily forward while the
    other jumps settles it.

    >>> find_order(["13.04.2026 06:00"]).order, find_order(["04/05/2026 6:00 PM"]).ambiguous
    ('day_first', True)
    """
    pairs: list[tuple[int, int, int]] = []
    dots = True
    counts = {"year": 0, "unread": 0, "offset": 0, "read": 0}
    for cell in cells:
        found = _TIME(cell)
        if found is None:
            counts["unread"] += 1
            continue
        counts["read"] += 1
        counts["offset"] += found["o"] is not None
        if found["a"] is None:
            counts["year"] += 1
        else:
            pairs.append((int(found["a"]), int(found["b"]), _year(found["y2"])))
            dots = dots and cell[found.end("a")] == "."
    order, ambiguous = _decide(pairs, counts["year"])
    if ambiguous and dots and not any(b > 12 for _, b, _ in pairs):
        order, ambiguous = "day_first", False
    every = counts["read"] > 0 and counts["offset"] == counts["read"]
    return OrderFound(order, ambiguous, every, counts["read"], counts["unread"])


def _decide(pairs: list[tuple[int, int, int]], year_first: int) -> tuple[Order | None, bool]:
    if not pairs:
        return ("year_first" if year_first else None), False
    day = any(a > 12 for a, _, _ in pairs)
    month = any(b > 12 for _, b, _ in pairs)
    if day != month:
        return ("day_first" if day else "month_first"), False
    if day:
        return None, True
    steady = {order: _is_steady(pairs, order) for order in ("day_first", "month_first")}
    if steady["day_first"] != steady["month_first"]:
        return ("day_first" if steady["day_first"] else "month_first"), False
    return None, True


def _is_steady(pairs: list[tuple[int, int, int]], order: str) -> bool:
    """Whether, read this way, the days follow one another without a leap of weeks."""
    try:
        days = [dt.date(y, *((b, a) if order == "day_first" else (a, b))) for a, b, y in pairs]
    except ValueError:
        return False
    leaps = [abs((later - earlier).days) for earlier, later in itertools.pairwise(days)]
    return bool(leaps) and max(leaps) > 0 and max(leaps) <= 7


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


class LocalClock:
    """Reads times one after another. `last_ms`: the moment before, which settles the repeated hour."""

    def __init__(
        self,
        *,
        zone: ZoneInfo | None,
        order: Order | None = None,
        last_ms: int | None = None,
        descending: bool = False,
    ) -> None:
        self._zone = zone
        self._order = order
        self.last_ms = last_ms
        self._descending = descending
        self._hours: dict[dt.datetime, int] = {}
        self._texts: dict[str, int] = {}
        #: Times of the repeated hour read so far.
        self.repeated = 0

    def at_ms(self, text: str) -> int:
        """Milliseconds in UTC; raises `TimeTroubleError`."""
        # Most times of a log lie in an hour read before: then only minutes and seconds are looked at.
        start = self._texts.get(text[:-6])
        if start is not None:
            within = _within_hour(text[-6:])
            if within is not None:
                self.last_ms = start + within
                return self.last_ms
        return self._at_ms(text)

    def all_ms(self, texts: Iterable[str]) -> list[int]:
        """The same for many, in their order."""
        starts, read = self._texts.get, self.at_ms
        times: list[int] = []
        for text in texts:
            start, within = starts(text[:-6]), _within_hour(text[-6:])
            if start is None or within is None:
                times.append(read(text))
            else:
                self.last_ms = start + within
                times.append(self.last_ms)
        return times

    def _at_ms(self, text: str) -> int:
        found = _TIME(text)
        if found is None:
            raise TimeTroubleError("bad_time", f"{text[:60]!r} is no date and time")
        try:
            naive = self._naive(found)
        except ValueError as error:
            raise TimeTroubleError("bad_time", f"{text[:60]!r}: {error}") from None
        offset = found["o"]
        if offset is not None:
            self.last_ms = _to_ms(naive, _offset(offset))
            return self.last_ms
        at_ms = self.of(naive)
        plain = self._hours.get(naive.replace(minute=0, second=0, microsecond=0))
        if plain is not None and _within_hour(text[-6:]) == at_ms - plain:
            self._texts[text[:-6]] = plain
        return at_ms

    def of(self, naive: dt.datetime) -> int:
        """The same for a date and time without an offset."""
        hour = naive.replace(minute=0, second=0, microsecond=0)
        start = self._hours.get(hour)
        if start is None:
            at = self._look_up(naive)
            if at is not None:
                self.last_ms = at
                return at
            start = self._hours[hour]
        self.last_ms = start + (naive - hour) // _MS
        return self.last_ms

    def _look_up(self, naive: dt.datetime) -> int | None:
        """A moment of an hour that is not plain; None after noting where a plain hour begins."""
        if self._zone is None:
            raise TimeTroubleError(
                "no_offset", f"{naive.isoformat(sep=' ')} has no offset; say whose time it is"
            )
        one, other = (naive.replace(tzinfo=self._zone, fold=fold) for fold in (0, 1))
        first, second = one.utcoffset(), other.utcoffset()
        assert first is not None
        assert second is not None
        if first == second:
            hour = naive.replace(minute=0, second=0, microsecond=0)
            end = naive.replace(minute=59, second=59, microsecond=0)
            if _is_plain(hour, self._zone, first) and _is_plain(end, self._zone, first):
                if len(self._hours) > 50_000:
                    self._hours.clear()
                    self._texts.clear()
                self._hours[hour] = _to_ms(hour, first)
                return None
            return _to_ms(naive, first)
        if first < second:
            raise TimeTroubleError(
                "no_such_time",
                f"{naive.isoformat(sep=' ')} lies in the hour {self._zone.key} skipped; check the clock",
            )
        self.repeated += 1
        return self._which(_to_ms(naive, first), _to_ms(naive, second))

    def _which(self, earlier: int, later: int) -> int:
        last = self.last_ms
        if last is None:
            return later if self._descending else earlier
        if self._descending:
            return later if later <= last else earlier
        return earlier if earlier >= last else later

    def _naive(self, found: re.Match[str]) -> dt.datetime:
        year, month, day = self._date(found)
        hour = int(found["h"] or 0)
        half = found["half"]
        if half:
            if not 1 <= hour <= 12:
                raise ValueError("hour must be 1 to 12 beside AM or PM")
            hour = hour % 12 + (12 if half[0] in "pP" else 0)
        fraction = int((found["f"] or "0").ljust(6, "0")[:6])
        return dt.datetime(  # noqa: DTZ001 - the zone follows
            year, month, day, hour, int(found["min"] or 0), int(found["s"] or 0), fraction
        )

    def _date(self, found: re.Match[str]) -> tuple[int, int, int]:
        if found["y"]:
            return int(found["y"]), int(found["m"]), int(found["d"])
        if found["c"]:
            return int(found["c"][:4]), int(found["c"][4:6]), int(found["c"][6:])
        a, b, year = int(found["a"]), int(found["b"]), _year(found["y2"])
        if self._order not in ("day_first", "month_first"):
            raise TimeTroubleError(
                "date_order", f"{found[0].strip()!r} can be read day first or month first; say which it is"
            )
        return (year, b, a) if self._order == "day_first" else (year, a, b)


@functools.lru_cache(maxsize=8_192)  # a log knows 3,600 of them
def _within_hour(text: str) -> int | None:
    """Milliseconds of `:MM:SS`; None where a text is not written so."""
    minute, second = text[1:3], text[4:]
    if len(text) != 6 or text[0] != ":" or text[3] != ":" or not (minute + second).isdigit():
        return None
    if not text.isascii() or minute > "59" or second > "59":
        return None
    return (int(minute) * 60 + int(second)) * 1000


def _is_plain(naive: dt.datetime, zone: ZoneInfo, offset: dt.timedelta) -> bool:
    return all(naive.replace(tzinfo=zone, fold=fold).utcoffset() == offset for fold in (0, 1))


def _offset(text: str) -> dt.timedelta:
    if text in "Zz":
        return dt.timedelta()
    digits = text[1:].replace(":", "")
    size = dt.timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
    return -size if text[0] == "-" else size


def _to_ms(naive: dt.datetime, offset: dt.timedelta) -> int:
    return (naive.replace(tzinfo=dt.UTC) - offset - _EPOCH) // _MS
