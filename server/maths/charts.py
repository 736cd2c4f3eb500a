"""Charts of single values and of subgroups: individuals and moving range, X̄-R, X̄-S."""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from server.language import N_
from server.maths.constants import chart_constants
from server.maths.results import Undetermined
from server.maths.rounding import rounded_sigma, rounding_step

Floats = npt.NDArray[np.float64]

#: d2 and D4 for two values as tables print them.
D2_TABLE: Final = 1.128
D4_TABLE: Final = 3.267


@dataclass(frozen=True)
class Individuals:
    """Individuals and moving-range chart; `signals` and `mr_signals` are 0-based indices.

    A range belongs to the later of its two values. `step` is the display step when the
    rounding-aware sigma was asked for and a step was found.
    """

    n: int
    mean: float
    mr_bar: float
    sigma: float
    ucl: float
    lcl: float
    mr_ucl: float
    signals: tuple[int, ...]
    mr_signals: tuple[int, ...]
    step: float | None


@dataclass(frozen=True)
class Subgroups:
    """Chart of subgroup means with ranges and standard deviations; signals are subgroup indices."""

    n: int
    subgroups: int
    mean: float
    r_bar: float
    s_bar: float
    sigma: float
    ucl: float
    lcl: float
    r_ucl: float
    r_lcl: float
    s_ucl: float
    s_lcl: float
    means: tuple[float, ...]
    ranges: tuple[float, ...]
    deviations: tuple[float, ...]
    signals: tuple[int, ...]
    r_signals: tuple[int, ...]
    s_signals: tuple[int, ...]


def mean_of(values: Floats) -> float:
    """Mean by shifting with the first value, so that huge offsets cost no digits.

    Examples
    --------
    >>> mean_of(np.array([1e15 + 1, 1e15 + 3])) - 1e15
    2.0
    """
    return float(values[0] + (values - values[0]).mean())


def indices(flags: npt.NDArray[np.bool_]) -> tuple[int, ...]:
    """The places of True as whole numbers."""
    return tuple(int(i) for i in np.flatnonzero(flags))


def refuse_infinite(values: Floats) -> None:
    """Raise ValueError for the first infinity, naming its index."""
    bad = np.flatnonzero(np.isinf(values))
    if bad.size:
        raise ValueError(f"values must be finite, got {values.flat[bad[0]]} at index {int(bad[0])}")


def individuals(
    values: npt.ArrayLike, *, d2: Literal["table", "exact"] = "table", rounding: bool = False
) -> Individuals | Undetermined:
    """Individuals chart x̄ ± 3 sigma with sigma = MR̄/d2.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in order; NaN is a gap: it belongs to no mean and ends a range.
    d2 : {"table", "exact"}
        1.128 and D4 = 3.267 as printed, or 2/√π and the computed D4.
    rounding : bool
        Sigma from `rounded_sigma` at the step found in the data, where one is found and the moving
        ranges are hurt by it (sigma below twice the step). The range limit follows that sigma.

    Returns
    -------
    Individuals or Undetermined
        Undetermined with fewer than two values, or without two neighbours.

    Raises
    ------
    ValueError
        An infinity among the values, or an unknown `d2`.

    Notes
    -----
    ISO 7870-2. Rounded data: MR̄ collapses when most ranges are zero, hundreds of false signals
    follow; ask for `rounding`. AR(1): sigma is low by √(1-φ), run length 34 instead of 370 at
    φ = 0.5; use `baseline.phase_one`. Heavy tails: run length falls (t with 5 degrees of freedom:
    about 70 instead of 370, computed).

    Examples
    --------
    >>> chart = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(chart.mean, 2), round(chart.ucl, 4), round(chart.lcl, 4)
    (50.81, 55.8041, 45.8159)
    """
    if d2 not in ("table", "exact"):
        raise ValueError(f"d2 must be 'table' or 'exact', got {d2!r}")
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    usable = array[~np.isnan(array)]
    moves = np.abs(np.diff(array))
    seen = moves[~np.isnan(moves)]
    if usable.size < 2 or seen.size == 0:
        return Undetermined(N_("two neighbouring values needed, {size} given", size=usable.size))
    exact = chart_constants(2)
    divisor, range_factor = (D2_TABLE, D4_TABLE) if d2 == "table" else (exact.d2, exact.d4_limit)
    mean, mr_bar = mean_of(usable), float(seen.mean())
    sigma, mr_ucl = mr_bar / divisor, range_factor * mr_bar
    step = rounding_step(usable) if rounding else None
    if step is not None and sigma < 2.0 * step:
        sigma = rounded_sigma(usable, step=step)
        mr_ucl = range_factor * divisor * sigma
    ucl, lcl = mean + 3.0 * sigma, mean - 3.0 * sigma
    wide = np.zeros(array.size, np.bool_)
    wide[1:] = moves > mr_ucl
    out = indices((array > ucl) | (array < lcl))
    return Individuals(usable.size, mean, mr_bar, sigma, ucl, lcl, mr_ucl, out, indices(wide), step)


def subgroups(
    values: npt.ArrayLike, *, spread: Literal["range", "deviation"] = "range"
) -> Subgroups | Undetermined:
    """Chart of subgroup means, limits from ranges (X̄-R) or standard deviations (X̄-S).

    Parameters
    ----------
    values : array_like, shape (k, n)
        k subgroups of n readings, n from 2 to 1000. A subgroup with a NaN is left out (its mean,
        range and deviation are NaN, it never signals).
    spread : {"range", "deviation"}
        Which of the two sigma and the limits of the mean come from.

    Returns
    -------
    Subgroups or Undetermined
        Undetermined without one whole subgroup.

    Raises
    ------
    ValueError
        Not two-dimensional, n out of bounds, an infinity.

    Notes
    -----
    ISO 7870-2: limits x̿ ± A2·R̄ or x̿ ± A3·s̄, D3·R̄..D4·R̄, B3·s̄..B4·s̄; constants computed, not
    rounded. Rounded data: ranges of coarse readings are low in steps; prefer "deviation". AR(1):
    within-subgroup scatter misses what moves between subgroups, so means signal too often. Heavy
    tails: means of 5 from t with 5 degrees of freedom still signal three times as often (computed);
    ranges and deviations far more.

    Examples
    --------
    >>> chart = subgroups([[1.0, 2.0], [2.0, 3.0], [1.0, 4.0]])
    >>> round(chart.mean, 4), round(chart.r_bar, 4)
    (2.1667, 1.6667)
    """
    if spread not in ("range", "deviation"):
        raise ValueError(f"spread must be 'range' or 'deviation', got {spread!r}")
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2:
        raise ValueError(f"values must be subgroups of readings (2 dimensions), got {array.ndim}")
    if array.shape[0] == 0:
        return Undetermined(N_("one whole subgroup needed, none given"))
    refuse_infinite(array)
    c = chart_constants(int(array.shape[1]))
    whole = ~np.isnan(array).any(axis=1)
    if not whole.any():
        return Undetermined(N_("one whole subgroup needed, each has a gap"))
    shifted = array - array[whole][0, 0]
    means = shifted.mean(axis=1) + array[whole][0, 0]
    ranges = np.where(whole, array.max(axis=1) - array.min(axis=1), np.nan)
    deviations = shifted.std(axis=1, ddof=1)
    mean = mean_of(means[whole])
    r_bar, s_bar = float(ranges[whole].mean()), float(deviations[whole].mean())
    sigma = r_bar / c.d2 if spread == "range" else s_bar / c.c4
    half = 3.0 * sigma / math.sqrt(c.n)
    r_lcl, r_ucl, s_lcl, s_ucl = c.d3_limit * r_bar, c.d4_limit * r_bar, c.b3 * s_bar, c.b4 * s_bar
    return Subgroups(
        n=c.n,
        subgroups=int(whole.sum()),
        mean=mean,
        r_bar=r_bar,
        s_bar=s_bar,
        sigma=sigma,
        ucl=mean + half,
        lcl=mean - half,
        r_ucl=r_ucl,
        r_lcl=r_lcl,
        s_ucl=s_ucl,
        s_lcl=s_lcl,
        means=tuple(means.tolist()),
        ranges=tuple(ranges.tolist()),
        deviations=tuple(deviations.tolist()),
        signals=indices((means > mean + half) | (means < mean - half)),
        r_signals=indices((ranges > r_ucl) | (ranges < r_lcl)),
        s_signals=indices((deviations > s_ucl) | (deviations < s_lcl)),
    )
