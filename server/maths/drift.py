"""Slow change: trend with interval, the moment of a step with interval, when a limit is reached."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import kolmogorov, ndtr, ndtri, stdtrit

from server.language import N_
from server.maths.autocorrelation import effective_for_mean, residual_phi
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined
from server.maths.rounding import rounding_step

Floats = npt.NDArray[np.float64]

#: Points the pairwise slopes are taken of; longer series are first reduced to means of groups.
POINTS_MAX: Final = 400


@dataclass(frozen=True)
class Drift:
    """`slope` per unit of `at` with its interval; the line passes through (`at_middle`, `level`).

    `level_lower`..`level_upper` is the interval of the level there; `p` the chance of a trend this
    clear without any drift (Kendall's S, two-sided).
    """

    slope: float
    slope_lower: float
    slope_upper: float
    at_middle: float
    level: float
    level_lower: float
    level_upper: float
    p: float
    n: int


@dataclass(frozen=True)
class ChangePoint:
    """The first value of the new level is at `index`, surely within `lower`..`upper` (inclusive).

    `before` and `after` are the two means, `sigma` the scatter about them, `p` the chance of a step
    this clear without any change.
    """

    index: int
    lower: int
    upper: int
    before: float
    after: float
    sigma: float
    p: float


@dataclass(frozen=True)
class Crossing:
    """When the trend reaches the limit; `upper` is None where it may never do so."""

    at: float
    lower: float
    upper: float | None


def _clean(values: npt.ArrayLike, at: npt.ArrayLike | None) -> tuple[Floats, Floats]:
    y = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(y)
    x = np.arange(y.size, dtype=np.float64) if at is None else np.asarray(at, dtype=np.float64).ravel()
    if x.size != y.size:
        raise ValueError(f"at must have {y.size} entries like values, got {x.size}")
    if np.isinf(x).any():
        raise ValueError(f"at must be finite, got {x[np.isinf(x)][0]} at index {int(np.isinf(x).argmax())}")
    usable = np.isfinite(y) & np.isfinite(x)
    return x[usable], y[usable]


def _reduced(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    if x.size <= POINTS_MAX:
        return x, y
    groups = np.array_split(np.arange(x.size), POINTS_MAX)
    middle_x = np.array([x[g].mean() for g in groups])
    return middle_x, np.array([np.median(y[g]) for g in groups])


def _kendall_variance(y: Floats) -> float:
    """Variance of Kendall's S with ties (Sen 1968, formula from memory)."""
    n = y.size
    ties = np.unique(y, return_counts=True)[1].astype(np.float64)
    return float((n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18.0)


def theil_sen(
    values: npt.ArrayLike, *, at: npt.ArrayLike | None = None, confidence: float = 0.95
) -> Drift | Undetermined:
    """Median of all pairwise slopes, with the interval from Kendall's S.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN left out.
    at : array_like, shape (n,), optional
        When each was made, any unit, increasing; default 0, 1, 2, …
    confidence : float
        Two-sided, 0.5 to below 1.

    Returns
    -------
    Drift or Undetermined
        Undetermined with fewer than 8 values or all at one time.

    Raises
    ------
    ValueError
        `at` of another length, confidence out of bounds, an infinity.

    Notes
    -----
    Theil 1950; Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389. More than 400 values are reduced to medians
    of 400 groups for the slope; the level is the mean of all residuals, wild ones drawn in, at the mean
    of `at` (where its error and that of the slope are unrelated). Under AR(1) the variance of S is
    multiplied by (1 + φ)/(1 - φ), φ from the residuals (leading term, derived). Rounded data: ties are
    in the variance; where most pairs tie the slope is 0 and the interval says how much could hide. Heavy
    tails: up to 29 % of wild values do no harm.

    Examples
    --------
    >>> found = theil_sen([0, 1, 2, 3, 4, 5, 6, 7, 8, 99.0])
    >>> found.slope, found.p < 0.01
    (1.0, True)
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    x, y = _clean(values, at)
    n = x.size
    if n < 8:
        return Undetermined(N_("{n} of 8 values needed for a trend", n=n))
    if float(np.ptp(x)) == 0.0:
        return Undetermined(N_("all values are of one moment: no trend can be seen"))
    offset = float(y[0])
    y = y - offset
    every = x, y
    x, y = _reduced(x, y)
    i, j = np.triu_indices(x.size, 1)
    apart = x[j] != x[i]
    slopes = np.sort((y[j] - y[i])[apart] / (x[j] - x[i])[apart])
    slope, at_middle = float(np.median(slopes)), float(every[0][0] + (every[0] - every[0][0]).mean())
    phi = residual_phi(y - slope * (x - at_middle), fitted=2)
    stretch = math.sqrt(_kendall_variance(y) * (1.0 + phi) / (1.0 - phi))
    z = float(ndtri(0.5 + confidence / 2.0))
    lower, upper = _ranks(slopes, z * stretch)
    s = float(np.sign(slopes).sum())
    p = 1.0 if stretch == 0.0 else 2.0 * float(ndtr(-max(0.0, abs(s) - 1.0) / stretch))
    level, half = _level(every[1] - slope * (every[0] - at_middle), confidence)
    level += offset
    return Drift(slope, lower, upper, at_middle, level, level - half, level + half, min(1.0, p), n)


def _ranks(slopes: Floats, reach: float) -> tuple[float, float]:
    """The slopes `reach` pairs of S below and above the median, as many below as above.

    Of N slopes in order the (N - reach)/2-th and, counted from 1, the ((N + reach)/2 + 1)-th: Hollander &
    Wolfe, Nonparametric Statistical Methods (memory).
    """
    low = max(0, math.floor((slopes.size - reach) / 2.0) - 1)
    high = min(slopes.size - 1, math.ceil((slopes.size + reach) / 2.0))
    return float(slopes[low]), float(slopes[high])


def _level(residuals: Floats, confidence: float) -> tuple[float, float]:
    """Mean of the residuals, wild ones drawn in, and the half width of its interval.

    Not their median: that of rounded readings lies on the display's grid, up to half a step off.
    """
    near = _drawn_in(residuals)
    phi = residual_phi(near, fitted=2)
    spread = float(near.std(ddof=2)) * math.sqrt((1.0 + phi) / (1.0 - phi) / near.size)
    freedom = max(1.0, effective_for_mean(near.size, phi=phi) - 2.0)
    return float(near.mean()), float(stdtrit(freedom, 0.5 + confidence / 2.0)) * spread


def change_point(values: npt.ArrayLike, *, confidence: float = 0.95) -> ChangePoint | Undetermined:
    """The most likely moment of one step of the mean, with its interval.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in order; NaN are skipped, indices count the whole array.
    confidence : float
        Of the interval, 0.5 to below 1.

    Returns
    -------
    ChangePoint or Undetermined
        Undetermined with fewer than 10 values or constant ones. A clear `p` is the caller's matter.

    Raises
    ------
    ValueError
        Confidence out of bounds, an infinity.

    Notes
    -----
    Least squares over all splits. Interval: splits whose log likelihood lies within -ln(1 - √c) of
    the best (likelihood-ratio set of a two-sided random walk with negative drift, Siegmund 1988, from
    memory; conservative). p: Kolmogorov's distribution of the largest CUSUM excursion. Both use the
    long-run variance σ²(1 + φ)/(1 - φ) for φ > 0, φ from the residuals about the two means, for p 0.7
    standard errors higher. Without any change p < 0.05 comes in 2 % of series at φ = 0, and at φ = 0.6
    in 4 % of 80 values, 9 % of 40 and 15 % of 20 (simulated, 400 each): fewer than 40 values that
    lean on each other date nothing. Heavy
    tails: values are first drawn in to ±4.5 robust sigma of each half. Rounded data: harmless while
    the step is at most sigma.

    Examples
    --------
    >>> found = change_point([0.1, -0.1] * 20 + [2.1, 1.9] * 20)
    >>> found.index, found.lower, found.upper
    (40, 40, 40)
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    places = np.flatnonzero(np.isfinite(array))
    n = places.size
    if n < 10:
        return Undetermined(N_("{n} of 10 values needed for a change point", n=n))
    y = array[places] - array[places[0]]
    unit = float(np.ptp(y))
    if unit == 0.0:
        return Undetermined(N_("all values are equal: nothing changed"))
    # In units of the range: no square of a value can overflow or vanish.
    y = y / unit
    split = int(np.argmax(_gain(y))) + 1
    y = np.concatenate([_drawn_in(y[:split]), _drawn_in(y[split:])])
    gain = _gain(y)
    split = int(np.argmax(gain)) + 1
    before, after = float(y[:split].mean()), float(y[split:].mean())
    residuals = np.concatenate([y[:split] - before, y[split:] - after])
    variance = max(float((residuals**2).sum()) / (n - 2), 1e-24)
    phi = residual_phi(residuals, fitted=2)
    long_run = variance * (1.0 + phi) / (1.0 - phi)
    near = np.flatnonzero(gain >= gain[split - 1] + 2.0 * long_run * math.log(1.0 - math.sqrt(confidence)))
    # A phi found too low makes a change of nothing: for p it is taken 0.7 standard errors higher.
    high = min(0.95, phi + 0.7 * math.sqrt(max(1.0 - phi * phi, 0.05) / n))
    slow = math.sqrt(variance * (1.0 + high) / (1.0 - high) * n)
    excursion = float(np.abs(np.cumsum(y - y.mean())).max()) / slow
    return ChangePoint(
        index=int(places[split]),
        lower=int(places[near[0] + 1]),
        upper=int(places[near[-1] + 1]),
        before=before * unit + float(array[places[0]]),
        after=after * unit + float(array[places[0]]),
        sigma=math.sqrt(variance) * unit,
        p=float(kolmogorov(excursion)),
    )


def _gain(y: Floats) -> Floats:
    """Fall of the sum of squares for a split after 1, 2, … n-1 values."""
    n = y.size
    left = np.arange(1, n, dtype=np.float64)
    sums = np.cumsum(y - y.mean())[:-1]
    return np.asarray(sums**2 * n / (left * (n - left)))


def _drawn_in(part: Floats) -> Floats:
    """Values no further from the median of their part than 4.5 robust sigma (or two display steps)."""
    middle = float(np.median(part))
    reach = max(4.5 * 1.4826 * float(np.median(np.abs(part - middle))), 2.0 * (rounding_step(part) or 0.0))
    return part if reach == 0.0 else np.clip(part, middle - reach, middle + reach)


def crossing(drift: Drift, *, limit: float) -> Crossing | Undetermined:
    """When the line of a drift reaches a limit, from the corners of its intervals.

    Parameters
    ----------
    drift : Drift
        From `theil_sen`.
    limit : float
        In the unit of the values.

    Returns
    -------
    Crossing or Undetermined
        In the unit of `at`. Undetermined when the slope may be zero in both directions or leads away
        from the limit.

    Notes
    -----
    at = at_middle + (limit - level)/slope. Earliest and latest combine the interval ends of slope and
    level, so the interval is conservative (derived). A straight line is an assumption: wear speeds
    up. Read it as "if it goes on like this".

    Examples
    --------
    >>> found = crossing(theil_sen(np.arange(20.0)), limit=40.0)
    >>> found.at
    40.0
    """
    if not math.isfinite(limit):
        raise ValueError(f"limit must be a finite number, got {limit!r}")
    if drift.slope_lower <= 0.0 <= drift.slope_upper:
        return Undetermined(N_("no drift that is sure enough to forecast from"))
    sign = 1.0 if drift.slope > 0 else -1.0
    gap = sign * (limit - drift.level)
    if gap <= 0.0:
        return Undetermined(N_("the drift leads away from the limit, or has passed it"))
    half = 0.5 * (drift.level_upper - drift.level_lower)
    ends = sorted((sign * drift.slope_lower, sign * drift.slope_upper))
    fast, slow = max(ends), min(ends)
    return Crossing(
        at=drift.at_middle + gap / (sign * drift.slope),
        lower=drift.at_middle + max(0.0, gap - half) / fast,
        upper=None if slow <= 0.0 else drift.at_middle + (gap + half) / slow,
    )
