"""From a tolerated rate of false alarms to the parameters of every chart of a press, and what they cost.

The plant says what it tolerates; each press gets the stricter of its own bound and its share of the
plant's; part of it is kept for alarms that are no charts; the rest is dealt out evenly to the charts.
"""

import dataclasses
import functools
import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from numpy.polynomial import Chebyshev
from scipy.optimize import brentq
from scipy.special import ndtr, stdtrit

from server.maths.group_scores import Grouping, group_spread, grouping_for
from server.maths.run_length_charts import ewma_steady
from server.maths.watch_charts import Design, weight_for

Kind = Literal["level", "scatter"]

WEEK_S: Final = 604_800.0
#: Part of a press's budget that charts of level and scatter may spend; the rest is left to the
#: leak-likelihood and the other kinds (common practice, no source).
CHART_SHARE: Final = 0.9
#: λ of scatter charts: a scatter needs some 300 shots to be told from chance.
SCATTER_WEIGHT: Final = 0.2
#: Cycle time taken where the record has none, s.
USUAL_CYCLE_S: Final = 20.0
#: Run lengths the equations are trusted with, in groups.
ARL_LEAST: Final = 20.0
ARL_MOST: Final = 1e8


@dataclasses.dataclass(frozen=True)
class Budget:
    """What is tolerated. per_shift: false alarms a shift in the whole plant; per_press_week: of one press."""

    per_shift: float = 1.0
    per_press_week: float = 0.2
    shifts_a_week: float = 21.0
    presses: int = 1

    @property
    def share_of_plant(self) -> float:
        """What a press may spend of the plant's budget in a week.

        >>> Budget(presses=200).share_of_plant
        0.105
        """
        return self.per_shift * self.shifts_a_week / max(1, self.presses)

    @property
    def per_press(self) -> float:
        """False alarms one press may raise in a week of running round the clock: the stricter bound.

        >>> Budget(presses=200).per_press, Budget(presses=14).per_press
        (0.105, 0.2)
        """
        return min(self.per_press_week, self.share_of_plant)


@dataclasses.dataclass(frozen=True)
class ChartPlan:
    """One chart: λ, limit in standard deviations of a known process, and its share of the budget.

    arl_groups: groups between two false signals. per_week: false alarms in a week round the clock.
    phi: autocorrelation it was planned with.
    """

    signal: str
    kind: Kind
    phi: float
    weight: float
    width: float
    arl_groups: float
    per_week: float


@dataclasses.dataclass(frozen=True)
class Plan:
    """All charts of a press under one record."""

    grouping: Grouping
    cycle_s: float
    charts: tuple[ChartPlan, ...]

    @property
    def per_week(self) -> float:
        """Bound on the false alarms of all charts together (the sum: correlation only lowers it)."""
        return math.fsum(chart.per_week for chart in self.charts)

    @property
    def group_minutes(self) -> float:
        return self.grouping.size * self.cycle_s / 60.0


def plan_charts(
    phis: Sequence[tuple[str, Kind, float]], *, per_press: float, cycle_s: float, share: float = CHART_SHARE
) -> Plan:
    """Chart parameters that keep the budget.

    Parameters
    ----------
    phis : (signal, kind, phi)
        The charts to plan with the lag-1 autocorrelation of each signal's record.
    per_press : float
        False alarms a week of running round the clock, above 0.
    cycle_s : float
        Seconds from shot to shot; 0 or less: 20.
    share : float
        Part of the budget the charts may spend.

    Raises
    ------
    ValueError
        per_press is not a finite number above 0, or share not within (0, 1].

    Notes
    -----
    Each of k charts may spend per_press·share/k. With g groups a week its in-control run length is
    g·k/(per_press·share) groups; the limit follows from the EWMA's integral equation (Crowder 1987).
    The sum over charts bounds the joint rate whatever their correlation (Boole).

    Examples
    --------
    >>> plan = plan_charts([("swept_mm", "level", 0.0)], per_press=0.2, cycle_s=20.0)
    >>> plan.grouping.size, round(plan.charts[0].arl_groups), round(plan.per_week, 3)
    (25, 6720, 0.18)
    """
    if not (math.isfinite(per_press) and per_press > 0.0):
        raise ValueError(f"per_press must be above 0, got {per_press!r}")
    if not 0.0 < share <= 1.0:
        raise ValueError(f"share must be above 0 and at most 1, got {share!r}")
    cycle_s = cycle_s if cycle_s > 0.0 else USUAL_CYCLE_S
    grouping = grouping_for(max((phi for _, _, phi in phis), default=0.0))
    groups_a_week = WEEK_S / cycle_s / grouping.size
    each = per_press * share / max(1, len(phis))
    arl = min(max(groups_a_week / each, ARL_LEAST), ARL_MOST)
    charts = []
    for signal, kind, phi in phis:
        weight = weight_for(group_spread(grouping, phi=phi)) if kind == "level" else SCATTER_WEIGHT
        width = width_for(arl, weight=weight, two_sided=kind == "level")
        charts.append(ChartPlan(signal, kind, phi, weight, width, arl, groups_a_week / arl))
    return Plan(grouping, cycle_s, tuple(charts))


@functools.lru_cache(maxsize=4096)
def width_for(arl: float, *, weight: float, two_sided: bool) -> float:
    """Limit of an EWMA of independent standard normal values with the run length wanted.

    Solved on a curve through the integral equation at 16 widths, kept for each weight: the run length
    at the answer is within 0.1 % of the one wanted.

    >>> round(width_for(500.0, weight=0.1, two_sided=True), 3)
    2.814
    """
    curve = _log_run_length(weight, two_sided)
    return float(brentq(lambda width: float(curve(width)) - math.log(arl), *_WIDTHS, xtol=1e-9))


#: Widths between which every limit lies.
_WIDTHS: Final = (0.2, 6.5)


@functools.cache
def _log_run_length(weight: float, two_sided: bool) -> Chebyshev:
    """Logarithm of the in-control run length as a smooth function of the width."""

    def at(widths: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        found = [ewma_steady(weight=weight, L=one, shift=0.0, two_sided=two_sided) for one in widths.tolist()]
        return np.asarray(np.log(found))

    curve: Chebyshev = Chebyshev.interpolate(at, 15, domain=list(_WIDTHS))
    return curve


def design_of(plan: Plan) -> Design:
    """The plan as the arrays the charts compute with."""
    return Design(
        weight=np.array([chart.weight for chart in plan.charts]),
        width=np.array([chart.width for chart in plan.charts]),
        one_sided=np.array([chart.kind == "scatter" for chart in plan.charts]),
    )


@functools.lru_cache(maxsize=4096)
def shots_to_find(*, shift: float, phi: float, weight: float, width: float, grouping: Grouping) -> float:
    """Shots until a move of `shift` sigma of single shots is found, on average, with all learnt.

    Run length of the EWMA at shift/spread, times the size of a group: a move that begins within a group
    counts for as much of it as it fills.

    >>> short = shots_to_find(shift=1.0, phi=0.0, weight=0.25, width=4.2, grouping=Grouping(25, 0))
    >>> 25 < short < 80
    True
    """
    moved = shift / group_spread(grouping, phi=phi)
    groups = ewma_steady(weight=weight, L=width, shift=min(moved, 12.0), two_sided=True)
    return max(groups, 1.0) * grouping.size


def widened(width: float, *, groups: float) -> float:
    """How much wider the limit is with `groups` learnt than with the press known for ever, as a factor.

    sqrt(1 + 1/n)·t/z at the probability of the width (prediction limits; derived). 1 = nothing.

    >>> widened(4.2, groups=4) > 2.0 > widened(4.2, groups=40) > widened(4.2, groups=400) > 1.0
    True
    """
    known = max(2.0, groups)
    freedom = max(1.0, known - 1.0)
    student = float(stdtrit(freedom, float(ndtr(width))))
    return student / width * math.sqrt(1.0 + 1.0 / known)
