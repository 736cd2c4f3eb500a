"""A chart of scatter that does not care about the level: EWMA of the log of squared moves."""

import math
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from server.maths.charts import indices, refuse_infinite
from server.maths.smoothing import Ewma, above_zero, smooth, weight_of

#: Mean and standard deviation of ln χ²₁, the log of a squared standard normal value (closed form:
#: -γ - ln 2 and π/√2).
LOG_CHI2_MEAN: Final = -1.2703628454614782
LOG_CHI2_SD: Final = 2.221441469079183


def scatter_ewma(
    values: npt.ArrayLike,
    *,
    sigma: float,
    weight: float = 0.05,
    L: float = 3.0,
    step: float | None = None,
    phi: float = 0.0,
    start: float = 0.0,
) -> Ewma:
    """EWMA of log squared moves between neighbours: has the scatter changed, whatever the level does?

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in order; NaN is a gap.
    sigma : float
        Healthy standard deviation (marginal), above 0.
    weight, L : float
        λ in (0, 1] and the width of the limits in standard deviations of the statistic.
    step : float, optional
        Display step, above 0 and at most sigma: a tie is taken as a move of a third of a step, so that
        the logarithm exists, and mean and scatter of the logarithm are those of rounded readings.
    phi : float
        Lag-1 autocorrelation; moves have variance 2σ²(1-φ).
    start : float
        State to continue from.

    Returns
    -------
    Ewma
        z in natural-log units of variance (0 = as healthy, ln 4 = 1.39 = doubled sigma), one per
        value; the first repeats `start`.

    Raises
    ------
    ValueError
        A parameter out of bounds, a step above sigma, an infinity among the values.

    Notes
    -----
    y_i = ln((x_i - x_{i-1})²/(2σ²(1-φ))) + 1.2704, smoothed; y has standard deviation π/√2, and
    neighbouring y share a value: their correlation at φ = 0 is 0.111 (computed, by simulation of
    2,000,000 values), allowed for by the factor sqrt(1 + 0.223(1-λ)). Log variance EWMA: Crowder &
    Hamilton, J. Quality Technol. 24 (1992) (memory). A level shift costs one move only. The
    logarithm is skewed: false alarms are mostly downwards (0.4 % of values at L = 3, λ = 0.05,
    computed); run length at L = 3, λ = 0.05: 1,190 values without rounding, 1,120 to 1,330 for steps
    up to sigma wherever the level lies in its cell (Monte Carlo, standard error 2 %). Heavy tails: the
    logarithm tames outliers. Rounded data: calibrated by `step` up to sigma. Coarser, the place of the
    level in its cell decides (step 2 sigma: 570 to 1,430; 4 sigma: 45 to 900), so a step above sigma is
    refused; `scatter_counts.scatter_counts` keeps its run length there. Without `step` rounded readings
    signal too often.

    Examples
    --------
    >>> rng = np.random.default_rng(5)
    >>> scatter_ewma(rng.normal(0, 3, 400), sigma=1).signals[-1]
    399
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    lam = weight_of(weight)
    if not -1.0 < phi < 1.0:
        raise ValueError(f"phi must lie between -1 and 1, got {phi!r}")
    above_zero("sigma", sigma)
    if step is not None and above_zero("step", step) > sigma:
        raise ValueError(
            f"step must be at most sigma = {sigma:g}, got {step!r}: on so coarse a display count the "
            "readings that leave their home cells (scatter_counts)"
        )
    if not math.isfinite(start):
        raise ValueError(f"start must be a finite number, got {start!r}")
    moves = np.concatenate(([np.nan], np.abs(np.diff(array)))) if array.size else array
    floor = (step or 0.0) / 3.0 or 1e-6 * sigma
    variance = 2.0 * sigma**2 * (1.0 - phi)
    middle, deviation = LOG_CHI2_MEAN, LOG_CHI2_SD
    if step is not None and step > 0.1 * sigma:
        middle, deviation = _rounded_log_moments(math.sqrt(variance) / step)
    logs = np.log(np.maximum(moves, floor) ** 2 / variance) - middle
    logs = np.where(np.isnan(moves), np.nan, logs)
    z = smooth(logs, weight=lam, start=start)
    spread = deviation * math.sqrt(lam / (2.0 - lam) * (1.0 + 0.223 * (1.0 - lam)))
    half = np.full(array.size, above_zero("L", L) * spread)
    out = (np.abs(z) > half) & ~np.isnan(moves)
    return Ewma(z=z, ucl=half, lcl=-half, signals=indices(out))


def _rounded_log_moments(spread: float) -> tuple[float, float]:
    """Mean and deviation of ln(move²/variance) for rounded readings; `spread` in display steps.

    The chance of a move of k steps is the second difference of E[(Z·spread - x)⁺] at k (derived:
    the difference of two readings rounded with uniform phases has a triangular kernel).
    """
    top = math.ceil(9.0 * spread) + 2
    edges = np.arange(-top - 1, top + 2) / spread
    mass = edges * ndtr(edges) + np.exp(-0.5 * edges**2) / math.sqrt(2.0 * math.pi)
    chance = np.maximum(np.diff(mass, 2) * spread, 0.0)
    steps = np.maximum(np.abs(np.arange(-top, top + 1)), 1.0 / 3.0)
    logs = 2.0 * np.log(steps / spread)
    mean = float((chance * logs).sum())
    return mean, math.sqrt(float((chance * (logs - mean) ** 2).sum()))
