"""A signal of two stretches laid over one another: how it is spread, and how it went over the shots.

Startup is pale and dashed, what came later is solid: it prints in black and white.
"""

import dataclasses
import itertools
import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from server.language import _
from server.show.scale import Scale, round_step, ticks
from server.show.svg import box, drawing, element, label, line
from server.words.numbers import fixed, whole

Floats = NDArray[np.float64]

_WIDTH = 640.0
_BARS, _BASE = 172.0, 138.0
_COURSE, _TOP, _FLOOR, _LEFT = 200.0, 24.0, 184.0, 58.0
#: Room two written limits need beside each other.
_APART = 52.0
#: Classes at most, and points of a course beyond which extremes and means of pieces are drawn.
CLASSES, POINTS = 32, 300


@dataclasses.dataclass(frozen=True)
class Stretch:
    """Values in the plant's unit, NaN where left out, and what the stretch is called."""

    name: str
    values: Floats

    @property
    def known(self) -> Floats:
        return np.asarray(self.values[np.isfinite(self.values)], dtype=np.float64)


@dataclasses.dataclass(frozen=True)
class Ruler:
    """What both pictures share: unit, decimals, the display's step, and the record's middle and limits."""

    unit: str
    places: int
    step: float | None = None
    center: float | None = None
    lower: float | None = None
    upper: float | None = None


def class_edges(stretches: Sequence[Stretch], *, step: float | None) -> Floats:
    """Edges of common classes: as wide as Freedman and Diaconis 1981 (memory) say of the narrower one, and
    whole display steps, so that no class holds more readings than its neighbours by rounding alone."""
    known = [one.known for one in stretches if len(one.known)]
    low, high = min(float(one.min()) for one in known), max(float(one.max()) for one in known)
    widths = []
    for one in known:
        quarter, three = np.quantile(one, (0.25, 0.75))
        widths.append(2.0 * float(three - quarter) / len(one) ** (1.0 / 3.0))
    width = max(min((one for one in widths if one > 0), default=0.0), (high - low) / CLASSES)
    if width <= 0.0:
        width = step or max(abs(high), 1.0) * 1e-3
    if step:
        width = step * max(1, math.ceil(width / step - 1e-9))
        low = step * (math.floor(low / step + 0.5) - 0.5)
    count = max(1, math.ceil((high - low) / width + 1e-9))
    return np.asarray(low + width * np.arange(count + 1), dtype=np.float64)


def shares(edges: Floats, stretch: Stretch) -> list[float]:
    """Percent of the values in each class; a value at the last edge belongs to the last class."""
    counts, _ = np.histogram(stretch.known, bins=edges)
    return [100.0 * float(one) / max(1, len(stretch.known)) for one in counts]


def overlay_bars(first: Stretch, second: Stretch | None, *, ruler: Ruler) -> Markup:
    """Percent of the shots in each class: startup as pale bars, later as an outline."""
    both = [one for one in (first, second) if one is not None and len(one.known)]
    if not both:
        return Markup("")
    edges = class_edges(both, step=ruler.step)
    heights = [shares(edges, one) for one in both]
    limits = [one for one in (ruler.lower, ruler.upper) if one is not None]
    low, high = min(edges[0], *limits, edges[0]), max(edges[-1], *limits, edges[-1])
    air = 0.03 * float(high - low)
    across = Scale(low=float(low) - air, high=float(high) + air, left=4.0, right=_WIDTH - 4.0)
    up = Scale(low=0.0, high=max(max(one) for one in heights) or 1.0, left=_BASE, right=22.0)
    parts: list[Markup] = []
    if both[0] is first:
        for i, share in enumerate(heights[0]):
            x, end = across.at(float(edges[i])), across.at(float(edges[i + 1]))
            parts.append(box(x, up.at(share), max(end - x - 0.6, 0.6), _BASE - up.at(share), "overlay-bar"))
    if second is not None and both[-1] is second:
        parts.append(element("path", d=_outline(edges, heights[-1], across, up), class_="overlay-later"))
    parts += _limits_across(limits, across, ruler)
    parts.append(line(4.0, _BASE, _WIDTH - 4.0, _BASE, "lane-axis"))
    step = round_step(across.high - across.low, 6)
    for value in ticks(across.low, across.high, step):
        parts.append(line(across.at(value), _BASE, across.at(value), _BASE + 4.0, "lane-axis"))
        parts.append(label(across.at(value), _BASE + 17.0, fixed(value, _places(step)), "lane-number"))
    parts.append(label(_WIDTH - 4.0, _BARS - 2.0, ruler.unit, "plot-number"))
    alt = _("how the values are spread: ") + "; ".join(_said(one, ruler) for one in both)
    return drawing(parts, width=_WIDTH, height=_BARS, alt=alt, class_="overlay")


def _outline(edges: Floats, heights: Sequence[float], across: Scale, up: Scale) -> str:
    path = [f"M{across.at(float(edges[0])):.1f} {_BASE:.1f}"]
    for i, share in enumerate(heights):
        path.append(f"V{up.at(share):.1f}H{across.at(float(edges[i + 1])):.1f}")
    return "".join([*path, f"V{_BASE:.1f}"])


def _limits_across(limits: Sequence[float], across: Scale, ruler: Ruler) -> list[Markup]:
    """Hairlines with their values; two that stand close are written away from each other."""
    near = len(limits) == 2 and across.at(limits[1]) - across.at(limits[0]) < _APART
    parts = []
    for i, value in enumerate(limits):
        x = across.at(value)
        away = 0.0 if not near else (_APART / 2.0 if i else -_APART / 2.0)
        written = min(max(x + away, 24.0), _WIDTH - 24.0)
        parts.append(line(x, 14.0, x, _BASE, "lane-limit"))
        parts.append(label(written, 10.0, fixed(value, ruler.places), "lane-limit-number"))
    return parts


def overlay_course(first: Stretch, second: Stretch | None, *, ruler: Ruler) -> Markup:
    """Every shot in its order, both stretches side by side on one ruler, with the record's limits."""
    both = [one for one in (first, second) if one is not None and len(one.known)]
    if not both:
        return Markup("")
    ends = [float(one.known.min()) for one in both] + [float(one.known.max()) for one in both]
    ends += [one for one in (ruler.lower, ruler.upper) if one is not None]
    air = 0.06 * (max(ends) - min(ends)) or max(abs(ends[0]) * 0.01, 0.01)
    up = Scale(low=min(ends) - air, high=max(ends) + air, left=_FLOOR, right=_TOP)
    parts: list[Markup] = []
    step = round_step(up.high - up.low, 4)
    for value in ticks(up.low, up.high, step):
        parts.append(line(_LEFT, up.at(value), _WIDTH - 4.0, up.at(value), "plot-rule"))
        parts.append(label(_LEFT - 6.0, up.at(value) + 4.0, fixed(value, _places(step)), "plot-number"))
    for limit in (ruler.lower, ruler.upper):
        if limit is not None:
            parts.append(line(_LEFT, up.at(limit), _WIDTH - 4.0, up.at(limit), "lane-limit"))
    if ruler.center is not None:
        parts.append(line(_LEFT, up.at(ruler.center), _WIDTH - 4.0, up.at(ruler.center), "plot-middle"))
    width = (_WIDTH - 4.0 - _LEFT - 12.0 * (len(both) - 1)) / len(both)
    for i, one in enumerate(both):
        left = _LEFT + i * (width + 12.0)
        parts += _course(one, left, left + width, up, "overlay-early" if one is first else "overlay-later")
        parts.append(label(left + 2.0, 12.0, one.name, "overlay-name"))
        if i:
            parts.append(line(left - 6.0, _TOP - 16.0, left - 6.0, _FLOOR, "lane-axis"))
    alt = _("each shot in its order: ") + "; ".join(_said(one, ruler) for one in both)
    return drawing(parts, width=_WIDTH, height=_COURSE, alt=alt, class_="overlay")


def _course(stretch: Stretch, left: float, right: float, up: Scale, class_: str) -> list[Markup]:
    values = stretch.values
    across = Scale(low=0.0, high=float(max(1, len(values) - 1)), left=left + 2.0, right=right - 2.0)
    if len(values) <= POINTS:
        points = [(across.at(float(i)), float(value)) for i, value in enumerate(values)]
        return [element("path", d=_path(points, up), class_=class_)]
    starts = np.linspace(0, len(values), POINTS + 1).astype(np.int64)
    middles: list[tuple[float, float]] = []
    reach = []
    for begin, end in itertools.pairwise(starts.tolist()):
        part = values[begin:end][np.isfinite(values[begin:end])]
        x = across.at((float(begin) + float(end) - 1.0) / 2.0)
        middles.append((x, float(part.mean()) if len(part) else math.nan))
        if len(part):
            reach.append(f"M{x:.1f} {up.at(float(part.min())):.1f}V{up.at(float(part.max())):.1f}")
    return [
        element("path", d="".join(reach), class_=f"{class_} overlay-reach"),
        element("path", d=_path(middles, up), class_=class_),
    ]


def _path(points: Sequence[tuple[float, float]], up: Scale) -> str:
    """A line with gaps where a value was left out; a value between two gaps is a short stroke."""
    path, drawing_on = [], False
    for x, value in points:
        if not math.isfinite(value):
            drawing_on = False
            continue
        path.append(f"{'L' if drawing_on else 'M'}{x:.1f} {up.at(value):.1f}")
        if not drawing_on:
            path.append("h0.1")
        drawing_on = True
    return "".join(path)


def _places(step: float) -> int:
    return max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0


def _said(stretch: Stretch, ruler: Ruler) -> str:
    known = stretch.known
    low, middle, high = (fixed(float(one), ruler.places) for one in np.quantile(known, (0.0, 0.5, 1.0)))
    return _(
        "{name} {known} shots from {low} to {high} {unit}, middle {middle}",
        name=stretch.name,
        known=whole(len(known)),
        low=low,
        high=high,
        unit=ruler.unit,
        middle=middle,
    )
