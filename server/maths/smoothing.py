"""Charts that gather evidence over time: EWMA and tabular CUSUM.

Each can be continued: give the state the last call ended in and only the new values; the numbers
are the same, bit for bit, as over the whole series.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from server.maths.charts import indices, refuse_infinite

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Ewma:
    """`z` the smoothed values, limits one per point (all equal for steady limits)."""

    z: Floats
    ucl: Floats
    lcl: Floats
    signals: tuple[int, ...]


@dataclass(frozen=True)
class Cusum:
    """`high` and `low` in multiples of sigma, both ≥ 0; a point above h signals."""

    high: Floats
    low: Floats
    signals: tuple[int, ...]
    high_since: tuple[int, ...]
    low_since: tuple[int, ...]


def above_zero(name: str, value: float) -> float:
    """`value` if it is a finite number above 0, else ValueError with the name and the value."""
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a number above 0, got {value!r}")
    return float(value)


def weight_of(value: float) -> float:
    """`value` if it may be a lambda, above 0 and at most 1, else ValueError."""
    if not (math.isfinite(value) and 0.0 < value <= 1.0):
        raise ValueError(f"lambda must be above 0 and at most 1, got {value!r}")
    return float(value)


def smooth(values: Floats, *, weight: float, start: float) -> Floats:
    """z_i = weight·x_i + (1 - weight)·z_{i-1}; NaN repeats the last z.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Readings, NaN for gaps.
    weight, start : float
        λ in (0, 1], and z before the first value.

    Examples
    --------
    >>> smooth(np.array([1.0, np.nan, 3.0]), weight=0.5, start=0.0).tolist()
    [0.5, 0.5, 1.75]
    """
    seen = ~np.isnan(values)
    filtered, _ = lfilter([weight], [1.0, weight - 1.0], values[seen], zi=[(1.0 - weight) * start])
    path = np.concatenate(([start], filtered))
    return np.asarray(path[np.cumsum(seen)], dtype=np.float64)


def ewma(
    values: npt.ArrayLike,
    *,
    target: float,
    sigma: float,
    weight: float = 0.2,
    L: float = 3.0,
    limits: Literal["steady", "exact"] = "exact",
    start: float | None = None,
    seen_before: int = 0,
) -> Ewma:
    """EWMA chart.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN repeats the last z and does not signal.
    target, sigma : float
        Healthy mean and standard deviation (marginal), sigma above 0.
    weight : float
        λ in (0, 1].
    L : float
        Width of the limits in standard deviations of z, above 0.
    limits : {"steady", "exact"}
        target ± L·sigma·sqrt(λ/(2-λ)), or that times sqrt(1 - (1-λ)^(2i)).
    start : float, optional
        State to continue from; default target.
    seen_before : int
        How many values led to `start` (exact limits).

    Raises
    ------
    ValueError
        A parameter out of bounds, an infinity among the values.

    Notes
    -----
    ISO 7870-6; Montgomery, Introduction to SQC, 9.2. Rounded data: the mean of many rounded values
    is finer than the step, so the chart works below the display step when sigma is at least half of
    it. AR(1): z scatters more by about sqrt((1 + φ(1-λ))/(1 - φ(1-λ))); widen sigma by that. Heavy
    tails: small λ averages them out, λ ≤ 0.1 keeps its run length best.

    Examples
    --------
    >>> ewma([9.45, 7.99], target=10, sigma=1, weight=0.1, L=2.7).z.round(4).tolist()
    [9.945, 9.7495]
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    lam, width = weight_of(weight), above_zero("L", L) * above_zero("sigma", sigma)
    if not math.isfinite(target):
        raise ValueError(f"target must be a finite number, got {target!r}")
    if limits not in ("steady", "exact"):
        raise ValueError(f"limits must be 'steady' or 'exact', got {limits!r}")
    z = smooth(array - target, weight=lam, start=0.0 if start is None else start - target)
    half = np.full(array.size, width * math.sqrt(lam / (2.0 - lam)))
    if limits == "exact":
        count = np.maximum(1, seen_before + np.cumsum(~np.isnan(array)))
        half = half * np.sqrt(1.0 - (1.0 - lam) ** (2.0 * count))
    out = (np.abs(z) > half) & ~np.isnan(array)
    return Ewma(z=target + z, ucl=target + half, lcl=target - half, signals=indices(out))


def cusum(
    values: npt.ArrayLike,
    *,
    target: float,
    sigma: float = 1.0,
    k: float = 0.5,
    h: float = 5.0,
    headstart: float = 0.0,
    state: tuple[float, float] | None = None,
) -> Cusum:
    """Tabular two-sided CUSUM.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN leaves both sums as they are and does not signal.
    target, sigma : float
        Healthy mean and standard deviation, sigma above 0. With sigma 1 the other parameters and the
        sums are in the unit of the values.
    k, h : float
        Reference value (≥ 0) and decision interval (> 0) in sigma.
    headstart : float
        Both sums at the start, in sigma, 0 to h (fast initial response: h/2).
    state : (high, low), optional
        Sums to continue from instead of the headstart.

    Raises
    ------
    ValueError
        A parameter out of bounds, an infinity among the values.

    Notes
    -----
    high_i = max(0, high_{i-1} + (x_i - target)/sigma - k), low with the sign turned; signal above h
    (strict). ISO 7870-4; Page 1954; headstart Lucas & Crosier 1982. `high_since` counts the values
    since the sum was last 0: the estimated start of the shift. Rounded data: harmless while the step
    is below sigma. AR(1): run length falls quickly with φ; see `run_length.simulated`. Heavy tails:
    one far value can carry a sum over h alone.

    Examples
    --------
    >>> cusum([9.45, 7.99, 9.29, 11.66], target=10).high.round(2).tolist()
    [0.0, 0.0, 0.0, 1.16]
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    above_zero("sigma", sigma)
    above_zero("h", h)
    if not (math.isfinite(k) and k >= 0.0):
        raise ValueError(f"k must be at least 0, got {k!r}")
    if not 0.0 <= headstart <= h:
        raise ValueError(f"headstart must be from 0 to h = {h:g}, got {headstart!r}")
    if not math.isfinite(target):
        raise ValueError(f"target must be a finite number, got {target!r}")
    up, down = state if state is not None else (headstart, headstart)
    z = (array - target) / sigma
    high, high_since = _one_sided(z, k, up)
    low, low_since = _one_sided(-z, k, down)
    out = ((high > h) | (low > h)) & ~np.isnan(array)
    return Cusum(high, low, indices(out), high_since, low_since)


def _one_sided(z: Floats, k: float, start: float) -> tuple[Floats, tuple[int, ...]]:
    total, since = start, 0
    sums: list[float] = []
    counts: list[int] = []
    for value in z.tolist():
        if value == value:
            total = total + value - k
            if total <= 0.0:
                total, since = 0.0, 0
            else:
                since += 1
        sums.append(total)
        counts.append(since)
    return np.array(sums, dtype=np.float64), tuple(counts)
