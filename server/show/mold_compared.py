"""What a mold's presses come to beside one another, before and after a moment, and by which limits."""

from collections.abc import Mapping, Sequence

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.language import _
from server.maths.against_others import standing_out
from server.maths.assessment import assess
from server.maths.capability import Capability
from server.maths.comparison import compare_means, compare_scatter
from server.maths.results import Undetermined
from server.show.lanes import Limits
from server.show.mold_judged import Assessed, Stretch, limit_words, limits_of, unit_of
from server.show.mold_words import lane_verdict
from server.show.pages import BeforeAfter, BeforeAfterRow, EventChoice, LimitVersion
from server.show.plant_words import Plant
from server.store.mold_versions import MoldVersion
from server.store.page_queries import Row, events_between
from server.words.catalogue import EVENT_NAMES, signal_name, worded
from server.words.numbers import fixed, number, whole

#: Values without which a press is not compared with the others (common practice, no source).
_NEEDED = 30
_EVENTS_MAX = 40


def odd_ones(by_press: Mapping[str, Assessed], limits: Limits) -> tuple[str, ...]:
    """A sentence for each press whose mean stands out from the others'."""
    here = {press: one.values for press, one in sorted(by_press.items()) if len(one.values) >= _NEEDED}
    if len(here) < 2:
        return ()
    names = list(here)
    found = standing_out([here[name] for name in names])
    if isinstance(found, Undetermined):
        return ()
    return tuple(
        _(
            "{names} makes parts {difference} g {value} than the other presses ({min} to {max} g{share}).",
            names=names[one.level],
            difference=number(abs(one.difference)),
            value=_("heavier") if one.difference > 0 else _("lighter"),
            min=number(min(abs(one.lower), abs(one.upper))),
            max=number(max(abs(one.lower), abs(one.upper))),
            share=_share(one.difference, limits),
        )
        for one in found
    )


def _share(difference: float, limits: Limits) -> str:
    if limits.lower is None or limits.upper is None or limits.upper <= limits.lower:
        return ""
    return _(
        "; {difference:.0f} % of the tolerance",
        difference=100 * abs(difference) / (limits.upper - limits.lower),
    )


def history_rows(versions: Sequence[MoldVersion], plant: Plant) -> tuple[LimitVersion, ...]:
    """Limits and demand over the years, the newest first."""
    rows = []
    for one in reversed(versions):
        told = []
        for signal, given in one.limits.items():
            limits = limits_of(given)
            if limits.lower is not None or limits.upper is not None:
                told.append(f"{signal_name(signal).lower()} {limit_words(limits, unit_of(signal))}")
        ppk = one.demand.get("ppk")
        rows.append(
            LimitVersion(
                number=one.version_no,
                since=plant.moment(one.since_ms),
                limits="; ".join(told) or "none",
                demand="" if ppk is None else _("Ppk ≥ {ppk:g}", ppk=ppk),
                who=one.who or _("before versions were kept"),
                why=one.why,
            )
        )
    return tuple(rows)


def choices_of(
    connection: sa.Connection, rows: Sequence[Row], asked: Stretch, plant: Plant
) -> tuple[EventChoice, ...]:
    """Events of the mold's presses within the stretch, the newest first, to compare before and after."""
    found = [
        (event["at_ms"], row["press"], event)
        for row in rows
        for event in events_between(
            connection, row["press_id"], from_ms=asked.from_ms, to_ms=asked.to_ms, limit=_EVENTS_MAX
        )
    ]
    found.sort(key=lambda one: (-one[0], one[1]))
    return tuple(
        EventChoice(
            value=f"{plant.zone.local(at_ms):%Y-%m-%dT%H:%M:%S}",
            text=" ".join(
                part
                for part in (
                    plant.moment(at_ms),
                    f"{press}:",
                    worded(EVENT_NAMES, event["kind"]),
                    event["setting"],
                    event["lot"],
                )
                if part
            ),
        )
        for at_ms, press, event in found[:_EVENTS_MAX]
    )


def before_and_after(
    by_press: Mapping[str, Assessed], split_ms: int, limits: Limits, *, demand: float, plant: Plant
) -> BeforeAfter:
    """Each press's values before and after a moment, judged alike and compared."""
    rows = tuple(
        _row(press, one.values[one.at_ms < split_ms], one.values[one.at_ms >= split_ms], limits, demand)
        for press, one in sorted(by_press.items())
        if len(one.values)
    )
    return BeforeAfter(moment=plant.moment(split_ms), rows=rows)


def _row(
    press: str, before: NDArray[np.float64], after: NDArray[np.float64], limits: Limits, demand: float
) -> BeforeAfterRow:
    return BeforeAfterRow(
        press=press,
        before=_came_to(before, limits, demand),
        after=_came_to(after, limits, demand),
        change=_change(before, after),
    )


def _came_to(values: NDArray[np.float64], limits: Limits, demand: float) -> str:
    if not len(values):
        return _("no values")
    found = assess(values, lower=limits.lower, upper=limits.upper, target=limits.target)
    if isinstance(found.capability, Capability):
        word, detail, *_rest = lane_verdict(found.capability, found.stability, demand=demand)
        return f"{word}, {detail} (n {whole(len(values))})"
    return _("mean {float} g (n {values})", float=number(float(values.mean()), 5), values=whole(len(values)))


def _change(before: NDArray[np.float64], after: NDArray[np.float64]) -> str:
    means = compare_means(before, second=after)
    if isinstance(means, Undetermined):
        return _("cannot be said: {reason}", reason=means.reason)
    sign = "+" if means.difference >= 0 else "−"
    told = (
        _(
            "mean {sign}{difference} g ({lower} to {upper})",
            sign=sign,
            difference=number(abs(means.difference)),
            lower=number(means.lower),
            upper=number(means.upper),
        )
        if means.lower > 0 or means.upper < 0
        else _(
            "no change of the mean shown (it lies within {lower} to {upper} g)",
            lower=number(means.lower),
            upper=number(means.upper),
        )
    )
    scatter = compare_scatter([before, after])
    if isinstance(scatter, Undetermined):
        return told
    low, high = scatter.ratio_lower[1], scatter.ratio_upper[1]
    if low > 1.0 or high < 1.0:
        told += _(
            "; scatter {ratios} times ({low} to {high})",
            ratios=fixed(scatter.ratios[1], 2),
            low=fixed(low, 2),
            high=fixed(high, 2),
        )
    return told
