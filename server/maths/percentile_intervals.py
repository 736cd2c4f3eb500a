"""How sure percentile indices are: by the normal law, by a fitted power law, or by ranks alone.

How often the 95 % intervals held the truth (Pp, Ppk; `tests/maths/percentile_study.py`, 400 samples a
line, standard error about 1 %) stands with `percentiles.percentile_indices`.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri
from scipy.stats import binom

from server.language import N_
from server.maths.intervals import Interval, bissell_interval, chi2_interval, noncentral_interval
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]

#: Share of the risk that the median takes of an interval by ranks; the two tails share the rest.
MEDIAN_RISK: Final = 0.2


@dataclass(frozen=True)
class Ends:
    """Intervals of the two indices; `pp` is Undetermined with one limit."""

    pp: Interval | Undetermined
    ppk: Interval | Undetermined


_ONE_LIMIT: Final = Undetermined(N_("both limits needed"))


def normal_ends(
    pp: float | None, ppk: float, *, worth: tuple[float, float], n: int, confidence: float = 0.95
) -> Ends:
    """Intervals where the quantiles are those of a normal: χ², and Bissell or noncentral t.

    `worth` = how many values the mean is worth, degrees of freedom of the scatter; as in `capability`.

    >>> ends = normal_ends(1.33, 1.33, worth=(50.0, 49.0), n=50)
    >>> round(ends.pp.lower, 2), round(ends.ppk.lower, 2)
    (1.07, 1.05)
    """
    mean_worth, freedom = worth
    exact = n < 30 or pp is None
    near = (noncentral_interval if exact else bissell_interval)(
        ppk, n=mean_worth, freedom=freedom, confidence=confidence
    )
    if pp is None:
        return Ends(_ONE_LIMIT, near)
    return Ends(chi2_interval(pp, freedom=freedom, confidence=confidence), near)


def _scores(logs: Floats, theta: Floats) -> tuple[Floats, Floats]:
    """Slope of the log likelihood of a power normal at (mean, log sd, λ), and -1 × its curvature by
    central differences of that slope."""

    def slope(at: Floats) -> Floats:
        mean, sd, lam = float(at[0]), math.exp(float(at[1])), float(at[2])
        near = abs(lam) < 1e-4
        power = np.expm1(lam * logs)
        y = logs + 0.5 * lam * logs**2 if near else power / lam
        bend = 0.5 * logs**2 + lam * logs**3 / 3.0 if near else (logs * (power + 1.0) - y) / lam
        z = (y - mean) / sd
        return np.array([z.sum() / sd, (z * z - 1.0).sum(), (logs - z * bend / sd).sum()])

    h = np.array([1e-4 * math.exp(float(theta[1])), 1e-4, 1e-3])
    rows = [(slope(theta - h * unit) - slope(theta + h * unit)) / (2.0 * h @ unit) for unit in np.eye(3)]
    curve = np.array(rows)
    return slope(theta), 0.5 * (curve + curve.T)


def power_ends(
    values: Floats,
    *,
    lam: float,
    lower: float | None,
    upper: float | None,
    share: float = 1.0,
    confidence: float = 0.95,
) -> Ends:
    """Intervals where a power λ of the values is normal, λ estimated with the rest (delta method).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Above 0, in the unit of the limits.
    lam : float
        The power fitted to them.
    lower, upper : float or None
        Limits, at least one.
    share : float
        Independent values a value is worth, above 0, at most 1.
    confidence : float
        Two-sided.

    Returns
    -------
    Ends

    Notes
    -----
    Inverse of the observed information of (mean, log sd, λ) times the slopes of the index, which is
    taken in logarithm where it lies two standard errors above 0 (derived). That the power law is the right
    one is taken for granted.

    Examples
    --------
    >>> x = np.exp(0.25 * ndtri((np.arange(200) + 0.5) / 200))
    >>> ends = power_ends(x, lam=0.0, lower=0.3, upper=2.5)
    >>> ends.pp.lower < 1.33 < ends.pp.upper
    True
    """
    middle = float(np.log(values).mean())
    logs = np.log(values) - middle
    low, high = (None if x is None else x / math.exp(middle) for x in (lower, upper))

    def indices(theta: Floats) -> Floats:
        mean, sd, power = float(theta[0]), math.exp(float(theta[1])), float(theta[2])
        y = mean + sd * np.array([-3.0, 0.0, 3.0])
        q = np.exp(y) if abs(power) < 1e-9 else np.exp(np.log1p(power * y) / power)
        sides = [math.inf if low is None else (q[1] - low) / (q[1] - q[0])]
        sides.append(math.inf if high is None else (high - q[1]) / (q[2] - q[1]))
        wide = math.nan if low is None or high is None else (high - low) / (q[2] - q[0])
        return np.array([wide, *sides])

    y = logs if abs(lam) < 1e-9 else np.expm1(lam * logs) / lam
    theta = np.array([float(y.mean()), math.log(float(y.std())), lam])
    with np.errstate(all="ignore"):
        h = np.array([1e-4 * math.exp(float(theta[1])), 1e-4, 1e-4])
        here = indices(theta)
        moved = [h * unit for unit in np.eye(3)]
        slopes = [(indices(theta + d) - indices(theta - d)) / (2.0 * d.sum()) for d in moved]
        _, information = _scores(logs, theta)
    if not np.isfinite(information).all() or float(np.linalg.eigvalsh(information)[0]) <= 0.0:
        unknown = Undetermined(N_("the values do not pin down the power law"))
        return Ends(unknown, unknown)
    cover = np.linalg.inv(information) / share
    z = float(ndtri(0.5 + confidence / 2.0))
    nearest = 1 + int(np.argmin(here[1:]))

    def ends(place: int) -> Interval | Undetermined:
        slope = np.array([float(one[place]) for one in slopes])
        half, value = z * math.sqrt(float(slope @ cover @ slope)), float(here[place])
        if not (math.isfinite(half) and math.isfinite(value)):
            return Undetermined(N_("the fitted law has no such quantiles nearby"))
        if value > half:
            return Interval(value * math.exp(-half / value), value * math.exp(half / value))
        return Interval(value - half, value + half)

    return Ends(_ONE_LIMIT if lower is None or upper is None else ends(0), ends(nearest))


def values_for_ranks(tail: float, *, confidence: float = 0.95) -> int:
    """How many independent values bound a quantile `tail` from the end on both sides by their ranks.

    Formula: the smallest n with (1 - tail)ⁿ at most a quarter of what the median leaves of the risk.

    >>> values_for_ranks(0.00135)
    3409
    """
    risk = (1.0 - confidence) * (1.0 - MEDIAN_RISK) / 4.0
    return math.ceil(math.log(risk) / math.log1p(-tail))


def rank_ends(
    ordered: Floats,
    *,
    tail: float,
    lower: float | None,
    upper: float | None,
    share: float = 1.0,
    step: float | None = None,
    confidence: float = 0.95,
) -> Ends:
    """Intervals from order statistics alone, whatever the distribution; at least as sure as said.

    Parameters
    ----------
    ordered : ndarray, shape (n,)
        Values in rising order, in the unit of the limits.
    tail : float
        The outer quantiles are `tail` and 1 - `tail`.
    lower, upper : float or None
        Limits, at least one.
    share : float
        Independent values a value is worth, above 0, at most 1; ranks are those of so many values.
    step : float, optional
        Display step; each bound is moved out by half of it.
    confidence : float
        Two-sided, of each index.

    Returns
    -------
    Ends
        Undetermined below `values_for_ranks` values, since nothing seen then bounds the tail from outside.

    Notes
    -----
    Binomial ranks for the three quantiles (David & Nagaraja, Order Statistics, section 7.1; memory), the
    risk shared out among them (Bonferroni), indices at the corners.

    Examples
    --------
    >>> rank_ends(np.arange(1000.0), tail=0.00135, lower=0.0, upper=999.0).ppk.reason
    '1000 of 3409 values needed to bound quantiles without a model'
    """
    n = ordered.size
    worth = math.floor(n * share)
    needed = values_for_ranks(tail, confidence=confidence)
    if worth < needed:
        told = f"{n}" if share >= 1.0 else N_("{n} values are worth {worth}:", n=n, worth=worth)
        few = Undetermined(
            N_(
                "{told} of {needed} values needed to bound quantiles without a model",
                told=told,
                needed=needed,
            )
            if share >= 1.0
            else N_("{told} {needed} needed to bound quantiles without a model", told=told, needed=needed)
        )
        return Ends(few, few)
    cell = 0.5 * (step or 0.0)

    def bounds(p: float, risk: float) -> tuple[float, float]:
        below = int(binom.ppf(risk / 2.0, worth, p)) - 1
        above = int(binom.isf(risk / 2.0, worth, p))
        places = (math.floor(below * n / worth), math.ceil(above * n / worth))
        return float(ordered[max(0, places[0])]) - cell, float(ordered[min(n - 1, places[1])]) + cell

    risk = 1.0 - confidence
    outer = risk * (1.0 - MEDIAN_RISK) / 2.0
    lows, highs = bounds(tail, outer), bounds(1.0 - tail, outer)
    middles = bounds(0.5, risk * MEDIAN_RISK)
    if lows[1] >= middles[0] or highs[0] <= middles[1]:
        unknown = Undetermined(N_("the outer quantiles cannot be told from the median"))
        return Ends(unknown, unknown)
    sides: list[list[float]] = []
    if lower is not None:
        sides.append([(m - lower) / (m - q) for m in middles for q in lows])
    if upper is not None:
        sides.append([(upper - m) / (q - m) for m in middles for q in highs])
    near = Interval(min(map(min, sides)), min(map(max, sides)))
    if lower is None or upper is None:
        return Ends(_ONE_LIMIT, near)
    wide = upper - lower
    return Ends(Interval(wide / (highs[1] - lows[0]), wide / (highs[0] - lows[1])), near)
