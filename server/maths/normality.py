"""Anderson-Darling test of normality with mean and standard deviation estimated."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from server.language import N_
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Normality:
    """`a2` the statistic, `a2_star` corrected for n, `p` its p-value."""

    a2: float
    a2_star: float
    p: float


def spread_ties(values: Floats, *, step: float) -> Floats:
    """Sorted readings with ties spread evenly over their display cell.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Finite readings.
    step : float
        Width of the cell.

    Returns
    -------
    ndarray, shape (n,)
        Sorted; each reading moved by less than step/2. Without this, rounding alone fails any test
        of normality on a few hundred readings.

    Examples
    --------
    >>> spread_ties(np.array([1.0, 1.0, 2.0]), step=1.0).tolist()
    [0.75, 1.25, 2.0]
    """
    ordered = np.sort(values)
    cells, first, counts = np.unique(
        np.rint((ordered - ordered[0]) / step), return_index=True, return_counts=True
    )
    within = np.arange(ordered.size) - np.repeat(first, counts)
    place = (within + 0.5) / np.repeat(counts, counts) - 0.5
    return np.asarray(ordered[0] + (np.repeat(cells, counts) + place) * step)


def p_of_a2_star(a2_star: float) -> float:
    """p-value of the corrected statistic.

    Formula and source: D'Agostino & Stephens, Goodness-of-Fit Techniques (1986), Table 4.9 (memory,
    checked against the table's critical values). The branches meet within 0.001.

    Examples
    --------
    >>> round(p_of_a2_star(0.752), 3)
    0.05
    """
    a = a2_star
    if a >= 0.6:
        return math.exp(min(0.0, 1.2937 - 5.709 * min(a, 13.0) + 0.0186 * min(a, 13.0) ** 2))
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a > 0.2:
        return 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)


def anderson_darling(values: npt.ArrayLike, *, step: float | None = None) -> Normality | Undetermined:
    """Anderson-Darling test, both parameters estimated (case 3).

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN is left out.
    step : float, optional
        Display step; ties are then spread over their cell first (see `spread_ties`).

    Returns
    -------
    Normality or Undetermined
        Undetermined for fewer than 8 readings, for constant ones, and for a step above twice sigma,
        where the shape is hidden by the display.

    Raises
    ------
    ValueError
        An infinity among the readings.

    Notes
    -----
    A² = -n - (1/n) Σ (2i-1)(ln Φ(z_i) + ln(1 - Φ(z_{n+1-i}))), A*² = A²(1 + 0.75/n + 2.25/n²);
    D'Agostino & Stephens (1986), section 4.8. Positive autocorrelation makes p too small.

    Examples
    --------
    >>> anderson_darling([1.0] * 20).reason
    'all values are equal: a shape cannot be tested'
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    array = array[np.isfinite(array)]
    n = array.size
    if n < 8:
        return Undetermined(N_("{n} of 8 values needed to test normality", n=n))
    spread = float((array - array[0]).std(ddof=1))
    if spread <= 4.0 * np.finfo(np.float64).eps * float(np.abs(array).max()):
        return Undetermined(N_("all values are equal: a shape cannot be tested"))
    if step is not None and step > 2.0 * spread:
        return Undetermined(
            N_("the display step {step:g} is coarser than twice sigma {spread:.3g}", step=step, spread=spread)
        )
    ordered = np.sort(array) if step is None else spread_ties(array, step=step)
    z = ((ordered - ordered[0]) - (ordered - ordered[0]).mean()) / (ordered - ordered[0]).std(ddof=1)
    weight = 2.0 * np.arange(1, n + 1) - 1.0
    a2 = float(-n - (weight * (log_ndtr(z) + log_ndtr(-z[::-1]))).sum() / n)
    a2_star = a2 * (1.0 + 0.75 / n + 2.25 / n**2)
    return Normality(a2=a2, a2_star=a2_star, p=p_of_a2_star(a2_star))
