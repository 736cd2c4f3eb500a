"""Groups of consecutive shots as two numbers a signal: where its level stands and how it scatters.

Single shots have heavy tails and lean on their neighbours; both are taken out here, before any limit is
spoken of: each shot counts for at most three sigma, and the first shots of a group, which still lean on
the group before, are set aside.
"""

import dataclasses
import math
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: A shot counts for no more than this many sigma from where the level was, in the level of a group.
LEVEL_CLIP: Final = 3.0
#: The same for its distance from the group's own median, in the scatter of a group.
SCATTER_CLIP: Final = 2.5
#: Added to a scatter before its logarithm, in sigma: a stretch without any scatter stays a number.
SCATTER_FLOOR: Final = 0.1
#: Share of a group's shots that must have a value.
ENOUGH: Final = 0.6
#: Correlation with the shot before the group that is left after the shots set aside.
LEFT_OVER: Final = 0.1
SIZES: Final = ((25, 0), (25, 5), (50, 10), (100, 20))


@dataclasses.dataclass(frozen=True)
class Grouping:
    """`size` shots make a group; its first `aside` are not used."""

    size: int
    aside: int

    @property
    def used(self) -> int:
        return self.size - self.aside


def grouping_for(phi: float) -> Grouping:
    """The smallest group whose neighbours no longer lean on each other.

    Parameters
    ----------
    phi : float
        Lag-1 autocorrelation of the signal that has most of it, below 1.

    Notes
    -----
    With a = shots set aside, phi^a of the last shot's deviation reaches into the next group; the
    smallest of four sizes with phi^a <= 0.1, or phi <= 0.1 without any. Sizes: common practice, no source.

    Examples
    --------
    >>> grouping_for(0.0), grouping_for(0.6), grouping_for(0.85).size
    (Grouping(size=25, aside=0), Grouping(size=25, aside=5), 100)
    """
    strength = min(max(phi, 0.0), 0.99)
    for size, aside in SIZES:
        if strength ** max(aside, 1) <= LEFT_OVER:
            return Grouping(size, aside)
    return Grouping(*SIZES[-1])


def group_spread(grouping: Grouping, *, phi: float) -> float:
    """Standard deviation of a group's level in sigma of single shots, AR(1) with phi.

    sqrt((1/n)·(1 + 2·sum_{k=1}^{n-1} (1 - k/n)·phi^k)), n shots used (variance of the mean of a
    stationary series; derived).

    >>> round(group_spread(Grouping(25, 0), phi=0.0), 3), round(group_spread(Grouping(25, 5), phi=0.6), 3)
    (0.2, 0.426)
    """
    n = grouping.used
    k = np.arange(1, n)
    return math.sqrt((1.0 + 2.0 * float(((1.0 - k / n) * phi**k).sum())) / n)


def level_and_scatter(z: Floats, *, anchor: Floats) -> tuple[Floats, Floats]:
    """Level and scatter of groups of standardised shots.

    Parameters
    ----------
    z : float64 [..., n, s]
        (value - center) / sigma of the n used shots of a group; NaN = missing.
    anchor : float64, broadcast to [..., s]
        Where the level was last learnt, in the same sigma: shots are cut off around it.

    Returns
    -------
    (level, scatter) : float64 [..., s] each
        level = anchor + mean of the distances from it, cut off at 3; scatter = log(mean absolute
        distance from the group's median, cut off at 2.5, + 0.1). NaN with fewer than 60 % of the values.

    Examples
    --------
    >>> z = np.array([[0.0], [0.5], [-0.5], [0.2], [50.0]])
    >>> level, scatter = level_and_scatter(z, anchor=np.zeros(1))
    >>> round(float(level[0]), 2), bool(scatter[0] < 1.0)
    (0.64, True)
    """
    finite = np.isfinite(z)
    count = finite.sum(axis=-2)
    enough = count >= ENOUGH * z.shape[-2]
    base = np.asarray(anchor)[..., None, :]
    away = np.where(finite, np.clip(z - base, -LEVEL_CLIP, LEVEL_CLIP), 0.0)
    n = np.maximum(count, 1)
    level = np.asarray(anchor) + away.sum(axis=-2) / n
    ordered = np.sort(np.where(finite, z, np.inf), axis=-2)
    low, high = (n - 1) // 2, n // 2
    picked = [np.take_along_axis(ordered, k[..., None, :], axis=-2)[..., 0, :] for k in (low, high)]
    middle = np.where(enough, 0.5 * (picked[0] + picked[1]), 0.0)
    distance = np.where(finite, np.minimum(np.abs(z - middle[..., None, :]), SCATTER_CLIP), 0.0)
    scatter = np.log(distance.sum(axis=-2) / n + SCATTER_FLOOR)
    return np.where(enough, level, np.nan), np.where(enough, scatter, np.nan)
