"""Capability of a measured product characteristic against the limits of its drawing.

Stability comes first: without it no index means anything, so ask `stability.stability` before the
numbers. No limit is ever invented; with one limit only the one-sided indices exist. The uncertainty
of the measurement stands in every number here: sigma contains it.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from server.language import N_
from server.maths.autocorrelation import effective_for_mean, effective_for_scatter
from server.maths.charts import mean_of, refuse_infinite, subgroups
from server.maths.intervals import (
    Interval,
    bissell_interval,
    chi2_interval,
    kurtosis,
    moving_range_freedom,
    noncentral_interval,
)
from server.maths.normality import Normality, anderson_darling
from server.maths.percentiles import PercentileIndices, percentile_indices
from server.maths.results import Undetermined
from server.maths.rounding import rounding_step

Floats = npt.NDArray[np.float64]

D2_TWO: Final = 1.1283791670955126


@dataclass(frozen=True)
class Index:
    """A capability index with its confidence interval."""

    value: float
    interval: Interval


@dataclass(frozen=True)
class Capability:
    """Indices of one characteristic; None where the limits given do not define one.

    `cp`, `cpk` use sigma within (short term), `pp`, `ppk`, `cpm` sigma total. `ppm` is the expected
    share outside the limits under normality, `ppm_observed` what was seen.
    """

    n: int
    mean: float
    sigma_within: float
    sigma_total: float
    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None
    cpm: Index | None
    percentile: PercentileIndices | Undetermined
    normality: Normality | Undetermined
    ppm: float
    ppm_interval: Interval
    ppm_observed: float


def fallout_ppm(*, to_lower: float | None, to_upper: float | None) -> float:
    """Parts per million outside limits that lie so many sigma from the mean, under normality.

    Examples
    --------
    >>> round(fallout_ppm(to_lower=3.0, to_upper=3.0))
    2700
    """
    share = sum(float(ndtr(-d)) for d in (to_lower, to_upper) if d is not None)
    return 1e6 * share


def cpm_index(*, lower: float, upper: float, mean: float, s: float, target: float) -> float:
    """Cpm = (U - L)/(6·sqrt(s² + (mean - T)²)), the index that counts distance from the target.

    Source: NIST/SEMATECH e-Handbook 6.1.6.

    Examples
    --------
    >>> round(cpm_index(lower=8, upper=20, mean=16, s=2, target=14), 6)
    0.707107
    """
    return (upper - lower) / (6.0 * math.hypot(s, mean - target))


def _cpm(
    mean: float,
    s: float,
    worth: tuple[float, float],
    limits: tuple[float, float],
    target: float,
    confidence: float,
) -> Index:
    """Cpm with the χ² interval of Boyles, J. Quality Technol. 23 (1991) (memory).

    His n(1 + δ²)²/(1 + 2δ²), with the values that scatter (freedom + 1) and mean are worth told apart.
    """
    value = cpm_index(lower=limits[0], upper=limits[1], mean=mean, s=s, target=target)
    off = ((mean - target) / s) ** 2
    freedom = (1.0 + off) ** 2 / (1.0 / (worth[1] + 1.0) + 2.0 * off / worth[0])
    return Index(value, chi2_interval(value, freedom=freedom, confidence=confidence))


def _distances(mean: float, lower: float | None, upper: float | None) -> list[float]:
    ends = [None if lower is None else mean - lower, None if upper is None else upper - mean]
    return [d for d in ends if d is not None]


def _pair(
    mean: float,
    sigma: float,
    lower: float | None,
    upper: float | None,
    worth: tuple[float, float],
    confidence: float,
) -> tuple[Index | None, Index]:
    """Index of the width (None with one limit) and of the nearer limit; `worth` = (n, freedom)."""
    n, freedom = worth
    wide: Index | None = None
    if lower is not None and upper is not None:
        value = (upper - lower) / (6.0 * sigma)
        wide = Index(value, chi2_interval(value, freedom=freedom, confidence=confidence))
    near = min(_distances(mean, lower, upper)) / (3.0 * sigma)
    exact = n < 30 or wide is None
    interval = (noncentral_interval if exact else bissell_interval)(
        near, n=n, freedom=freedom, confidence=confidence
    )
    return wide, Index(near, interval)


def _within(series: Floats, subgroup: int, phi: float) -> tuple[float, float] | Undetermined:
    """Sigma within and its degrees of freedom; `series` still has its gaps, which end a range."""
    if subgroup == 1:
        moves = np.abs(np.diff(series))
        moves = moves[~np.isnan(moves)]
        if moves.size == 0:
            return Undetermined(N_("no two neighbouring values, so nothing scatters between neighbours"))
        return float(moves.mean()) / D2_TWO, moving_range_freedom(moves.size, phi=phi)
    array = series[~np.isnan(series)]
    rows = array.size // subgroup
    if rows < 2:
        return Undetermined(
            N_(
                "{size} values make {rows} subgroups of {subgroup}; 2 needed",
                size=array.size,
                rows=rows,
                subgroup=subgroup,
            )
        )
    table = array[: rows * subgroup].reshape(rows, subgroup)
    chart = subgroups(table, spread="deviation")
    if isinstance(chart, Undetermined):
        return chart
    pooled = math.sqrt(float(np.mean(np.square(chart.deviations))))
    return pooled, float(rows * (subgroup - 1))


def _share_within(subgroup: int, phi: float) -> float:
    """Variance within over total variance of an AR(1): 1 - φ for neighbours (derived)."""
    m = max(2, subgroup)
    apart = np.arange(1, m)
    return 1.0 - 2.0 / (m * (m - 1)) * float(((m - apart) * np.power(phi, apart)).sum())


def _check(
    lower: float | None, upper: float | None, target: float | None, confidence: float, phi: float
) -> None:
    for name, value in (("lower", lower), ("upper", upper), ("target", target)):
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{name} must be a finite number, got {value!r}")
    if lower is None and upper is None:
        raise ValueError("lower or upper must be given: limits come from the drawing")
    if lower is not None and upper is not None and lower >= upper:
        raise ValueError(f"lower must be below upper, got {lower:g} and {upper:g}")
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    if not -1.0 < phi < 1.0:
        raise ValueError(f"phi must lie between -1 and 1, got {phi!r}")


def _ppm(
    mean: float, sigma: float, lower: float | None, upper: float | None, ends: Interval, ppk: float
) -> tuple[float, Interval]:
    """Expected ppm; its interval scales the distances as the interval of Ppk does."""
    to_lower = None if lower is None else (mean - lower) / sigma
    to_upper = None if upper is None else (upper - mean) / sigma

    def moved(end: float) -> float:
        shift = 3.0 * (end - ppk)
        return fallout_ppm(
            to_lower=None if to_lower is None else to_lower + shift,
            to_upper=None if to_upper is None else to_upper + shift,
        )

    return fallout_ppm(to_lower=to_lower, to_upper=to_upper), Interval(moved(ends.upper), moved(ends.lower))


def capability(
    values: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    subgroup: int = 1,
    confidence: float = 0.95,
    phi: float = 0.0,
    tails: Literal["normal", "measured"] = "normal",
) -> Capability | Undetermined:
    """Capability and performance indices with intervals.

    Parameters
    ----------
    values : array_like, shape (n,)
        Measurements in the unit of the limits, in order; NaN is a gap: left out, and it ends a range.
    lower, upper : float, optional
        Limits of the drawing, at least one.
    target : float, optional
        For Cpm; without it and with both limits, their middle.
    subgroup : int
        Values per subgroup for sigma within; 1 = moving ranges.
    confidence : float
        Two-sided, 0.5 to below 1.
    phi : float
        Lag-1 autocorrelation, between -1 and 1; all intervals then use the effective sample size.
    tails : {"normal", "measured"}
        "measured": where the kurtosis κ of the values is above 3, intervals of the total indices use
        freedom·2/(κ - 1) (as Bonett 2006, memory), which restores most of the coverage lost.

    Returns
    -------
    Capability or Undetermined
        Undetermined with fewer than two values, constant values, or fewer than two subgroups.

    Raises
    ------
    ValueError
        A limit not finite, none given, lower not below upper, an infinity, subgroup or phi out of bounds.

    Notes
    -----
    Cp = (U-L)/6σ, Cpk = min(U-x̄, x̄-L)/3σ with σ within; Pp, Ppk with s total (ISO 22514-2). Intervals:
    χ² for Cp, Pp; Bissell for Cpk, Ppk from n = 30, the exact noncentral t below that and for one
    limit; Boyles for Cpm. With phi the mean is worth n(1 - φ)/(1 + φ) values, s² n(1 - φ²)/(1 + φ²), and
    the moving range what `intervals.moving_range_freedom` says (see `assessment.assess`). Rounded data:
    sigma contains step²/12, small while the step is below sigma. AR(1): sigma within misses slow
    movement, so Cpk flatters; Ppk does not. Heavy tails: the χ² and Bissell intervals are too short
    (excess kurtosis 6: by a factor of two): ask for `tails="measured"`, or use the percentile indices.

    Examples
    --------
    >>> found = capability([9.0, 10.0, 11.0, 10.0, 9.5, 10.5], lower=7, upper=13)
    >>> round(found.pp.value, 3)
    1.414
    """
    _check(lower, upper, target, confidence, phi)
    if isinstance(subgroup, bool) or not 1 <= subgroup <= 100:
        raise ValueError(f"subgroup must be from 1 to 100, got {subgroup!r}")
    series = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(series)
    array = series[~np.isnan(series)]
    n = array.size
    if n < 2:
        return Undetermined(N_("{n} of 2 values needed", n=n))
    total = float((array - array[0]).std(ddof=1))
    within = _within(series, subgroup, phi)
    if isinstance(within, Undetermined):
        return within
    if total == 0.0 or within[0] == 0.0:
        return Undetermined(N_("no scatter to judge: neighbouring values are all equal"))
    mean = mean_of(array)
    if target is None and lower is not None and upper is not None:
        target = 0.5 * (lower + upper)
    freedom = max(1.0, effective_for_scatter(n, phi=phi) - 1.0)
    if tails == "measured":
        freedom = max(1.0, freedom * min(1.0, 2.0 / (kurtosis(array) - 1.0)))
    worth = (effective_for_mean(n, phi=phi), freedom)
    near = (worth[0] * min(1.0, _share_within(subgroup, phi)), within[1])
    cp, cpk = _pair(mean, within[0], lower, upper, near, confidence)
    pp, ppk = _pair(mean, total, lower, upper, worth, confidence)
    cpm: Index | None = None
    if target is not None and lower is not None and upper is not None:
        cpm = _cpm(mean, total, worth, (lower, upper), target, confidence)
    ppm, ppm_interval = _ppm(mean, total, lower, upper, ppk.interval, ppk.value)
    outside = np.zeros(n, np.bool_)
    outside |= False if lower is None else array < lower
    outside |= False if upper is None else array > upper
    return Capability(
        n=n,
        mean=mean,
        sigma_within=within[0],
        sigma_total=total,
        cp=cp,
        cpk=cpk,
        pp=pp,
        ppk=ppk,
        cpm=cpm,
        percentile=percentile_indices(array, lower=lower, upper=upper, confidence=confidence, phi=phi),
        normality=anderson_darling(array, step=rounding_step(array)),
        ppm=ppm,
        ppm_interval=ppm_interval,
        ppm_observed=1e6 * float(outside.mean()),
    )
