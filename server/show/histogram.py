"""A distribution with its limits, drawn on the server: it prints, and no chart library is loaded for it."""

from collections.abc import Sequence

from markupsafe import Markup

from server.language import _
from server.show.lanes import Limits
from server.show.scale import Scale, round_step, ticks
from server.show.svg import box, drawing, label, line
from server.words.numbers import number, whole

_WIDTH, _HEIGHT, _BASE = 640.0, 150.0, 120.0


def histogram(edges: Sequence[float], *, counts: Sequence[int], limits: Limits, unit: str) -> Markup:
    """`edges` one longer than `counts`; the limits of the drawing as hairlines."""
    if len(counts) == 0 or len(edges) != len(counts) + 1:
        return drawing([], width=_WIDTH, height=20.0, alt=_("no values to draw"), class_="histogram")
    ends = [edges[0], edges[-1], *limits.known()]
    air = 0.04 * (max(ends) - min(ends)) or 0.5
    across = Scale(low=min(ends) - air, high=max(ends) + air, left=4.0, right=_WIDTH - 4.0)
    up = Scale(low=0.0, high=float(max(*counts, 1)), left=_BASE, right=14.0)
    parts = [
        box(across.at(left), up.at(count), max(across.at(right) - across.at(left) - 0.6, 0.6),
            _BASE - up.at(count), "histogram-bar")
        for left, right, count in zip(edges[:-1], edges[1:], counts, strict=True)
    ]  # fmt: skip
    parts.append(line(4.0, _BASE, _WIDTH - 4.0, _BASE, "lane-axis"))
    for value in ticks(across.low, across.high, round_step(across.high - across.low, 6)):
        parts.append(line(across.at(value), _BASE, across.at(value), _BASE + 4.0, "lane-axis"))
        parts.append(label(across.at(value), _BASE + 17.0, number(value, 4), "lane-number"))
    for value in limits.known():
        parts.append(line(across.at(value), 12.0, across.at(value), _BASE, "lane-limit"))
        parts.append(label(across.at(value), 10.0, number(value, 4), "lane-limit-number"))
    alt = _(
        "distribution of {sum} values from {edges} to {edges_2} {unit}",
        sum=whole(sum(counts)),
        edges=number(edges[0], 4),
        edges_2=number(edges[-1], 4),
        unit=unit,
    )
    return drawing(parts, width=_WIDTH, height=_HEIGHT, alt=alt, class_="histogram")
