"""How long parts last: a Weibull law and a curve without a law, from records as a plant has them.

A worn part is found at an inspection, so that its life lies between two looks (interval censoring);
it was often old already when the record began (left truncation); it may have been taken out for
another reason, or be in still (right censoring).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import stats

from server.language import N_
from server.maths.life_likelihood import Parts, best_law, laws_within, log_likelihood
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]

#: Failures before a law is fitted: with fewer the shape is anybody's guess (common practice, no source).
FAILURES_MIN: Final = 3
_EM_ROUNDS: Final = 5_000


@dataclass(frozen=True)
class WeibullLife:
    """S(t) = exp(-(t / scale)^shape), with likelihood-ratio intervals of both; `median` likewise.

    `failures` of `n` parts. `laws` are the (shape, scale) on the border of those the record does not
    contradict at that confidence, and the best, [k, 2]: what `remaining` takes its interval from.
    """

    shape: float
    scale: float
    shape_interval: tuple[float, float]
    scale_interval: tuple[float, float]
    median: float
    median_interval: tuple[float, float]
    n: int
    failures: int
    log_likelihood: float
    confidence: float
    laws: Floats


@dataclass(frozen=True)
class LifeCurve:
    """Share still good after each `at`, both [k], without any law: a step down at each.

    `beyond` is the share that outlives the longest record.
    """

    at: Floats
    good: Floats
    beyond: float


@dataclass(frozen=True)
class Remaining:
    """Life left after `age`: half of such parts last longer than `middle`; `early`: one in ten fails by then.

    Each with the interval over every law the record does not contradict.
    """

    age: float
    middle: float
    middle_interval: tuple[float, float]
    early: float
    early_interval: tuple[float, float]


def weibull_life(
    lower: npt.ArrayLike,
    upper: npt.ArrayLike,
    *,
    entry: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> WeibullLife | Undetermined:
    """Weibull law of lives known to lie in (lower, upper].

    Parameters
    ----------
    lower, upper : array_like, shape (n,)
        Of each part: the last age at which it was good, the age at which it was found failed; the
        same number twice where the moment is known, upper infinite where it has not failed (still
        in, or taken out for another reason). Any unit of life, at least 0.
    entry : array_like, shape (n,), optional
        Age at which the part came under watch; parts that failed before would not be in the record.
        Default 0.
    confidence : float
        Of the intervals, 0.5 to below 1.

    Returns
    -------
    WeibullLife or Undetermined
        Undetermined with fewer than 3 failures, or where the record bounds no law.

    Raises
    ------
    ValueError
        Naming the argument: lengths that differ, negative or NaN ages, upper below lower, entry
        above lower, confidence out of bounds.

    Notes
    -----
    Maximum likelihood; a part adds log(S(lower) - S(upper)) - log S(entry), or its density where the
    moment is known. Intervals: the range over laws whose log likelihood lies within half the
    chi-square quantile (1 degree) of the best. Source: W. Q. Meeker & L. A. Escobar, Statistical
    Methods for Reliability Data (1998), memory. Assumes one kind of part under like conditions, looks
    that come without regard to the part's state, and the Weibull law: hold it against `life_curve`.

    Examples
    --------
    >>> found = weibull_life([4, 6, 7, 9, 10, 10], [6, 7, 9, 12, np.inf, np.inf])
    >>> found.failures, 2 < found.shape < 7, 8 < found.scale < 13
    (4, True, True)
    """
    low, high, start = _checked(lower, upper, entry)
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    failures = int(np.isfinite(high).sum())
    if failures < FAILURES_MIN:
        return Undetermined(
            N_(
                "{failures} of {failures_min} failures needed for a law of life",
                failures=failures,
                failures_min=FAILURES_MIN,
            )
        )
    unit = float(high[np.isfinite(high)].max())
    parts = (low / unit, high / unit, start / unit)
    best = best_law(parts)
    if best is None:
        return Undetermined(N_("the record bounds no law of life: too few of the ages differ"))
    top = float(log_likelihood(best[None, :], parts)[0])
    drop = 0.5 * float(stats.chi2.ppf(confidence, 1))
    laws = laws_within(best, parts, top - drop)
    if laws is None:
        return Undetermined(N_("the record bounds no law of life: too few of the ages differ"))
    shape, scale = laws[:, 0], laws[:, 1] * unit
    k, eta = math.exp(best[0]), math.exp(best[1]) * unit
    half = scale * math.log(2.0) ** (1.0 / shape)
    return WeibullLife(
        shape=k,
        scale=eta,
        shape_interval=_range(shape),
        scale_interval=_range(scale),
        median=eta * math.log(2.0) ** (1.0 / k),
        median_interval=_range(half),
        n=low.size,
        failures=failures,
        # In the caller's unit: a known moment is a density.
        log_likelihood=top - math.log(unit) * int((low == high).sum()),
        confidence=confidence,
        laws=np.column_stack([shape, scale]),
    )


def remaining(life: WeibullLife, *, age: float) -> Remaining:
    """What is left to a part that is good at `age`, in the unit of the record.

    The age by which a share p of them fails is scale * ((age / scale)^shape - log(1 - p))^(1 / shape)
    (derived). Raises ValueError for a negative or infinite age.

    >>> life = weibull_life([4, 6, 7, 9, 10, 10], [6, 7, 9, 12, np.inf, np.inf])
    >>> new, old = remaining(life, age=0.0), remaining(life, age=9.0)
    >>> round(new.middle - life.median, 9), old.middle < new.middle, old.early < old.middle
    (0.0, True, True)
    """
    if not (math.isfinite(age) and age >= 0.0):
        raise ValueError(f"age must be a finite number of at least 0, got {age!r}")

    def left(shape: Floats, scale: Floats, share: float) -> Floats:
        done = (age / scale) ** shape - math.log1p(-share)
        return np.asarray(scale * done ** (1.0 / shape) - age)

    one = np.array([life.shape]), np.array([life.scale])
    every = life.laws[:, 0], life.laws[:, 1]
    return Remaining(
        age=age,
        middle=float(left(*one, 0.5)[0]),
        middle_interval=_range(left(*every, 0.5)),
        early=float(left(*one, 0.1)[0]),
        early_interval=_range(left(*every, 0.1)),
    )


def life_curve(
    lower: npt.ArrayLike, upper: npt.ArrayLike, *, entry: npt.ArrayLike | None = None
) -> LifeCurve | Undetermined:
    """Share still good by age, without a law: the self-consistent estimate.

    Arguments as in `weibull_life`. Where every moment is known or right-censored it is the
    product-limit estimate. Undetermined without a failure. Source: B. W. Turnbull, J. R. Stat. Soc.
    B 38 (1976) 290-295 (memory). Early steps are unsure where few parts were under watch that young.

    >>> curve = life_curve([1, 2, 3, 4], [1, 2, np.inf, 4])
    >>> curve.at.tolist(), curve.good.round(9).tolist()
    ([1.0, 2.0, 4.0], [0.75, 0.5, 0.0])
    """
    low, high, start = _checked(lower, upper, entry)
    at = np.unique(high[np.isfinite(high)])
    if not at.size:
        return Undetermined(N_("no failure on record"))
    points = np.append(at, np.inf)
    known = low == high
    inside = (points > low[:, None]) & (points <= high[:, None]) | (known[:, None] & (points == low[:, None]))
    watched = points > start[:, None]
    inside &= watched | known[:, None]
    own, seen, unseen = (one.astype(np.float64) for one in (inside, watched, ~watched))
    mass = np.full(points.size, 1.0 / points.size)
    for _ in range(_EM_ROUNDS):
        new = mass * (
            own.T @ (1.0 / np.maximum(own @ mass, 1e-300))
            + unseen.T @ (1.0 / np.maximum(seen @ mass, 1e-300))
        )
        new /= new.sum()
        done = float(np.abs(new - mass).max()) < 1e-12
        mass = new
        if done:
            break
    good = 1.0 - np.cumsum(mass)[:-1]
    return LifeCurve(at=at, good=np.clip(good, 0.0, 1.0), beyond=float(mass[-1]))


def _checked(lower: npt.ArrayLike, upper: npt.ArrayLike, entry: npt.ArrayLike | None) -> Parts:
    low, high = (np.asarray(one, dtype=np.float64).ravel() for one in (lower, upper))
    start = np.zeros(low.size) if entry is None else np.asarray(entry, dtype=np.float64).ravel()
    for name, one in (("upper", high), ("entry", start)):
        if one.size != low.size:
            raise ValueError(f"{name} must have {low.size} entries like lower, got {one.size}")
    for name, one in (("lower", low), ("entry", start)):
        bad = ~(np.isfinite(one) & (one >= 0.0))
        if bad.any():
            raise ValueError(f"{name} must be finite and at least 0, got {one[bad][0]!r}")
    bad = ~(high >= low) | (high <= 0.0)
    if bad.any():
        raise ValueError(f"upper must be above 0 and not below lower, got {high[bad][0]!r}")
    bad = start > low
    if bad.any():
        raise ValueError(f"entry must not be above lower, got {start[bad][0]!r}")
    return low, high, start


def _range(values: Floats) -> tuple[float, float]:
    return float(values.min()), float(values.max())
