"""Facts on how shots stand together over 100 and 1000 of them: skewness, bursts, what moves along."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import BLOCK, window_sums
from server.valve.moments import CUBE, MOMENTS, PEAK_SQUARE, SIZE_SQUARE, SQUARE, WITH_PEAK, WITH_SIZE

Floats = NDArray[np.float64]

FACTS: Final[tuple[str, ...]] = (
    "swept_skew",  # third moment within blocks over 100 shots: above 0 while single shots fall low
    "swept_skew_long",
    "swept_between",  # from block to block, of what the scatter of the record lets expect
    "swept_bursts",  # how unevenly the scatter is spread over the last 20 blocks
    "swept_with_size",  # correlation within blocks
    "swept_with_peak",
    "swept_with_size_long",
    "swept_with_peak_long",
)
#: A step from block to block is never counted for more, sigma of the record.
_CLIP: Final = 6.0
#: Mean distance of two neighbouring medians of five normal values, sigma (computed, 400,000 blocks).
_MEAN_STEP: Final = 0.605
#: Squares added below, so that a window that hardly varies has no correlation, sigma^2.
_QUIET: Final = 10.0
#: Blocks needed.
_NEEDED: Final = 4


def facts(
    *,
    median: Floats,
    known: Floats,
    scatter: Floats,
    broken: Floats,
    moments: Floats,
    start: int,
    lengths: tuple[int, int],
) -> Floats:
    """[k, FACTS] at the block rows from `start` on, NaN where too few blocks are known.

    median [m], scatter [m]: of the swept stroke, in sigma of the record and times the record's scatter;
    known [m]: 1 where a block has one; broken [m]: 1 where a change stands before a block; moments
    [m, MOMENTS]. lengths: blocks of both windows.
    """
    both = np.zeros(len(median))
    both[1:] = known[1:] * known[:-1] * (1.0 - broken[1:])
    step = np.zeros(len(median))
    step[1:] = np.minimum(np.abs(median[1:] - median[:-1]), _CLIP) * both[1:]
    columns = np.concatenate(
        [np.stack([known, scatter, scatter * scatter, both, step], axis=1), moments * known[:, None]], axis=1
    )
    sums = window_sums(columns, lengths=lengths, start=start)
    short, long = (sums[length] for length in lengths)
    seen, wide, square, pairs, steps = (short[:, i] for i in range(5))
    enough, enough_long = seen >= _NEEDED, long[:, 0] >= _NEEDED
    with np.errstate(invalid="ignore", divide="ignore"):
        between = np.where(pairs >= _NEEDED, steps / pairs / _MEAN_STEP, np.nan)
        bursts = np.where(enough, square * seen / np.maximum(wide * wide, 1e-12) - 1.0, np.nan)
    own, own_long = short[:, -len(MOMENTS) :], long[:, -len(MOMENTS) :]
    return np.stack(
        [
            np.where(enough, _skew(own, seen), np.nan),
            np.where(enough_long, _skew(own_long, long[:, 0]), np.nan),
            between, bursts,
            np.where(enough, _moves(own, WITH_SIZE, SIZE_SQUARE), np.nan),
            np.where(enough, _moves(own, WITH_PEAK, PEAK_SQUARE), np.nan),
            np.where(enough_long, _moves(own_long, WITH_SIZE, SIZE_SQUARE), np.nan),
            np.where(enough_long, _moves(own_long, WITH_PEAK, PEAK_SQUARE), np.nan),
        ],
        axis=1,
    )  # fmt: skip


def _skew(sums: Floats, blocks: Floats) -> Floats:
    """Mean cube by the mean square to the power of 3/2, drawn towards 0 where there is hardly a square."""
    square = sums[:, SQUARE] + _QUIET
    return np.asarray(sums[:, CUBE] * np.sqrt(BLOCK * blocks) / (square * np.sqrt(square)))


def _moves(sums: Floats, product: int, square: int) -> Floats:
    """Correlation drawn towards 0 where there is hardly a square; NaN where the other does not vary."""
    found = sums[:, product] / np.sqrt((sums[:, SQUARE] + _QUIET) * (sums[:, square] + _QUIET))
    return np.where(sums[:, square] > 0.0, found, np.nan)
