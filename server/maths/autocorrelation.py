"""Lag-1 autocorrelation with its interval, and how many independent values a series is worth."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.language import N_
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Autocorrelation:
    """`raw` the sample value, `phi` corrected for bias, `lower`..`upper` its 95 % interval."""

    raw: float
    phi: float
    lower: float
    upper: float
    n: int


def lag_one(values: npt.ArrayLike) -> float:
    """Sample autocorrelation at lag 1: Σ(x_i - m)(x_{i+1} - m) / Σ(x_i - m)².

    Parameters
    ----------
    values : array_like, shape (n,)
        NaN values are left out of the mean, and pairs with one of them out of the sum.

    Returns
    -------
    float
        0.0 for fewer than two values or constant ones.

    Notes
    -----
    Definition of the NIST StRD univariate data sets. Values are shifted by the first one before any
    sum, so huge offsets cost no digits.

    Examples
    --------
    >>> lag_one([1.0, -1.0, 1.0, -1.0])
    -0.75
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    finite = np.isfinite(array)
    if finite.sum() < 2:
        return 0.0
    shifted = array - array[finite][0]
    centred = shifted - shifted[finite].mean()
    # By a power of two, which costs no digit: squares neither overflow nor vanish.
    centred = np.ldexp(centred, -math.frexp(float(np.abs(centred[finite]).max()))[1])
    total = float((centred[finite] ** 2).sum())
    if total == 0.0:
        return 0.0
    product = centred[1:] * centred[:-1]
    return float(product[finite[1:] & finite[:-1]].sum()) / total


def autocorrelation(values: npt.ArrayLike) -> Autocorrelation | Undetermined:
    """phi of an AR(1) model with a 95 % interval.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time; NaN marks a gap.

    Returns
    -------
    Autocorrelation or Undetermined
        Undetermined below 10 values or for constant ones.

    Raises
    ------
    ValueError
        An infinity among the values.

    Notes
    -----
    The sample value is low by (1 + 4φ)/n on average (Marriott & Pope 1954, Kendall 1954; memory) and
    is corrected for that; the interval is ± 1.96·sqrt((1 - φ²)/n), at φ = 0 the ± 1.96/√n of the
    NIST/SEMATECH e-Handbook 1.3.3.1. Rounding attenuates φ; outliers do too: exclude them first. A
    shift of level raises it.

    Examples
    --------
    >>> autocorrelation([1.0, 2.0]).reason
    '2 of 10 values needed for an autocorrelation'
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    finite = array[np.isfinite(array)]
    n = finite.size
    if n < 10:
        return Undetermined(N_("{n} of 10 values needed for an autocorrelation", n=n))
    if float(np.ptp(finite)) == 0.0:
        return Undetermined(N_("all values are equal: no autocorrelation can be seen"))
    raw = lag_one(array)
    phi = min(0.99, max(-0.99, raw + (1.0 + 4.0 * raw) / n))
    half = 1.959963984540054 * math.sqrt((1.0 - phi * phi) / n)
    return Autocorrelation(raw=raw, phi=phi, lower=max(-1.0, phi - half), upper=min(1.0, phi + half), n=n)


def effective_for_mean(n: int, *, phi: float) -> float:
    """How many independent values give a mean as sure: n(1 - φ)/(1 + φ), between 1 and n.

    Source: variance of the mean of a stationary AR(1), leading term (derived). Negative φ is not
    taken as a gift: the answer never exceeds n.

    Examples
    --------
    >>> effective_for_mean(300, phi=0.5)
    100.0
    """
    return min(float(n), max(1.0, n * (1.0 - phi) / (1.0 + phi)))


def effective_for_scatter(n: int, *, phi: float) -> float:
    """How many independent values give a variance as sure: n(1 - φ²)/(1 + φ²).

    Source: variance of the sample variance of a normal AR(1), leading term (derived from
    Σ ρ_k² = (1 + φ²)/(1 - φ²)).

    Examples
    --------
    >>> round(effective_for_scatter(100, phi=0.5), 1)
    60.0
    """
    return max(1.0, n * (1.0 - phi * phi) / (1.0 + phi * phi))


def residual_phi(residuals: npt.ArrayLike, *, fitted: int) -> float:
    """The positive part of phi of what a fit left over, corrected for what the fit took with it.

    Parameters
    ----------
    residuals : array_like, shape (n,)
        In order of time; NaN is a gap.
    fitted : int
        Parameters fitted to the same values, 1 or more.

    Returns
    -------
    float
        0.0 to 0.95; 0.0 where phi cannot be seen.

    Notes
    -----
    The mean is corrected for by `autocorrelation`; each further parameter costs about (1 + φ)/n as each
    further block mean does (derived for means, checked by simulation for lines).

    Examples
    --------
    >>> residual_phi([1.0, -1.0] * 20, fitted=2)
    0.0
    """
    found = autocorrelation(residuals)
    if isinstance(found, Undetermined):
        return 0.0
    share = min(0.5, max(0, fitted - 1) / found.n)
    return min(0.95, max(0.0, (found.phi + share) / (1.0 - share)))
