"""A chart of scatter for displays coarser than sigma: how often readings leave their home cells.

Where most readings are one printed number, moves between neighbours say nothing (or, with the level on
the border of two cells, flip between the two for ever) and no chart of their size keeps its run length.
What still tells is the share of readings outside the few cells that healthy readings fill.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve_banded
from scipy.special import betaincinv, ndtr, ndtri

from server.language import N_
from server.maths.charts import indices, refuse_infinite
from server.maths.results import Undetermined
from server.maths.smoothing import above_zero

Floats = npt.NDArray[np.float64]

#: Share of healthy readings the home cells hold at least (common practice, no source).
HOME_SHARE: Final = 0.95
#: Fewest healthy readings (common practice, no source).
NEEDED: Final = 50
#: Largest bound of the healthy share outside with which a rise can still be told from chance.
SHARE_MAX: Final = 0.3
#: Most rungs of the ladder a reading outside climbs.
RUNGS_MAX: Final = 200


@dataclass(frozen=True)
class CountReference:
    """What healthy readings do on their display.

    The cells from `low` to `high` (both printed values) are home; `outside` of the `n` healthy readings
    lay elsewhere, `share` is the upper bound of their true share. A reading outside climbs `rungs` - 1,
    any other goes down one; a sum of `limit` rungs signals, after `arl` readings on average at `share`.
    """

    low: float
    high: float
    step: float
    n: int
    outside: int
    share: float
    rungs: int
    limit: int
    arl: float


@dataclass(frozen=True)
class CountChart:
    """`sums` one per reading, in rungs; `outside` the readings that left home; signals are indices."""

    sums: Floats
    outside: tuple[int, ...]
    limit: int
    signals: tuple[int, ...]


def count_run_length(share: float, *, rungs: int, limit: int) -> float:
    """Mean run length of the chart when readings lie outside with a chance of `share`, from sum 0.

    Formula: E_b = 1 + p·E_(b + rungs - 1) + (1 - p)·E_max(0, b - 1), E = 0 from `limit` on (Markov chain,
    exact; Reynolds & Stoumbos, J. Qual. Technol. 31 (1999), memory). Infinity for a share of 0.

    Examples
    --------
    >>> round(count_run_length(0.5, rungs=2, limit=1), 6)  # the first reading outside
    2.0
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share must be from 0 to 1, got {share!r}")
    if share == 0.0:
        return math.inf
    up = rungs - 1
    bands = np.zeros((up + 2, limit))
    bands[up] = 1.0
    bands[up, 0] = share
    if up < limit:
        bands[0, up:] = -share
    bands[up + 1, :-1] = share - 1.0
    return float(solve_banded((1, up), bands, np.ones(limit))[0])


def _home(cells: npt.NDArray[np.int64]) -> tuple[int, int]:
    """The fewest neighbouring cells, grown from the fullest, that hold `HOME_SHARE` of the readings."""
    first = int(cells.min())
    counts = np.bincount(cells - first)
    low = high = int(np.argmax(counts))
    held = int(counts[low])
    while held < HOME_SHARE * cells.size:
        below = int(counts[low - 1]) if low > 0 else -1
        above = int(counts[high + 1]) if high + 1 < counts.size else -1
        low, high = (low - 1, high) if below > above else (low, high + 1)
        held += max(below, above)
    return low + first, high + first


def _rungs(share: float, ratio: float) -> int:
    """How far a reading outside climbs: the ratio of the two log-likelihood steps, whole."""
    worse = 2.0 * float(ndtr(ndtri(share / 2.0) / ratio))
    down = -math.log((1.0 - worse) / (1.0 - share))
    return min(RUNGS_MAX, max(2, round(1.0 + math.log(worse / share) / down)))


def _limit(share: float, rungs: int, arl: float) -> int:
    """The smallest limit with at least the wanted run length."""
    low, high = 0, rungs
    while count_run_length(share, rungs=rungs, limit=high) < arl:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (
            (low, middle) if count_run_length(share, rungs=rungs, limit=middle) >= arl else (middle, high)
        )
    return high


def count_reference(
    healthy: npt.ArrayLike,
    *,
    step: float,
    ratio: float = 2.0,
    arl: float = 1000.0,
    confidence: float = 0.9,
) -> CountReference | Undetermined:
    """The home cells of healthy readings and the limit that keeps a run length.

    Parameters
    ----------
    healthy : array_like, shape (n,)
        Readings of a healthy stretch as displayed; NaN left out.
    step : float
        Display step, above 0.
    ratio : float
        Rise of sigma the chart is tuned to, 1.1 to 10.
    arl : float
        Run length to be kept, 10 to 10⁶ readings.
    confidence : float
        Share of baselines whose true run length is at least that, 0.5 to below 1.

    Returns
    -------
    CountReference or Undetermined
        Undetermined below 50 readings, and where too few of them pin the share outside.

    Raises
    ------
    ValueError
        A parameter out of bounds, an infinity, readings that do not lie on one grid of `step`.

    Notes
    -----
    No distribution is assumed and no place of the level within its cell: the share outside is counted
    and its upper bound taken (Clopper & Pearson, Biometrika 26 (1934); memory), so the promise holds on the
    stated share of presses with 50 healthy readings as with 5,000; few readings cost power, not false
    alarms. `ratio` tunes only. Rounded data: made for steps above sigma. AR(1): readings outside come in
    clumps and the run length falls (to about a half at φ = 0.5; see tests). Heavy tails: counted like
    everything else. A shift of level leaves home too: on such a display the two cannot be told apart.

    Examples
    --------
    >>> found = count_reference([7.0] * 97 + [8.0] * 3, step=1.0)
    >>> found.low, found.high, found.outside, found.arl >= 1000
    (7.0, 7.0, 3, True)
    """
    above_zero("step", step)
    for name, value, low, high in (("ratio", ratio, 1.1, 10.0), ("arl", arl, 10.0, 1e6)):
        if not low <= value <= high:
            raise ValueError(f"{name} must be from {low:g} to {high:g}, got {value!r}")
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    array = np.asarray(healthy, dtype=np.float64).ravel()
    refuse_infinite(array)
    array = array[~np.isnan(array)]
    n = array.size
    if n < NEEDED:
        return Undetermined(N_("{n} of {needed} healthy readings needed", n=n, needed=NEEDED))
    scaled = (array - array[0]) / step
    cells = np.rint(scaled).astype(np.int64)
    if float(np.abs(scaled - cells).max()) > 0.05:
        raise ValueError(f"step must be the display step of the readings, got {step!r}")
    low_cell, high_cell = _home(cells)
    outside = int(((cells < low_cell) | (cells > high_cell)).sum())
    share = float(betaincinv(outside + 1.0, float(n - outside), confidence))
    if share > SHARE_MAX:
        return Undetermined(
            N_(
                "{outside} of {n} healthy readings lie outside: their share is too uncertain",
                outside=outside,
                n=n,
            )
        )
    rungs = _rungs(share, ratio)
    limit = _limit(share, rungs, arl)
    return CountReference(
        low=float(array[0] + low_cell * step),
        high=float(array[0] + high_cell * step),
        step=step,
        n=n,
        outside=outside,
        share=share,
        rungs=rungs,
        limit=limit,
        arl=count_run_length(share, rungs=rungs, limit=limit),
    )


def scatter_counts(values: npt.ArrayLike, *, against: CountReference, start: float = 0.0) -> CountChart:
    """Has the scatter grown on a coarse display? One-sided: what hides in a cell cannot shrink visibly.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings on the same display, in order; NaN leaves the sum as it is and does not signal.
    against : CountReference
        From `count_reference`.
    start : float
        Sum to continue from, 0 or more.

    Returns
    -------
    CountChart
        The sum is not set back after a signal.

    Raises
    ------
    ValueError
        An infinity among the values, a negative start.

    Examples
    --------
    >>> healthy = count_reference([7.0] * 97 + [8.0] * 3, step=1.0)
    >>> scatter_counts([7.0] * 20 + [8.0, 6.0, 8.0, 8.0, 6.0], against=healthy).signals[0] > 20
    True
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    if not (math.isfinite(start) and start >= 0.0):
        raise ValueError(f"start must be 0 or more, got {start!r}")
    half = 0.5 * against.step
    away = (array < against.low - half) | (array > against.high + half)
    moves = np.where(np.isnan(array), 0.0, np.where(away, against.rungs - 1.0, -1.0))
    path = start + np.cumsum(moves)
    sums = path - np.minimum(0.0, np.minimum.accumulate(path)) if array.size else path
    signals = (sums >= against.limit) & ~np.isnan(array)
    return CountChart(sums, indices(away), against.limit, indices(signals))
