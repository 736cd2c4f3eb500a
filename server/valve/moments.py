"""How the shots of one block stand together: skewness, and what moves with the swept stroke.

A late ring is a mixture: most shots as ever, some far off to one side, however many of them there are;
a median of five flips over when they are more than two, a third moment about the mean does not. And a
late ring loses pressure while it is open, and leaves the dose alone; a melt that is uneven moves both.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Sums over a block of values in sigma of the record, about the block's mean.
MOMENTS: Final[tuple[str, ...]] = ("square", "cube", "size_square", "with_size", "peak_square", "with_peak")
SQUARE, CUBE, SIZE_SQUARE, WITH_SIZE, PEAK_SQUARE, WITH_PEAK = range(len(MOMENTS))
#: No value counts for more, so that one outlier is not all there is, sigma.
_CLIP: Final = 8.0


def moments(swept: Floats, *, size: Floats, peak: Floats) -> Floats:
    """[k, MOMENTS] of values [k, 5] in sigma of the record about any fixed point; NaN where missing.

    >>> one = np.array([[0.0, 0.0, 0.0, 0.0, 5.0]])
    >>> moments(one, size=np.zeros((1, 5)), peak=-one).round(1).tolist()
    [[20.0, 60.0, 0.0, 0.0, 20.0, -20.0]]
    """
    x, y, z = _about_mean(swept), _about_mean(size), _about_mean(peak)
    products = (x * x, x * x * x, y * y, x * y, z * z, x * z)
    return np.stack([_summed(product) for product in products], axis=1)


def _about_mean(values: Floats) -> Floats:
    known = np.isfinite(values)
    held = np.where(known, np.clip(values, -_CLIP, _CLIP), 0.0)
    mean = _summed(held) / np.maximum(_summed(known.astype(np.float64)), 1.0)
    return np.where(known, held - mean[:, None], 0.0)


def _summed(values: Floats) -> Floats:
    """[k] sum over the shots, one after the other, so that it hangs on nothing else."""
    total = values[:, 0].copy()
    for i in range(1, values.shape[1]):
        total += values[:, i]
    return total
