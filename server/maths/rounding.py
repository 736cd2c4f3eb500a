"""Rounded readings: the display step found in the data, and a sigma that survives it.

Presses print cushion to 0.01 mm and pressure to 0.1 or 1 bar; on a tight press most consecutive
readings are then equal and any sigma from differences collapses. Three regimes, by the ratio of
step w to the standard deviation s of the rounded readings:

- w <= s: Sheppard's correction, sigma² = s² - w²/12 (Sheppard 1898, formula from memory; the
  neglected terms are of relative order exp(-2π²σ²/w²));
- w > s: maximum likelihood of a normal variable of which only the cell [x - w/2, x + w/2] is known;
- all readings in one or two cells: the likelihood has no inner maximum; the answer is the floor
  w/√12, the standard deviation of the cell itself. Sigma is never zero while a step is known.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import log_ndtr, ndtri

Floats = npt.NDArray[np.float64]

#: Most decimals looked for; a display with more is not rounded in any way that matters.
DECIMALS_MAX = 6


def _finite(values: npt.ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64).ravel()
    return array[np.isfinite(array)]


def _on_grid(scaled: Floats) -> bool:
    """Whether all of `scaled` are whole numbers as far as binary64 can tell."""
    slack = 1e-6 + 4.0 * np.finfo(np.float64).eps * float(np.abs(scaled).max())
    return bool(slack < 0.05 and (np.abs(scaled - np.rint(scaled)) <= slack).all())


def _coarser(grid: npt.NDArray[np.int64]) -> int:
    """How many grid steps the display really moves: 1, 2 or 5 (times powers of ten).

    Any other number is believed from ten distinct readings on, as unit conversion leaves it.
    """
    distinct = np.unique(grid)
    if distinct.size < 5:
        return 1
    common = int(np.gcd.reduce(np.diff(distinct)))
    if distinct.size >= 10:
        return max(common, 1)
    best = 1
    for candidate in (2, 5, 10, 20, 50, 100):
        if common % candidate == 0:
            best = candidate
    return best


def _converted_step(array: Floats) -> float | None:
    """A step that is no round decimal number, as unit conversion leaves it."""
    distinct = np.unique(array)
    if array.size < 20 or distinct.size < 3 or distinct.size > array.size // 2:
        return None
    slack = 16.0 * np.finfo(np.float64).eps * float(np.abs(array).max())
    gaps = np.diff(distinct)
    gaps = gaps[gaps > slack]
    if gaps.size < 2:
        return None
    for divisor in (1, 2, 3):
        step = float(gaps.min()) / divisor
        step = float((gaps / np.maximum(np.rint(gaps / step), 1.0)).mean())
        if bool((np.abs(gaps / step - np.rint(gaps / step)) < 0.01).all()):
            return step
    return None


def rounding_step(values: npt.ArrayLike) -> float | None:
    """The step of the display the readings came from.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in any unit. NaN and infinities are left out.

    Returns
    -------
    float or None
        The largest step 1, 2 or 5 times a power of ten (10⁻⁶ or more) whose multiples all readings
        are; 2 and 5 are claimed from five distinct readings on. Readings that were converted from
        another unit have an uneven step, found from their gaps when most readings repeat. None when
        the readings lie on no such grid, or when there are fewer than two.

    Notes
    -----
    Source: none needed, a property of the numbers. The tolerance is 10⁻⁶ of a step plus four units
    in the last place of the largest reading.

    Examples
    --------
    >>> rounding_step([12.31, 12.3, 12.34, 12.31])
    0.01
    >>> rounding_step([810.0, 795.0, 805.0, 820.0, 790.0, 800.0])
    5.0
    >>> rounding_step([0.1234567891, 0.7182818284]) is None
    True
    """
    array = _finite(values)
    if array.size < 2:
        return None
    for decimals in range(DECIMALS_MAX + 1):
        scaled = array * 10.0**decimals
        if _on_grid(scaled):
            if float(np.abs(scaled).max()) > 2.0**53:
                return None
            times = _coarser(np.rint(scaled - np.rint(scaled[0])).astype(np.int64))
            return float(times) / 10.0**decimals
    return _converted_step(array)


def _cell_probability_log(low: Floats, high: Floats) -> Floats:
    """log(Φ(high) - Φ(low)) without cancellation; low < high, any shape."""
    flip = low > 0
    upper = np.where(flip, -low, high)
    lower = np.where(flip, -high, low)
    log_upper = log_ndtr(upper)
    return np.asarray(log_upper + np.log1p(-np.exp(np.minimum(log_ndtr(lower) - log_upper, -1e-300))))


def _censored_sigma(array: Floats, step: float) -> float:
    """Maximum-likelihood sigma of a normal known by cells of width `step`."""
    cells, counts = np.unique(np.rint((array - array[0]) / step), return_counts=True)
    mean = float((cells * counts).sum() / counts.sum())
    floor = 1.0 / math.sqrt(12.0)
    if cells.size < 3:
        # One or two cells: the likelihood rises without end towards sigma 0 beside a cell border.
        share = float(counts.max() / counts.sum())
        return step * max(floor, _two_cell_sigma(share) if cells.size == 2 else 0.0)

    def loss(theta: Floats) -> float:
        sigma = math.exp(float(theta[1]))
        low = (cells - 0.5 - theta[0]) / sigma
        high = (cells + 0.5 - theta[0]) / sigma
        return -float((counts * _cell_probability_log(low, high)).sum())

    spread = math.sqrt(max(float((counts * (cells - mean) ** 2).sum() / counts.sum()), floor**2))
    start = np.array([mean, math.log(spread)])
    bounds = [(mean - 1.0, mean + 1.0), (math.log(floor), math.log(4.0 * spread + 1.0))]
    found = minimize(loss, start, method="L-BFGS-B", bounds=bounds)
    return step * max(floor, math.exp(float(found.x[1])))


def _two_cell_sigma(share: float) -> float:
    """Sigma (in steps) with the mean in the middle of the fuller cell, all the rest one cell away.

    The largest sigma such data support: P(|Z| < 1/(2σ)) = share.
    """
    return 0.5 / float(ndtri(0.5 + share / 2.0)) if share < 1.0 else 0.0


def rounded_sigma(values: npt.ArrayLike, *, step: float | None) -> float:
    """Standard deviation of what was rounded, not of what was printed.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN and infinities are left out.
    step : float or None
        Display step in the unit of `values`; None or 0 for readings that are not rounded.

    Returns
    -------
    float
        Sigma in the unit of `values`. Never below step/√12 when a step is given. Without a step the
        plain standard deviation (n - 1), which is 0 for constant readings. 0.0 for fewer than two
        readings without a step.

    Raises
    ------
    ValueError
        `step` is negative or not finite.

    Notes
    -----
    Sheppard's correction while step <= s, the interval-censored normal likelihood when coarser (see
    the module). Rounded: by design. AR(1): estimates the marginal sigma, with the precision of the
    effective sample size. Heavy tails: not robust; exclude outliers first.

    Examples
    --------
    >>> round(rounded_sigma([1.0, 2.0, 3.0, 4.0, 5.0], step=1.0), 6)  # sqrt(2.5 - 1/12)
    1.554563
    >>> round(rounded_sigma([7.0] * 50, step=0.1), 6)
    0.028868
    """
    array = _finite(values)
    if step is None or step == 0.0:
        return float(array.std(ddof=1)) if array.size > 1 else 0.0
    if not math.isfinite(step) or step < 0.0:
        raise ValueError(f"step must be a number above 0 or None, got {step!r}")
    if array.size < 2:
        return step / math.sqrt(12.0)
    spread = float((array - array[0]).std(ddof=1))
    if step <= spread:
        return math.sqrt(max(spread**2 - step**2 / 12.0, step**2 / 12.0))
    return _censored_sigma(array, step)


def robust_sigma(values: Floats, *, floor: float) -> float:
    """The larger of MAD·1.4826 and IQR/1.349, not below `floor`; 0.0 without values.

    Source of the factors: the normal quartile 0.6745 (computed).

    Examples
    --------
    >>> round(robust_sigma(np.array([1.0, 2.0, 3.0, 4.0, 100.0]), floor=0.0), 4)
    1.4826
    """
    if values.size == 0:
        return floor
    low, middle, high = np.quantile(values, [0.25, 0.5, 0.75])
    mad = float(np.median(np.abs(values - middle)))
    return max(1.482602218505602 * mad, float(high - low) / 1.3489795003921634, floor)
