"""When a slow rise began: a level that turns into a straight ramp, with the interval of the turn."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import fdtri

from server.language import N_
from server.maths.autocorrelation import effective_for_mean, residual_phi
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class RampStart:
    """The last value of the old level is at `index`, surely within `lower`..`upper` (inclusive).

    `level` is the mean before, `slope` the rise per unit of `at` afterwards, `sigma` the scatter
    about both. Compare `sigma` with that of `drift.change_point` to tell a ramp from a step.
    """

    index: int
    lower: int
    upper: int
    level: float
    slope: float
    sigma: float


def ramp_start(
    values: npt.ArrayLike, *, at: npt.ArrayLike | None = None, confidence: float = 0.95
) -> RampStart | Undetermined:
    """The most likely turn from a level to a ramp, with its interval.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in order; NaN are skipped, indices count the whole array.
    at : array_like, shape (n,), optional
        When each was made, any unit, increasing; default 0, 1, 2, …
    confidence : float
        Of the interval, 0.5 to below 1.

    Returns
    -------
    RampStart or Undetermined
        Undetermined with fewer than 10 values, constant ones, or all of one moment. Whether there is
        any change at all is the caller's matter (`drift.change_point` has a `p`).

    Raises
    ------
    ValueError
        `at` of another length, confidence out of bounds, an infinity among the values.

    Notes
    -----
    Least squares of a + b·max(0, x - τ) over τ at the readings (a broken line, continuous at τ, so
    the likelihood ratio is F with 1 and n - 3 degrees of freedom; derived). Interval: turns whose sum of
    squares exceeds the best by less than F·σ²(1 + φ)/(1 - φ), φ > 0 from the residuals, which are then
    worth fewer. Values further
    than 4.5 robust sigma from a first fit are drawn in to that. Rounded data: harmless while the step is
    at most sigma. A rise that speeds up is dated somewhat late.

    Examples
    --------
    >>> found = ramp_start([0.0, 0.1] * 20 + [0.5 * k for k in range(40)])
    >>> found.lower <= 40 <= found.upper, round(found.slope, 2)
    (True, 0.5)
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    when = np.arange(array.size, dtype=np.float64) if at is None else np.asarray(at, dtype=np.float64).ravel()
    if when.size != array.size:
        raise ValueError(f"at must have {array.size} entries like values, got {when.size}")
    places = np.flatnonzero(np.isfinite(array) & np.isfinite(when))
    if places.size < 10:
        return Undetermined(N_("{size} of 10 values needed for the start of a ramp", size=places.size))
    x, y = when[places] - when[places[0]], array[places] - array[places[0]]
    if float(np.ptp(y)) == 0.0 or float(np.ptp(x)) == 0.0:
        return Undetermined(N_("all values are equal, or of one moment: no ramp can be seen"))
    scale = float(np.ptp(x))
    x = x / scale
    _, residuals, _, _ = _fit(x, y)
    reach = 4.5 * 1.4826 * float(np.median(np.abs(residuals)))
    if reach > 0.0:
        y = y - residuals + np.clip(residuals, -reach, reach)
    gain, residuals, level, slope = _fit(x, y)
    turn = int(np.argmax(gain))
    freedom = x.size - 3
    variance = max(float((residuals**2).sum()) / freedom, 1e-24 * float(np.ptp(y)) ** 2)
    phi = residual_phi(residuals, fitted=3)
    worth = max(2.0, effective_for_mean(freedom, phi=phi))
    allowed = float(fdtri(1.0, worth, confidence)) * variance * (1.0 + phi) / (1.0 - phi)
    near = np.flatnonzero(gain >= gain[turn] - allowed)
    return RampStart(
        index=int(places[turn]),
        lower=int(places[near[0]]),
        upper=int(places[near[-1]]),
        level=level + float(array[places[0]]),
        slope=slope / scale,
        sigma=math.sqrt(variance),
    )


def _fit(x: Floats, y: Floats) -> tuple[Floats, Floats, float, float]:
    """Fall of the sum of squares for a turn at each reading but the last; the best fit beside it."""
    n = x.size
    after = np.arange(n - 1, 0, -1, dtype=np.float64)
    sum_x, sum_xx, sum_y, sum_xy = (
        np.cumsum(one[::-1])[::-1][1:] for one in (x, x * x, y - y.mean(), x * (y - y.mean()))
    )
    turns = x[:-1]
    h = sum_x - after * turns
    hh = sum_xx - 2.0 * turns * sum_x + after * turns**2 - h**2 / n
    hy = sum_xy - turns * sum_y
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(hh > 1e-12, hy**2 / hh, 0.0)
    best = int(np.argmax(gain))
    slope = float(hy[best] / hh[best]) if hh[best] > 1e-12 else 0.0
    ramp = slope * np.maximum(0.0, x - turns[best])
    level = float((y - ramp).mean())
    return gain, y - level - ramp, level, slope
