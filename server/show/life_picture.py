"""How long valves of a kind last, drawn: the curve without a law as steps, the law beside it."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from markupsafe import Markup

from server.derived.valve_life import LifeGroup
from server.language import _
from server.maths.life import FAILURES_MIN
from server.maths.results import Undetermined
from server.show.scale import Scale, round_step, ticks
from server.show.svg import drawing, element, label, line
from server.words.numbers import whole

_WIDTH, _HEIGHT, _BASE, _TOP = 520.0, 190.0, 150.0, 12.0


def life_picture(group: LifeGroup, *, age: float | None = None) -> Markup | None:
    """None where too few have failed: a curve of one or two would be read as more than it is.

    `age`: of the valve looked at, in shots.
    """
    if isinstance(group.curve, Undetermined) or group.failures < FAILURES_MIN:
        return None
    longest = max([float(group.curve.at[-1]), *(float(life.age) for life in group.lives), age or 0.0])
    across = Scale(low=0.0, high=1.05 * longest, left=44.0, right=_WIDTH - 8.0)
    up = Scale(low=0.0, high=1.0, left=_BASE, right=_TOP)
    parts = _axes(across, up)
    parts += _steps(group.curve.at.tolist(), group.curve.good.tolist(), longest, across, up)
    parts += _law(group, across, up)
    if age is not None:
        parts.append(line(across.at(age), _TOP, across.at(age), _BASE, "life-age"))
        parts.append(label(across.at(age) + 4.0, _TOP + 8.0, _("this one"), "life-number"))
    alt = _(
        "share of valves still good by shots: {failures} failures among {lives} valves, steps"
        " without a law, smooth line the Weibull law",
        failures=group.failures,
        lives=len(group.lives),
    )
    return drawing(parts, width=_WIDTH, height=_HEIGHT, alt=alt, class_="life")


def _axes(across: Scale, up: Scale) -> list[Markup]:
    parts = [line(across.left, _BASE, across.right, _BASE, "lane-axis")]
    for value in ticks(0.0, across.high, round_step(across.high, 5)):
        parts.append(line(across.at(value), _BASE, across.at(value), _BASE + 4.0, "lane-axis"))
        parts.append(label(across.at(value), _BASE + 18.0, whole(value), "life-number life-middle"))
    for share in (0.0, 0.5, 1.0):
        parts.append(label(4.0, up.at(share) + 4.0, f"{100 * share:.0f} %", "life-number"))
        parts.append(line(across.left - 4.0, up.at(share), across.left, up.at(share), "lane-axis"))
    parts.append(label(across.left, _BASE + 36.0, _("shots on the valve"), "life-number"))
    return parts


def _steps(
    at: Sequence[float], good: Sequence[float], longest: float, across: Scale, up: Scale
) -> list[Markup]:
    parts, before = [], 1.0
    places = [0.0, *at]
    for (begin, end), share in zip(pairwise(places), good, strict=True):
        parts.append(line(across.at(begin), up.at(before), across.at(end), up.at(before), "life-steps"))
        parts.append(line(across.at(end), up.at(before), across.at(end), up.at(share), "life-steps"))
        before = share
    parts.append(line(across.at(places[-1]), up.at(before), across.at(longest), up.at(before), "life-steps"))
    return parts


def _law(group: LifeGroup, across: Scale, up: Scale) -> list[Markup]:
    law = group.law
    if isinstance(law, Undetermined):
        return []
    ages = np.linspace(0.0, across.high, 60)
    good = [math.exp(-((age / law.scale) ** law.shape)) for age in ages]
    points = " ".join(f"{across.at(a):.1f},{up.at(g):.1f}" for a, g in zip(ages, good, strict=True))
    return [element("polyline", points=points, class_="life-law")]
