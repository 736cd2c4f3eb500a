"""Does one level stand out from the others: each level's mean against the mean of the rest."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from server.language import N_
from server.maths.autocorrelation import autocorrelation, effective_for_mean
from server.maths.charts import mean_of, refuse_infinite
from server.maths.results import Undetermined


@dataclass(frozen=True)
class AgainstOthers:
    """A level's mean minus the mean of the other levels' means, interval and p over all levels together."""

    level: int
    difference: float
    lower: float
    upper: float
    p: float
    n_effective: float

    @property
    def stands_out(self) -> bool:
        """Whether the interval leaves 0 out."""
        return self.lower > 0.0 or self.upper < 0.0


def against_others(
    levels: Sequence[npt.ArrayLike], *, confidence: float = 0.95
) -> tuple[AgainstOthers, ...] | Undetermined:
    """Each level against the others, scatters allowed to differ.

    Parameters
    ----------
    levels : sequence of array_like
        Readings of each level in order; NaN is a gap. At least two levels with two readings each.
    confidence : float
        Of all intervals together, two-sided, 0.5 to below 1.

    Returns
    -------
    tuple of AgainstOthers or Undetermined
        In the order of the levels; Undetermined with fewer levels or readings, or no scatter at all.

    Raises
    ------
    ValueError
        A confidence out of bounds, an infinity among the readings.

    Notes
    -----
    Contrast m_i - Σ m_j/(k-1) with variance s_i²/n_i + Σ s_j²/n_j/(k-1)², degrees of freedom after
    Satterthwaite, Biometrics Bulletin 2 (1946) 110; for two levels it is Welch's test. All k contrasts
    together by Bonferroni. n is replaced by n(1-φ)/(1+φ) for φ > 0, as in `comparison.compare_means`.
    Levels drift apart for reasons of their own: with very many readings every level stands out by
    a little, so the difference and its interval are to be read, not p alone. Rounded data: harmless with
    scatter over a few steps. Heavy tails: keeps its level, loses power.

    Examples
    --------
    >>> found = against_others([[1.0, 2, 3, 4], [1.0, 2, 3, 4], [11.0, 12, 13, 14]])
    >>> found[2].stands_out, found[2].difference
    (True, 10.0)
    >>> against_others([[1.0, 2.0]]).reason
    'two levels needed, 1 given'
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    count = len(levels)
    if count < 2:
        return Undetermined(N_("two levels needed, {count} given", count=count))
    means, errors, freedoms, worths = (np.zeros(count) for _ in range(4))
    for number, level in enumerate(levels):
        array = np.asarray(level, dtype=np.float64).ravel()
        refuse_infinite(array)
        found = autocorrelation(array)
        phi = 0.0 if isinstance(found, Undetermined) else max(0.0, found.phi)
        array = array[~np.isnan(array)]
        if array.size < 2:
            return Undetermined(
                N_("level {number} has {size} of 2 values needed", number=number, size=array.size)
            )
        worths[number] = max(2.0, effective_for_mean(array.size, phi=phi))
        means[number] = mean_of(array)
        errors[number] = float((array - array[0]).var(ddof=1)) / worths[number]
        freedoms[number] = worths[number] - 1.0
    if not errors.any():
        return Undetermined(N_("no level scatters: a difference cannot be judged"))
    return tuple(
        _contrast(number, means, errors, freedoms, worths, confidence=confidence) for number in range(count)
    )


def standing_out(
    levels: Sequence[npt.ArrayLike], *, confidence: float = 0.95
) -> tuple[AgainstOthers, ...] | Undetermined:
    """The levels that stand out, the clearest first; each against those that are left.

    Parameters and what cannot be said as in `against_others`.

    Notes
    -----
    One odd level pulls the mean of the others, so that all of them seem odd. The contrast with the
    largest difference over its interval goes first if it leaves 0 out, and the rest are compared again
    without it. Of two levels left it cannot be said which is the odd one: both are named where only two were
    given, none where more were. The risk of naming any when none is odd is that of `against_others`.

    Examples
    --------
    >>> found = standing_out([[1.0, 2, 3, 4], [1.0, 2, 3, 4], [11.0, 12, 13, 14]])
    >>> [(one.level, one.difference) for one in found]
    [(2, 10.0)]
    """
    left = list(range(len(levels)))
    first = against_others(levels, confidence=confidence)
    if isinstance(first, Undetermined):
        return first
    if len(levels) == 2:
        return tuple(one for one in first if one.stands_out)
    odd: list[AgainstOthers] = []
    found: tuple[AgainstOthers, ...] | Undetermined = first
    while not isinstance(found, Undetermined) and len(left) > 2:
        clearest = max(found, key=lambda one: abs(one.difference) / (one.upper - one.lower))
        if not clearest.stands_out:
            break
        odd.append(replace(clearest, level=left.pop(clearest.level)))
        found = against_others([levels[number] for number in left], confidence=confidence)
    return tuple(odd)


def _contrast(
    number: int,
    means: npt.NDArray[np.float64],
    errors: npt.NDArray[np.float64],
    freedoms: npt.NDArray[np.float64],
    worths: npt.NDArray[np.float64],
    *,
    confidence: float,
) -> AgainstOthers:
    count = len(means)
    weights = np.full(count, -1.0 / (count - 1))
    weights[number] = 1.0
    parts = weights**2 * errors
    variance = float(parts.sum())
    freedom = variance**2 / float((parts**2 / freedoms).sum())
    difference = float(weights @ (means - means[number]))
    half = float(stdtrit(freedom, 1.0 - (1.0 - confidence) / (2.0 * count))) * math.sqrt(variance)
    p = 2.0 * float(stdtr(freedom, -abs(difference) / math.sqrt(variance)))
    return AgainstOthers(
        level=number,
        difference=difference,
        lower=difference - half,
        upper=difference + half,
        p=min(1.0, p * count),
        n_effective=float(worths[number]),
    )
