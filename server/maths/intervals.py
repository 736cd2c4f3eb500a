"""Confidence intervals of capability indices for normal data, and what they rest on."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, ndtri

from server.maths.quadrature import nodes


@dataclass(frozen=True)
class Interval:
    """A confidence interval, both ends included."""

    lower: float
    upper: float


def chi2_interval(value: float, *, freedom: float, confidence: float = 0.95) -> Interval:
    """Interval of an index that is a constant over sigma: value·sqrt(χ²_q/ν).

    Source: NIST/SEMATECH e-Handbook 6.1.6; ISO 22514-2.

    Examples
    --------
    >>> i = chi2_interval(24 / (6 * 1.75), freedom=19)
    >>> round(i.lower, 4), round(i.upper, 4)
    (1.5649, 3.0056)
    """
    tail = (1.0 - confidence) / 2.0
    low, high = float(chdtri(freedom, 1.0 - tail)), float(chdtri(freedom, tail))
    return Interval(value * math.sqrt(low / freedom), value * math.sqrt(high / freedom))


def bissell_interval(cpk: float, *, n: float, freedom: float, confidence: float = 0.95) -> Interval:
    """Normal approximation: Cpk ± z·sqrt(1/(9n) + Cpk²/(2ν)).

    Source: Bissell, Applied Statistics 39 (1990) 331-340, as the NIST/SEMATECH e-Handbook writes it
    with ν = n - 1. Covers 95 % well from n = 30; conservative when the mean is centred. Below n = 30
    use `noncentral_interval`.

    Examples
    --------
    >>> i = bissell_interval(1.33, n=20, freedom=19)
    >>> round(i.lower, 5), round(i.upper, 5)
    (0.88261, 1.77739)
    """
    half = float(ndtri(0.5 + confidence / 2.0)) * math.sqrt(1.0 / (9.0 * n) + cpk * cpk / (2.0 * freedom))
    return Interval(cpk - half, cpk + half)


def noncentral_interval(index: float, *, n: float, freedom: float, confidence: float = 0.95) -> Interval:
    """Exact interval of a one-sided index (mean to one limit over 3 s) for normal data.

    Formula: 3√n·index follows a noncentral t with ν degrees of freedom and noncentrality
    3√n·(true index); both ends by inversion of P(T ≤ t | δ) = E[Φ(t·s/σ - δ)].
    Source: Owen 1968 (memory), verified by computation. For a two-sided Cpk it is exact in the limit
    of a mean well off centre and conservative otherwise.

    Examples
    --------
    >>> i = noncentral_interval(1.33, n=20, freedom=19)
    >>> round(i.lower, 4), round(i.upper, 4)
    (0.8839, 1.7719)
    """
    scale = 3.0 * math.sqrt(n)
    t, tail = scale * index, (1.0 - confidence) / 2.0
    ratio, weight = _sigma_ratio(freedom)
    rough = 10.0 * math.sqrt(1.0 + t * t / (2.0 * freedom)) + 10.0

    def end(probability: float) -> float:
        def above(delta: float) -> float:
            return float(weight @ ndtr(t * ratio - delta)) - probability

        return float(brentq(above, t - rough - abs(t), t + rough + abs(t), xtol=1e-10)) / scale

    return Interval(end(1.0 - tail), end(tail))


def _sigma_ratio(freedom: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Nodes and weights for an expectation over s/σ with ν degrees of freedom."""
    reach = 9.0 / math.sqrt(2.0 * freedom)
    low, high = max(0.0, 1.0 - reach), 1.0 + reach
    ratio, w = nodes(low, high, 200)
    half = freedom / 2.0
    log_density = (
        math.log(2.0)
        + half * math.log(half)
        - float(gammaln(half))
        + (freedom - 1.0) * np.log(ratio)
        - half * ratio**2
    )
    weight = w * np.exp(log_density)
    return ratio, np.asarray(weight / weight.sum())


def moving_range_freedom(moves: int, *, phi: float = 0.0) -> float:
    """Degrees of freedom that the mean of so many moving ranges is worth, 1 or more.

    Formula: moves / (π - 2 + 4·Σ(√(1 - r_k²) + r_k·asin r_k - 1)) with r_k = -φ^(k-1)(1 - φ)/2, the
    correlation of moves k apart in a normal AR(1); 0.605 a move at φ = 0 (derived from the covariance of
    absolute normal values).

    Examples
    --------
    >>> round(moving_range_freedom(1000), 1), round(moving_range_freedom(1000, phi=0.6), 1)
    (605.0, 789.3)
    """
    r = -np.power(phi, np.arange(0.0, 400.0)) * (1.0 - phi) / 2.0
    shared = float((np.sqrt(1.0 - r * r) + r * np.arcsin(r) - 1.0).sum())
    return max(1.0, moves / (math.pi - 2.0 + 4.0 * shared))


def kurtosis(array: npt.NDArray[np.float64]) -> float:
    """Kurtosis (3 for a normal), unbiased for normal values, at least 1.5; 3.0 below 4 values.

    Formula: sample excess kurtosis G2 of k-statistics plus 3 (Joanes & Gill 1998, memory). Finite values,
    not constant, shape (n,).

    Examples
    --------
    >>> round(kurtosis(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])), 2)
    1.8
    """
    z = (array - array[0]) - (array - array[0]).mean()
    n = array.size
    if n < 4:
        return 3.0
    plain = float((z**4).mean() / (z**2).mean() ** 2)
    return max(1.5, 3.0 + (n - 1) / ((n - 2) * (n - 3)) * ((n + 1) * (plain - 3.0) + 6.0))
