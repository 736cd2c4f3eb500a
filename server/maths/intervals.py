"""Confidence intervals of capability indices for normal data."""

import math
from dataclasses import dataclass

from scipy.special import chdtri, ndtri
from scipy.stats import nct


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
    3√n·(true index); both ends by inversion. Source: Owen 1968 (memory), verified by computation.
    For a two-sided Cpk it is exact in the limit of a mean well off centre and conservative otherwise.

    Examples
    --------
    >>> i = noncentral_interval(1.33, n=20, freedom=19)
    >>> round(i.lower, 4), round(i.upper, 4)
    (0.8839, 1.7719)
    """
    scale = 3.0 * math.sqrt(n)
    t = scale * index
    tail = (1.0 - confidence) / 2.0
    rough = 8.0 * math.sqrt(1.0 + t * t / (2.0 * freedom)) + 4.0

    def invert(probability: float) -> float:
        low, high = t - rough, t + rough
        for _ in range(60):
            middle = 0.5 * (low + high)
            if float(nct.cdf(t, freedom, middle)) > probability:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high) / scale

    return Interval(invert(1.0 - tail), invert(tail))
