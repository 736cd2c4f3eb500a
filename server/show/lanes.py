"""Capability lanes: presses one below the other on a shared ruler with the drawing's limits."""

import dataclasses
from collections.abc import Sequence

from markupsafe import Markup

from server.language import _
from server.show.scale import Scale, round_step, ticks
from server.show.svg import box, drawing, element, label, line
from server.words.numbers import number

_WIDTH, _LANE, _AXIS = 640.0, 34.0, 28.0


@dataclasses.dataclass(frozen=True)
class Lane:
    """One press: mean with its interval, standard deviation, and whether it falls short."""

    press: str
    mean: float
    mean_low: float
    mean_high: float
    sd: float
    falls_short: bool = False


@dataclasses.dataclass(frozen=True)
class Limits:
    """The drawing's limits; a side the drawing does not limit is None."""

    lower: float | None = None
    upper: float | None = None
    target: float | None = None

    def known(self) -> list[float]:
        return [value for value in (self.lower, self.upper, self.target) if value is not None]


def shared_scale(lanes: Sequence[Lane], limits: Limits) -> Scale:
    """One ruler for every lane: the limits and all of mean ± 3 s, with a little air."""
    ends = [lane.mean - 3 * lane.sd for lane in lanes] + [lane.mean + 3 * lane.sd for lane in lanes]
    ends += limits.known()
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    air = 0.06 * (high - low) or max(abs(high) * 0.05, 0.5)
    return Scale(low=low - air, high=high + air, left=4.0, right=_WIDTH - 4.0)


def lane_drawing(lane: Lane, *, scale: Scale, limits: Limits, unit: str) -> Markup:
    """One lane: pale ± 3 s, thick interval of the mean, hairlines at the drawing's limits."""
    y = _LANE / 2
    parts = _limit_lines(limits, scale, 2.0, _LANE - 2.0)
    left, right = scale.clipped(lane.mean - 3 * lane.sd), scale.clipped(lane.mean + 3 * lane.sd)
    parts.append(box(left, y - 3.5, right - left, 7.0, "lane-spread"))
    low, high = scale.clipped(lane.mean_low), scale.clipped(lane.mean_high)
    parts.append(
        box(min(low, scale.clipped(lane.mean) - 1.5), y - 3.5, max(high - low, 3.0), 7.0, "lane-mean")
    )
    parts.append(line(scale.clipped(lane.mean), y - 8.0, scale.clipped(lane.mean), y + 8.0, "lane-middle"))
    alt = _(
        "{press}: mean {mean} {unit}, between {mean_low} and {mean_high}; three standard"
        " deviations reach from {mean_2} to {mean_3}",
        press=lane.press,
        mean=number(lane.mean, 4),
        unit=unit,
        mean_low=number(lane.mean_low, 4),
        mean_high=number(lane.mean_high, 4),
        mean_2=number(lane.mean - 3 * lane.sd, 4),
        mean_3=number(lane.mean + 3 * lane.sd, 4),
    )
    name = "lane lane-short" if lane.falls_short else "lane"
    return drawing(parts, width=_WIDTH, height=_LANE, alt=alt, class_=name)


def lane_ruler(*, scale: Scale, limits: Limits, unit: str) -> Markup:
    """The ruler below the lanes, with the limits named."""
    parts = [line(scale.left, 4.0, scale.right, 4.0, "lane-axis")]
    taken = [scale.at(value) for value in limits.known()]
    for value in ticks(scale.low, scale.high, round_step(scale.high - scale.low, 6)):
        x = scale.at(value)
        parts.append(line(x, 4.0, x, 8.0, "lane-axis"))
        if all(abs(x - other) > 34.0 for other in taken):
            parts.append(label(x, 20.0, number(value, 4), "lane-number"))
    parts += [label(scale.at(value), 20.0, number(value, 4), "lane-limit-number") for value in limits.known()]
    return drawing(parts, width=_WIDTH, height=_AXIS, alt=_("ruler in {unit}", unit=unit), class_="lane")


def _limit_lines(limits: Limits, scale: Scale, top: float, bottom: float) -> list[Markup]:
    parts = [
        line(scale.at(value), top, scale.at(value), bottom, "lane-limit")
        for value in (limits.lower, limits.upper)
        if value is not None
    ]
    if limits.target is not None:
        parts.append(
            element(
                "line",
                x1=scale.at(limits.target),
                y1=top,
                x2=scale.at(limits.target),
                y2=bottom,
                class_="lane-target",
            )
        )
    return parts
