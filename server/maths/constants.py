"""Control chart constants for any subgroup size, computed from the normal distribution."""

import math
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from scipy.special import gammaln, ndtr

from server.maths.quadrature import nodes

#: Largest subgroup the constants are computed for.
SIZE_MAX: Final = 1000


@dataclass(frozen=True)
class ChartConstants:
    """Constants for subgroups of `n`: d2, d3, c4 and what follows from them.

    Limits of a mean are ± `a2`·R̄ or ± `a3`·s̄, of a range `d3_limit`..`d4_limit` times R̄ (printed D3,
    D4), of a standard deviation `b3`..`b4` times s̄; `e2` = 3/d2 is for single values.
    """

    n: int
    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    d3_limit: float
    d4_limit: float
    b3: float
    b4: float
    e2: float


def _checked(n: int) -> int:
    if isinstance(n, bool) or not isinstance(n, int) or not 2 <= n <= SIZE_MAX:
        raise ValueError(f"n must be a whole number from 2 to {SIZE_MAX}, got {n!r}")
    return n


@cache
def c4(n: int) -> float:
    """E[s]/σ for a subgroup of n: sqrt(2/(n-1)) Γ(n/2)/Γ((n-1)/2).

    Source: ISO 7870-2, ASTM MNL 7 (memory, verified by computation).

    Examples
    --------
    >>> round(c4(5), 4)
    0.94
    """
    _checked(n)
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2.0) - gammaln((n - 1) / 2.0)))


@cache
def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values."""
    x, w = nodes(-10.0, 10.0, 240)
    f, g = ndtr(x), ndtr(-x)
    mean = float((w * (1.0 - f**n - g**n)).sum())
    # E[R²] = 2 ∫∫_{x<y} (1 - F(y)^n - (1-F(x))^n + (F(y)-F(x))^n) dx dy, with y = x + r, r in 0..20.
    r, v = nodes(0.0, 20.0, 240)
    fy = ndtr(x[:, None] + r[None, :])
    inner = 1.0 - fy**n - (g**n)[:, None] + np.clip(fy - f[:, None], 0.0, 1.0) ** n
    second = 2.0 * float(w @ inner @ v)
    return mean, math.sqrt(second - mean * mean)


def d2(n: int) -> float:
    """E[R]/σ for a subgroup of n: ∫ (1 - Φ(x)ⁿ - (1-Φ(x))ⁿ) dx.

    Source: Tippett 1925, ISO 7870-2 (memory, verified by computation).

    Examples
    --------
    >>> round(d2(2), 6), round(d2(5), 3)
    (1.128379, 2.326)
    """
    return _range_moments(_checked(n))[0]


def chart_constants(n: int) -> ChartConstants:
    """All constants for subgroups of n.

    Parameters
    ----------
    n : int
        Subgroup size, 2 to 1000.

    Raises
    ------
    ValueError
        n out of bounds.

    Notes
    -----
    Formulas of ISO 7870-2 / ASTM MNL 7: A2 = 3/(d2√n), A3 = 3/(c4√n), D3,4 = 1 ∓ 3 d3/d2,
    B3,4 = 1 ∓ 3 sqrt(1 - c4²)/c4, E2 = 3/d2, negative lower limits set to 0. Tables print d2 rounded
    to three digits; the exact value is used here.

    Examples
    --------
    >>> c = chart_constants(5)
    >>> round(c.a2, 3), round(c.d4_limit, 3), round(c.b4, 3)
    (0.577, 2.114, 2.089)
    """
    mean, spread = _range_moments(_checked(n))
    c = c4(n)
    side = 3.0 * math.sqrt(1.0 - c * c) / c
    return ChartConstants(
        n=n,
        d2=mean,
        d3=spread,
        c4=c,
        a2=3.0 / (mean * math.sqrt(n)),
        a3=3.0 / (c * math.sqrt(n)),
        d3_limit=max(0.0, 1.0 - 3.0 * spread / mean),
        d4_limit=1.0 + 3.0 * spread / mean,
        b3=max(0.0, 1.0 - side),
        b4=1.0 + side,
        e2=3.0 / mean,
    )
