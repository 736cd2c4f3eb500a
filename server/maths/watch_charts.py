"""Charts that keep an alarm budget although nothing about the press is known beforehand.

A chart learns level and scatter of its groups while it watches: each new group is compared with those
before it by Student's t, so the error of what was learnt is part of the comparison. That makes a series
of standard normal values whose run lengths are known, and an EWMA gathers its evidence. How restless the
EWMA itself was while nothing was wrong widens the limits of presses whose level wanders slowly.
"""

import dataclasses
import functools
import math
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtr, stdtrit

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: Groups before a chart may speak, and until what it learnt is complete.
SPEAKS_FROM: Final = 40
LEARNS: Final = 100
LEARNS_MOST: Final = 2_000
#: One group counts for at most this many standard deviations.
CLIP: Final = 6.0
#: Share of the opening limit below which a chart is quiet again.
QUIET_SHARE: Final = 0.4
#: Chance that a steady chart is called restless, and the assurance of what is then allowed for.
RESTLESS_CHANCE: Final = 0.05
RESTLESS_ASSURANCE: Final = 0.9
#: A group's deviation is never taken to be surer than this, in sigma of single shots.
LEAST_SPREAD: Final = 0.02

_FIELDS: Final = (
    "n", "mean", "freedom", "squares", "ewma", "looks", "looked", "paired", "since_zero", "active",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Design:
    """Parameters of c charts, float64 [c] each.

    weight: lambda of the EWMA. width: its limit in standard deviations, for a process that is known.
    one_sided: only growth counts.
    """

    weight: Floats
    width: Floats
    one_sided: Flags

    @functools.cached_property
    def steady(self) -> Floats:
        """Variance of the EWMA of a steady press, lambda / (2 - lambda)."""
        return self.weight / (2.0 - self.weight)

    @functools.cached_property
    def memory(self) -> Floats:
        """(1 - k) / (1 + k) with k = (1 - lambda)^2: independent looks in one look at the EWMA's square."""
        keep = (1.0 - self.weight) ** 2
        return np.asarray((1.0 - keep) / (1.0 + keep))

    @functools.cached_property
    def chance(self) -> Floats:
        """Probability below the limit of a process that is known."""
        return np.asarray(ndtr(self.width))


@dataclasses.dataclass(frozen=True)
class Bank:
    """What charts have learnt and gathered, float64 [..., c] each.

    n, mean: groups the level rests on, and it. freedom, squares: degrees of freedom and sum of squares
    of the scatter between groups. ewma: evidence gathered. looks, looked, paired: how often the EWMA was
    looked at while it learnt, its sum of squares and of products with the value before. since_zero:
    groups since the evidence last changed its side. active: 1 while the chart signals.
    """

    n: Floats
    mean: Floats
    freedom: Floats
    squares: Floats
    ewma: Floats
    looks: Floats
    looked: Floats
    paired: Floats
    since_zero: Floats
    active: Floats

    @classmethod
    def empty(cls, *shape: int) -> "Bank":
        """Charts that have seen nothing.

        >>> Bank.empty(2).n.tolist()
        [0.0, 0.0]
        """
        return cls(**{name: np.zeros(shape) for name in _FIELDS})

    def as_array(self) -> Floats:
        """[fields, ..., c], for keeping; `from_array` is its inverse."""
        return np.stack([getattr(self, name) for name in _FIELDS])

    @classmethod
    def from_array(cls, values: Floats) -> "Bank":
        return cls(**dict(zip(_FIELDS, values, strict=True)))

    def with_new_level(self, which: Flags) -> "Bank":
        """After a known change: the level is learnt anew, the scatter between groups stays."""
        fresh = np.broadcast_to(which, self.n.shape)
        zeroed = ("n", "mean", "ewma", "since_zero", "active")
        return dataclasses.replace(
            self, **{name: np.where(fresh, 0.0, getattr(self, name)) for name in zeroed}
        )


def student_to_normal(t: Floats, freedom: Floats) -> Floats:
    """The normal value as probable as a t value: sign(t)·(8ν+1)/(8ν+3)·sqrt(ν·log(1 + t²/ν)).

    Source: Wallace, Ann. Math. Statist. 30 (1959) 1124-1130 (memory); within 0.02 for ν >= 3 up to
    four standard deviations (checked against the exact quantile).

    >>> round(float(student_to_normal(np.array(2.228), np.array(10.0))), 2)
    1.96
    """
    shrink = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0)
    return np.asarray(np.sign(t) * shrink * np.sqrt(freedom * np.log1p(t * t / freedom)))


def limits(bank: Bank, design: Design, *, complete: Flags | bool) -> Floats:
    """Opening limit of each chart's EWMA now, [..., c].

    Notes
    -----
    width·sqrt(λ/(2-λ)) for a steady press. While the level is still being learnt the comparison itself
    carries the error of what is known. Once learning is complete the error stays the same from group to
    group, so it goes into the limit: the width becomes the t quantile of the same probability, and the
    variance grows by 1/n. Where the EWMA was more restless than chance (χ², 5 %), its own mean square
    replaces the theoretical one, by its 90 % upper bound with as few independent looks as its lag-1
    correlation leaves, and the level learnt is as uncertain as those looks make it: that is how slow
    wander of a level is allowed for (derived; checked by simulation).
    """
    steady = design.steady
    done = np.asarray(complete) & (bank.n >= LEARNS)
    freedom = np.maximum(bank.freedom, 3.0)
    width = np.where(done, np.minimum(stdtrit(freedom, design.chance), 2.0 * design.width), design.width)
    factor, longer = _restlessness(bank, design)
    known = np.maximum(bank.n, 1.0)
    error = np.where(longer > 0.0, steady * factor * np.minimum(longer / known, 1.0), done / known)
    return np.asarray(width * np.sqrt(steady * factor + error))


def _restlessness(bank: Bank, design: Design) -> tuple[Floats, Floats]:
    """Factor on the variance of the EWMA, 1 for a steady press; and groups an independent look takes, 0
    for a steady press."""
    chance = np.maximum(bank.looks * design.memory, 1.0)
    ratio = bank.looked / np.maximum(bank.looks, 1.0) / design.steady
    restless = ratio > chdtri(chance, RESTLESS_CHANCE) / chance
    lag = np.clip(bank.paired / np.maximum(bank.looked, 1e-12), 1.0 - design.weight, 0.99)
    independent = np.maximum(bank.looks * (1.0 - lag * lag) / (1.0 + lag * lag), 2.0)
    allowed = np.maximum(ratio * independent / chdtri(independent, RESTLESS_ASSURANCE), 1.0)
    longer = (1.0 + lag) / (1.0 - lag)
    return np.where(restless, allowed, 1.0), np.where(restless, longer, 0.0)


def step(bank: Bank, values: Floats, design: Design, *, speaks: Flags | bool, complete: Flags | bool) -> Bank:
    """The bank after one more group.

    Parameters
    ----------
    bank : Bank, [..., c]
    values : float64 [..., c]
        Level or scatter of the group; NaN leaves a chart as it was.
    design : Design, [c]
    speaks : bool, broadcast to [..., c]
        Whether charts may open; what they gather is kept either way.
    complete : bool, broadcast to [..., c]
        Learning of scatter and restlessness is over.

    Notes
    -----
    t = (x - mean)/(s·sqrt(1 + 1/n)), Q = the normal value as probable; Q of a steady press are
    independent standard normal whatever n is (Quesenberry, J. Quality Technol. 23 (1991) 213-224,
    memory). EWMA_i = (1-λ)·EWMA_{i-1} + λ·Q. Opens beyond the limit, closes below 0.4 of it; nothing is
    learnt from groups while a chart signals.
    """
    complete = np.asarray(complete)
    there = np.isfinite(values)
    x = np.where(there, values, bank.mean)
    compares = there & (bank.n >= 1) & (bank.freedom >= 3)
    spread = np.maximum(np.sqrt(bank.squares / np.maximum(bank.freedom, 1.0)), LEAST_SPREAD)
    n = np.maximum(bank.n, 1.0)
    t = (x - bank.mean) / (spread * np.sqrt(1.0 + 1.0 / n))
    q = np.clip(student_to_normal(t, np.maximum(bank.freedom, 3.0)), -CLIP, CLIP)
    ewma = np.where(compares, bank.ewma + design.weight * (q - bank.ewma), bank.ewma)
    limit = limits(bank, design, complete=complete)
    beyond = np.where(design.one_sided, ewma, np.abs(ewma))
    holds = beyond > np.where(bank.active > 0, QUIET_SHARE, 1.0) * limit
    active = np.where(compares, holds & np.asarray(speaks), bank.active > 0)
    calm = there & ~active & (np.abs(ewma) <= limit)
    learns = calm & (bank.n < np.where(complete, LEARNS, LEARNS_MOST))
    scatters = learns & ~complete
    looks = calm & compares & ~complete & (bank.looks < LEARNS_MOST)
    step_up = x - bank.mean
    grown = bank.n / (bank.n + 1.0) * step_up * step_up
    same_side = np.sign(ewma) == np.sign(bank.ewma)
    return Bank(
        n=bank.n + learns,
        mean=np.where(learns, bank.mean + step_up / (bank.n + 1.0), bank.mean),
        freedom=bank.freedom + (scatters & (bank.n >= 1)),
        squares=np.where(scatters, bank.squares + grown, bank.squares),
        ewma=ewma,
        looks=bank.looks + looks,
        looked=np.where(looks, bank.looked + ewma * ewma, bank.looked),
        paired=np.where(looks, bank.paired + ewma * bank.ewma, bank.paired),
        since_zero=np.where(compares, np.where(same_side, bank.since_zero + 1.0, 1.0), bank.since_zero),
        active=active.astype(np.float64),
    )


def moved(bank: Bank) -> Floats:
    """How far the value stands from what was learnt, in the unit of the values: EWMA·s."""
    spread = np.maximum(np.sqrt(bank.squares / np.maximum(bank.freedom, 1.0)), LEAST_SPREAD)
    return np.asarray(bank.ewma * spread)


def weight_for(spread: float, *, smallest: float = 0.35, width: float = 4.2) -> float:
    """λ with which a move of `smallest` sigma of single shots stands at the limit.

    Parameters
    ----------
    spread : float
        Standard deviation of a group's level in sigma of single shots.

    Notes
    -----
    width·sqrt(λ/(2-λ))·spread = smallest, kept from 0.05 to 0.3 (smaller: moves that matter to nobody
    would be found, 0.35 is common practice without a source).

    >>> weight_for(0.2) > weight_for(0.43)
    True
    """
    ratio = (smallest / (width * spread)) ** 2
    lam = 2.0 * ratio / (1.0 + ratio)
    return min(0.3, max(0.05, math.floor(lam * 20.0) / 20.0))
