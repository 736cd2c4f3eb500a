"""Pictures of studies, drawn on the server: weights in order, creep over time, gate seal, a valve's path."""

import dataclasses
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

from server.language import N_, _
from server.show.scale import Scale, round_step, ticks
from server.show.svg import drawing, element, label, line
from server.words.numbers import fixed, number
from server.words.units import Units

_WIDTH, _HEIGHT = 640.0, 230.0
_LEFT, _RIGHT, _TOP, _BASE = 52.0, 628.0, 14.0, 196.0


@dataclasses.dataclass(frozen=True)
class _Plane:
    """A ruled area: where a value lies across and up."""

    across: Scale
    up: Scale
    parts: list[Markup]

    def dot(self, x: float, y: float, class_: str = "plot-dot", r: float = 3.4) -> None:
        self.parts.append(element("circle", cx=self.across.at(x), cy=self.up.at(y), r=r, class_=class_))

    def stroke(self, x1: float, y1: float, x2: float, y2: float, class_: str) -> None:
        ends = self.across.at(x1), self.up.at(y1), self.across.at(x2), self.up.at(y2)
        self.parts.append(line(*ends, class_))


def _plane(
    xs: Sequence[float], ys: Sequence[float], *, x_name: str, y_name: str, whole_x: bool = False
) -> _Plane:
    air_x = 0.04 * (max(xs) - min(xs)) or 0.5
    air_y = 0.12 * (max(ys) - min(ys)) or max(0.01 * abs(ys[0]), 0.01)
    across = Scale(low=min(xs) - air_x, high=max(xs) + air_x, left=_LEFT, right=_RIGHT)
    up = Scale(low=min(ys) - air_y, high=max(ys) + air_y, left=_BASE, right=_TOP)
    parts = [line(_LEFT, _BASE, _RIGHT, _BASE, "lane-axis")]
    step_x = round_step(across.high - across.low, 8)
    step_x = max(step_x, 1.0) if whole_x else step_x
    for value in ticks(across.low, across.high, step_x):
        parts.append(line(across.at(value), _BASE, across.at(value), _BASE + 4.0, "lane-axis"))
        parts.append(label(across.at(value), _BASE + 17.0, _ruled(value, step_x), "lane-number"))
    step_y = round_step(up.high - up.low, 4)
    for value in ticks(up.low, up.high, step_y):
        parts.append(line(_LEFT, up.at(value), _RIGHT, up.at(value), "plot-rule"))
        parts.append(label(_LEFT - 6.0, up.at(value) + 4.0, _ruled(value, step_y), "plot-number"))
    parts.append(label(_RIGHT, _BASE + 31.0, x_name, "plot-number"))
    parts.append(label(2.0, 9.0, y_name, "plot-name"))
    return _Plane(across, up, parts)


def _ruled(value: float, step: float) -> str:
    """A number of a ruler, with the decimals its step needs.

    >>> _ruled(10.0, 5.0), _ruled(0.15, 0.05)
    ('10', '0.15')
    """
    return fixed(value, max(0, -math.floor(math.log10(step) + 1e-9)))


def order_chart(weights: Sequence[float], *, hold: Sequence[float] = (), apart: int | None = None) -> Markup:
    """Weights in the order they were made, as % of their mean, so that both rows share one ruler."""
    if len(weights) < 2:
        return Markup("")
    rows = [("plot-dot", weights)] + ([("plot-other", hold)] if len(hold) >= 2 else [])
    shares = [(class_, [100.0 * (w * len(row) / sum(row) - 1.0) for w in row]) for class_, row in rows]
    every = [value for _, row in shares for value in row]
    most = max(len(row) for _, row in shares)
    plane = _plane(
        [1.0, float(most)], [*every, 0.0], x_name=_("shot"), y_name=_("% from the mean"), whole_x=True
    )
    plane.stroke(1.0, 0.0, float(most), 0.0, "plot-middle")
    for class_, row in reversed(shares):
        for i, value in enumerate(row):
            if i:
                plane.stroke(float(i), row[i - 1], float(i + 1), value, f"{class_}-line")
        for i, value in enumerate(row):
            plane.dot(float(i + 1), value, class_)
    if apart is not None:
        plane.dot(float(apart + 1), shares[0][1][apart], "plot-ring", 8.0)
    low, high = min(shares[0][1]), max(shares[0][1])
    alt = _(
        "{weights} weights in order, {low} to {high} % from the mean",
        weights=len(weights),
        low=number(low, 2),
        high=number(high, 2),
    )
    return _drawn(plane, alt)


def creep_chart(
    samples: Sequence[tuple[float, float]], result: Mapping[str, Any] | None, *, units: Units
) -> Markup:
    """Screw position over time: what settling took stands pale, the line is the fitted creep.

    samples, result: in stored units; drawn in `units`.
    """
    if len(samples) < 2:
        return Markup("")
    ordered = [(t, units.shown("length", position)) for t, position in sorted(samples)]
    name = _("screw position, {unit}", unit=units.written("length"))
    plane = _plane([t for t, _p in ordered], [p for _t, p in ordered], x_name=_("seconds"), y_name=name)
    settled = float(result["settled_s"]) if result and "settled_s" in result else ordered[0][0]
    for t, position in ordered:
        plane.dot(t, position, "plot-dot" if t >= settled else "plot-pale")
    if result and result.get("line_mm"):
        first, last = (units.shown("length", end) for end in result["line_mm"])
        plane.stroke(settled, first, ordered[-1][0], last, "plot-fit")
        x = plane.across.at(settled)
        plane.parts.append(line(x, _TOP, x, _BASE, "lane-target"))
    return _drawn(
        plane,
        _(
            "{ordered} readings of the screw position over {ordered_2} s",
            ordered=len(ordered),
            ordered_2=number(ordered[-1][0], 3),
        ),
    )


def seal_chart(points: Sequence[tuple[float, float]], result: Mapping[str, Any] | None) -> Markup:
    """Part weight against hold time with the fitted rise and level."""
    if len(points) < 2:
        return Markup("")
    ordered = sorted(points)
    plane = _plane(
        [t for t, _ in ordered], [w for _, w in ordered], x_name=_("hold time, s"), y_name=_("part weight, g")
    )
    seal = result.get("seal_s") if result else None
    if result and seal is not None and result.get("plateau_g") is not None:
        first, last, level = ordered[0][0], ordered[-1][0], float(result["plateau_g"])
        plane.stroke(first, level - float(result["rise_g_per_s"]) * (seal - first), seal, level, "plot-fit")
        plane.stroke(seal, level, last, level, "plot-fit")
        x = plane.across.at(float(seal))
        plane.parts.append(line(x, _TOP, x, _BASE, "lane-target"))
    for t, weight in ordered:
        plane.dot(t, weight)
    return _drawn(plane, _("part weight at {ordered} hold times", ordered=len(ordered)))


@dataclasses.dataclass(frozen=True)
class Passed:
    """One check on the path: when (days on the valve), what was found and its interval."""

    day: float
    value: float
    low: float
    high: float


def path_chart(
    passed: Sequence[Passed],
    *,
    y_name: str,
    limits: Sequence[float] = (),
    x_name: str = N_("days on the valve"),
) -> Markup:
    """A number over the life of a valve, each check with its interval, limits as hairlines."""
    if not passed:
        return Markup("")
    xs = [one.day for one in passed]
    ys = [value for one in passed for value in (one.low, one.high)] + list(limits)
    plane = _plane([*xs, min(xs) - 1.0, max(xs) + 1.0], ys, x_name=x_name, y_name=y_name)
    for limit in limits:
        plane.stroke(plane.across.low, limit, plane.across.high, limit, "lane-target")
    for before, after in itertools.pairwise(passed):
        plane.stroke(before.day, before.value, after.day, after.value, "plot-dot-line")
    for one in passed:
        plane.stroke(one.day, one.low, one.day, one.high, "plot-interval")
        plane.dot(one.day, one.value)
    return _drawn(
        plane, _("{y_name} at {passed} checks over the life of the valve", y_name=y_name, passed=len(passed))
    )


def _drawn(plane: _Plane, alt: str) -> Markup:
    return drawing(plane.parts, width=_WIDTH, height=_HEIGHT, alt=alt, class_="plot")
