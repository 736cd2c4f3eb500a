"""Bands of the chart: from the least to the largest shot, and within it where most shots lay."""

import dataclasses
import itertools
from collections.abc import Mapping, Sequence
from typing import Any

from server.language import _
from server.words.times import Zone


@dataclasses.dataclass(frozen=True)
class Most:
    """Where most shots lay: 5 %, middle and 95 % of the shots of a piece of time, NaN where not known."""

    at_ms: Sequence[int]
    low: Sequence[float]
    median: Sequence[float]
    high: Sequence[float]


class Times:
    """Lists of local times, each kept once."""

    def __init__(self, zone: Zone) -> None:
        self.lists: list[list[str | None]] = []
        self._known: dict[tuple[int | None, ...], int] = {}
        #: A band's outline holds each time twice, and its line the same ones again.
        self._texts: dict[int | None, str | None] = {None: None}
        self._zone = zone

    def number(self, at_ms: Sequence[int | None]) -> int:
        """Where the list of these times stands."""
        key = tuple(at_ms)
        if key not in self._known:
            self._known[key] = len(self.lists)
            for at in set(key) - self._texts.keys():
                self._texts[at] = None if at is None else local(at, self._zone)
            self.lists.append([self._texts[at] for at in key])
        return self._known[key]


def band(
    at_ms: Sequence[int], low: Sequence[float | None], high: Sequence[float | None]
) -> tuple[list[int | None], list[float | None]]:
    """One closed outline per stretch without a gap: along the least values, back along the largest."""
    outline: list[int | None] = []
    heights: list[float | None] = []
    known = [i for i in range(len(at_ms)) if low[i] is not None and high[i] is not None]
    for _apart, group in itertools.groupby(enumerate(known), key=lambda pair: pair[1] - pair[0]):
        stretch = [i for _, i in group]
        back = stretch[::-1]
        outline += [*(at_ms[i] for i in stretch), *(at_ms[i] for i in back), None]
        heights += [*(low[i] for i in stretch), *(high[i] for i in back), None]
    return outline, heights


def filled(
    common: Mapping[str, Any],
    times: Times,
    at_ms: Sequence[int],
    low: Sequence[float | None],
    high: Sequence[float | None],
) -> dict[str, Any]:
    outline, heights = band(at_ms, low, high)
    return {
        **common,
        "x": times.number(outline),
        "y": heights,
        "line": {"width": 0},
        "hoverinfo": "skip",
        "fill": "toself",
        "fillcolor": "--band",
    }


def most_lines(
    common: Mapping[str, Any],
    times: Times,
    at_ms: Sequence[int],
    shown: Sequence[Sequence[float | None]],
    *,
    places: int,
) -> list[dict[str, Any]]:
    """A band within that of the extremes, darker for lying on it, and the middle shot as a thin line.

    shown: low, median and high, in the unit shown with so many `places`.
    """
    low, median, high = shown
    number = f":.{places}f"
    texts = {
        name: "%{" + place + number + "}"
        for name, place in (("middle", "y"), ("low", "customdata[0]"), ("high", "customdata[1]"))
    }
    said = _("middle {middle}, nine in ten {low} to {high}", **texts)
    return [
        filled(common, times, at_ms, low, high),
        {
            **common,
            "x": times.number(at_ms),
            "name": _("middle"),
            "y": list(median),
            "customdata": [list(pair) for pair in zip(low, high, strict=True)],
            "line": {"width": 1, "color": "--soft", "dash": "dot"},
            "connectgaps": False,
            "hovertemplate": f"{said}<extra></extra>",
        },
    ]


def local(at_ms: int, zone: Zone) -> str:
    return zone.local(at_ms).replace(tzinfo=None).isoformat(sep=" ", timespec="milliseconds")
