"""A straight line through readings that follow one another, with an interval that allows for that."""

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
from scipy import stats

from server.errors import InvalidError
from server.language import N_

#: A sum of squares below this share of the readings' own is rounding.
_ROUNDING = 1e-24


@dataclasses.dataclass(frozen=True)
class Line:
    """y = intercept + slope x.

    slope_se and residual_sd as if the readings were independent; correlation: of neighbouring residuals,
    lag 1; effective_n: how many independent readings tell as much; interval: of the slope, 95 % or as asked.
    """

    intercept: float
    slope: float
    slope_se: float
    residual_sd: float
    correlation: float
    effective_n: float
    interval: tuple[float, float]


def fit_line(x: Sequence[float], y: Sequence[float], *, confidence: float = 0.95) -> Line:
    """Least squares of y on x, n >= 3 finite readings each, in the order in which they were made.

    slope = sum (x - mx)(y - my) / sum (x - mx)^2, slope_se = s / sqrt(sum (x - mx)^2),
    s^2 = sum of squared residuals / (n - 2). The interval is Student's with the number of readings cut to
    n (1 - r) / (1 + r) for the lag-1 correlation r of the residuals, corrected for its bias by
    (1 + 3 r) / n and never taken below 0; neighbours of one screw are not independent.
    Sources: least squares: any textbook, checked against NIST StRD Norris; effective number: Bayley &
    Hammersley 1946 (memory); bias of r: Kendall 1954 (memory).
    Fewer than 3 readings, other lengths, missing values or x all alike raise InvalidError.

    >>> line = fit_line([0, 1, 2, 3], [1.0, 3.1, 4.9, 7.0])
    >>> round(line.slope, 3), round(line.intercept, 3)
    (1.98, 1.03)
    """
    across, up = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if across.ndim != 1 or across.shape != up.shape or len(across) < 3:
        raise InvalidError(
            N_(
                "x and y: at least 3 values each, {size} and {size_2} given", size=across.size, size_2=up.size
            ),
            field="x",
        )
    if not (np.isfinite(across).all() and np.isfinite(up).all()):
        raise InvalidError(N_("x and y must be finite numbers"), field="x")
    if not 0.0 < confidence < 1.0:
        raise InvalidError(
            N_("confidence is {confidence}; it has to be between 0 and 1", confidence=confidence),
            field="confidence",
        )
    n = len(across)
    away = across - across.mean()
    spread = float((away * away).sum())
    if spread == 0.0:
        raise InvalidError(
            N_("x is {across:g} throughout; a line needs two different values", across=across[0]), field="x"
        )
    lifted = up - up.mean()
    slope = float((away * lifted).sum()) / spread
    rest = lifted - slope * away
    power = float((rest * rest).sum())
    if power <= _ROUNDING * float((up * up).sum()):
        power = 0.0
    residual_sd = math.sqrt(power / (n - 2))
    r = float((rest[1:] * rest[:-1]).sum()) / power if power > 0.0 else 0.0
    allowed = min(max(r + (1.0 + 3.0 * r) / n, 0.0), 0.95)
    effective = max(n * (1.0 - allowed) / (1.0 + allowed), 3.0) if r > 0.0 else float(n)
    freedom = max(effective - 2.0, 1.0)
    error = math.sqrt(power / freedom / (spread * effective / n))
    half = float(stats.t.ppf(0.5 + confidence / 2.0, freedom)) * error
    return Line(
        intercept=float(up.mean() - slope * across.mean()),
        slope=slope,
        slope_se=residual_sd / math.sqrt(spread),
        residual_sd=residual_sd,
        correlation=r,
        effective_n=effective,
        interval=(slope - half, slope + half),
    )
