"""Rows of shots gathered into blocks of five: level, scatter and tails, each a pure function of its rows.

A block row is one line of float64 columns (see the slices below). Nothing here depends on how many
blocks are worked on at once, so any batching of the same shots gives the same bits.
"""

import dataclasses
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.contract import SIGNALS as ALL_SIGNALS
from server.valve.moments import MOMENTS, moments

Floats = NDArray[np.float64]

#: The signals evidence is drawn from, in the order of every row here.
SIGNALS: Final[tuple[str, ...]] = (
    "swept_mm",
    "cushion_mm",
    "shot_size_mm",
    "peak_pressure_bar",
    "transfer_pressure_bar",
    "fill_time_s",
    "recovery_s_per_mm",
    "part_weight_g",
    "drift_mm",
)
assert set(SIGNALS) <= set(ALL_SIGNALS)
SWEPT, CUSHION, SIZE, PEAK, TRANSFER, FILL, RECOVERY, WEIGHT, DRIFT = range(len(SIGNALS))

#: Usable shots in a block.
BLOCK: Final = 5
#: Finite values a block needs of a signal before it says anything about it, and of the signals
#: that are often taken from one shot in ten only.
ENOUGH: Final = 3
ENOUGH_SPARSE: Final = 1
_SPARSE: Final = (WEIGHT, DRIFT)

_S = len(SIGNALS)
#: Columns of a block row: median; scatter in units of the reference; how far single values fell
#: from the median; 1 where the signal was there.
MEDIAN: Final = slice(0, _S)
SCATTER: Final = slice(_S, 2 * _S)
PRESENT: Final = slice(2 * _S, 3 * _S)
LOW_TAIL: Final = 3 * _S
HIGH_TAIL: Final = 3 * _S + 1
AT_BOTTOM: Final = 3 * _S + 2
#: 1 where there were weights enough for a scatter.
WEIGHT_SCATTERED: Final = 3 * _S + 3
#: How far single values lay beyond LEAN_SIGMA to either side of the median, in sigma, added up.
LOW_LEAN: Final = 3 * _S + 4
HIGH_LEAN: Final = 3 * _S + 5
#: Single values far beyond what tails of readings reach, low and high.
LOW_FAR: Final = 3 * _S + 6
HIGH_FAR: Final = 3 * _S + 7
#: How the shots of the block stand together, see `moments`.
TOGETHER: Final = slice(3 * _S + 8, 3 * _S + 8 + len(MOMENTS))
#: 1 where a known change stands between this block and the one before, whose medians do not compare.
AFTER_CHANGE: Final = 3 * _S + 8 + len(MOMENTS)
#: Median of the swept stroke as read: nothing is ever taken out of it.
AS_READ: Final = AFTER_CHANGE + 1
WIDTH: Final = AS_READ + 1

#: Mean absolute distance from the median of five normal values, in sigma (computed, 400,000 blocks).
_MEAN_DISTANCE: Final = 0.6625
#: A value counts as fallen out beyond this many sigma from its block's median.
TAIL_SIGMA: Final = 3.5
#: And as far out as tails of readings hardly reach.
FAR_SIGMA: Final = 9.0
#: Distances from the median that lean: beyond what healthy blocks show most of the time.
LEAN_SIGMA: Final = 1.5
#: One distance is never counted for more than this, so that a lone outlier does not make a scatter.
_CLIP_SIGMA: Final = 8.0
#: A cushion nearer to true bottom than this is at bottom, mm (common practice, no source); not
#: counted on a press whose record stands within three times of it, since that is its way.
BOTTOM_MM: Final = 0.3


@dataclasses.dataclass(frozen=True)
class Reference:
    """The approved startup record of a press: what shots are compared with.

    center, sigma, step: float64 [S] in the order of SIGNALS, in the signal's own unit; NaN where
    the signal is not in the record. step is the rounding of the readings (0: none seen).
    bottom_mm: screw position at true bottom (NaN: not known). within [S]: scatter from shot to shot,
    slow wandering left out (None: as sigma).
    """

    center: Floats
    sigma: Floats
    step: Floats
    bottom_mm: float
    within: Floats | None = None

    def near(self) -> Floats:
        """[S] scatter from shot to shot, at most `spread`, not below half a step.

        >>> Reference(np.array([60.0]), np.array([0.2]), np.zeros(1), 0.0, np.array([0.1])).near().tolist()
        [0.1]
        """
        widest = self.spread()
        if self.within is None:
            return widest
        step = np.where(np.isfinite(self.step), self.step, 0.0)
        within = np.fmax(self.within, 0.3 * self.sigma)
        return np.fmin(np.sqrt(within * within + 0.25 * step * step), widest)

    def spread(self) -> Floats:
        """[S] sigma that rounding cannot take below half a step; NaN stays NaN.

        sqrt(sigma^2 + step^2/4): readings that flip between two steps have half a step of scatter
        whatever the true one is (derived).

        >>> Reference(np.array([60.0]), np.array([0.0]), np.array([0.01]), 0.0).spread().tolist()
        [0.005]
        """
        step = np.where(np.isfinite(self.step), self.step, 0.0)
        floor = 1e-5 * np.abs(self.center) + 1e-9
        widest = np.sqrt(self.sigma * self.sigma + 0.25 * step * step)
        return np.where(np.isfinite(self.center), np.fmax(widest, floor), np.nan)


def summarise(values: Floats, *, reference: Reference) -> Floats:
    """Block rows [k, WIDTH] of values [5 k, S]; NaN = missing.

    Median, mean absolute distance from it (1 = as in the record), values fallen far out to either
    side of it, how they lean, and shots at bottom. A
    signal with fewer than 3 of 5 values (weight and drift: none),
    or without a record, is marked as not present and its columns are 0.

    >>> one = np.full((5, len(SIGNALS)), np.nan)
    >>> one[:, SWEPT] = [60.0, 60.1, 59.9, 60.0, 61.0]
    >>> full = np.full(len(SIGNALS), np.nan)
    >>> center, sigma = full.copy(), full.copy()
    >>> center[SWEPT], sigma[SWEPT] = 60.0, 0.1
    >>> row = summarise(one, reference=Reference(center, sigma, full, 0.0))[0]
    >>> float(row[MEDIAN][SWEPT]), int(row[LOW_TAIL]), int(row[HIGH_TAIL])
    (60.0, 1, 0)
    """
    k = len(values) // BLOCK
    shots = np.ascontiguousarray(values[: k * BLOCK].reshape(k, BLOCK, _S).transpose(0, 2, 1))
    spread = reference.near()
    finite = np.isfinite(shots)
    count = finite.sum(axis=2)
    median = _median(shots, count)
    with np.errstate(invalid="ignore"):
        away = (shots - median[:, :, None]) / spread[None, :, None]
    distance = np.where(np.isfinite(away), np.clip(np.abs(away), 0.0, _CLIP_SIGMA), 0.0)
    total = distance[:, :, 0].copy()
    for i in range(1, BLOCK):
        total += distance[:, :, i]
    needed = np.full(_S, ENOUGH)
    needed[list(_SPARSE)] = ENOUGH_SPARSE
    present = (count >= needed) & np.isfinite(spread)
    rows = np.zeros((k, WIDTH))
    rows[:, MEDIAN] = np.where(present, median, 0.0)
    rows[:, SCATTER] = np.where(present, total / np.maximum(count, 1) / _MEAN_DISTANCE, 0.0)
    rows[:, PRESENT] = present
    rows[:, WEIGHT_SCATTERED] = present[:, WEIGHT] & (count[:, WEIGHT] >= ENOUGH)
    swept_away = np.where(np.isfinite(away[:, SWEPT]), away[:, SWEPT], 0.0)
    rows[:, LOW_TAIL] = (swept_away > TAIL_SIGMA).sum(axis=1)
    rows[:, HIGH_TAIL] = (swept_away < -TAIL_SIGMA).sum(axis=1)
    rows[:, LOW_FAR] = (swept_away > FAR_SIGMA).sum(axis=1)
    rows[:, HIGH_FAR] = (swept_away < -FAR_SIGMA).sum(axis=1)
    leaning = np.clip(swept_away, -_CLIP_SIGMA, _CLIP_SIGMA)
    lean = (np.maximum(leaning - LEAN_SIGMA, 0.0), np.maximum(-leaning - LEAN_SIGMA, 0.0))
    for column, each in zip((LOW_LEAN, HIGH_LEAN), lean, strict=True):
        for i in range(BLOCK):
            rows[:, column] += each[:, i]
    rows[:, AT_BOTTOM] = at_bottom(shots[:, CUSHION], reference=reference).sum(axis=1)
    rows[:, AS_READ] = rows[:, SWEPT]
    rows[:, TOGETHER] = moments(away[:, SWEPT], size=away[:, SIZE], peak=away[:, PEAK])
    return rows


def at_bottom(cushion_mm: Floats, *, reference: Reference) -> NDArray[np.bool_]:
    """Which cushions are at true bottom: none on a press whose record stands nearly there.

    >>> record = Reference(np.array([54.0, 6.0]), np.ones(2), np.zeros(2), 0.0)
    >>> at_bottom(np.array([6.0, 0.2, np.nan]), reference=record).tolist()
    [False, True, False]
    """
    near = BOTTOM_MM + 0.5 * np.nan_to_num(reference.step[CUSHION])
    if not reference.center[CUSHION] - reference.bottom_mm > 3.0 * near:
        return np.zeros(cushion_mm.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        return np.asarray(cushion_mm - reference.bottom_mm <= near)


def _median(shots: Floats, count: NDArray[np.intp]) -> Floats:
    """[k, S] median over the finite values of the last axis; NaN where there is none."""
    ordered = np.sort(shots, axis=2)
    low = np.maximum(count - 1, 0) // 2
    high = count // 2
    high = np.minimum(high, np.maximum(count - 1, 0))
    pick_low = np.take_along_axis(ordered, low[:, :, None], axis=2)[:, :, 0]
    pick_high = np.take_along_axis(ordered, high[:, :, None], axis=2)[:, :, 0]
    return np.where(count > 0, 0.5 * (pick_low + pick_high), np.nan)


def level_of(rows: Floats) -> Floats:
    """[S] median of block medians; NaN for a signal in none of the rows."""
    found = np.full(_S, np.nan)
    for s in range(_S):
        there = np.sort(rows[rows[:, PRESENT][:, s] > 0, s])
        if len(there):
            found[s] = 0.5 * (there[(len(there) - 1) // 2] + there[len(there) // 2])
    return found


def window_sums(rows: Floats, *, lengths: tuple[int, ...], start: int) -> dict[int, Floats]:
    """Sums over the last n rows ending at each row from `start` on: {n: [k, columns]}.

    rows [m, columns] must hold at least max(lengths) - 1 rows before `start`. Added elementwise in
    one fixed order, so that each sum depends on its own rows alone. A length is a power of its
    parts: 1, 4, 20 = 5 x 4, 200 = 10 x 20.

    >>> window_sums(np.ones((8, 1)), lengths=(4,), start=3)[4].ravel().tolist()
    [4.0, 4.0, 4.0, 4.0, 4.0]
    """
    sums: dict[int, Floats] = {1: rows}
    smaller = 1
    for n in sorted(lengths):
        part = sums[smaller]
        total = part.copy()
        for i in range(1, n // smaller):
            gap = i * smaller
            total[gap:] += part[:-gap]
        sums[n] = total
        smaller = n
    return {n: sums[n][start:] for n in lengths}
