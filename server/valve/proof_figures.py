"""Figures of a score against what was true: ranking, Brier, calibration; chance counts presses, not rows."""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.features import FACT_INDEX
from server.valve.judgement import judge
from server.valve.proof_cases import Judged

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PREVALENCES: Final = (0.05, 0.2, 0.5)
#: Judgements of one press that are looked at: neighbours share their windows.
ROWS: Final = 12
BINS: Final = 10
_RESAMPLES: Final = 200


@dataclasses.dataclass(frozen=True)
class Bin:
    """Of the judgements that stated `low` to `high`: mean stated, share that leaked, its 95 % interval."""

    low: float
    high: float
    stated: float
    came: float
    came_low: float
    came_high: float
    presses: int


@dataclasses.dataclass(frozen=True)
class AtPrevalence:
    """brier and error (expected calibration error) with the set weighed to `prevalence` failing valves."""

    prevalence: float
    brier: float
    error: float
    bins: tuple[Bin, ...]


@dataclasses.dataclass(frozen=True)
class Figures:
    """Of one set. auc_low..auc_high: 95 % over presses. cushion_auc, ratio_auc: the peers."""

    name: str
    presses: int
    leaking: int
    auc: float
    auc_low: float
    auc_high: float
    cushion_auc: float
    ratio_auc: float
    at: tuple[AtPrevalence, ...]


@dataclasses.dataclass(frozen=True)
class Rows:
    """Judgements picked from presses. press [n]: which one; visible [n]; weight [n] sums to 1 a press."""

    facts: Floats
    leaking: Flags
    visible: Floats
    press: NDArray[np.int64]
    weight: Floats

    def where(self, keep: Flags) -> "Rows":
        return Rows(**{f.name: getattr(self, f.name)[keep] for f in dataclasses.fields(self)})


def pick(cases: Sequence[Judged], *, seed: int) -> Rows:
    """At most 12 judgements a press, those whose truth is clear."""
    rng = np.random.default_rng(seed)
    parts: list[tuple[Any, ...]] = []
    for number, case in enumerate(cases):
        clear = np.flatnonzero(case.clear)
        rows = np.sort(rng.choice(clear, size=min(ROWS, len(clear)), replace=False))
        many = np.full(len(rows), 1.0 / max(1, len(rows)))
        parts.append((case.facts[rows], case.leaking[rows], case.visible[rows],
                      np.full(len(rows), number), many))  # fmt: skip
    return Rows(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def auc(score: Floats, positive: Flags) -> float:
    """Chance that a leaking row outranks a sound one, ties half.

    >>> auc(np.array([0.1, 0.4, 0.35, 0.8]), np.array([False, False, True, True]))
    0.75
    """
    _, inverse, counts = np.unique(score, return_inverse=True, return_counts=True)
    ranks = (np.cumsum(counts) - 0.5 * (counts - 1))[inverse]
    n1 = int(positive.sum())
    n0 = len(score) - n1
    if n1 == 0 or n0 == 0:
        return float("nan")
    return float((ranks[positive].sum() - n1 * (n1 + 1) / 2) / (n1 * n0))


def calibration_error(chance: Floats, positive: Flags, *, weight: Floats) -> float:
    """Mean distance of stated chance and share that leak, over ten equal bins of the chance.

    >>> error = calibration_error(np.array([0.05, 0.95]), np.array([False, True]), weight=np.ones(2))
    >>> round(error, 6)
    0.05
    """
    bins = np.minimum((chance * BINS).astype(int), BINS - 1)
    stated = np.bincount(bins, weights=weight * chance, minlength=BINS)
    true = np.bincount(bins, weights=weight * positive, minlength=BINS)
    return float(np.abs(stated - true).sum() / weight.sum())


def chance_of(log_odds: Floats) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(-log_odds)))


def weighed(rows: Rows, prevalence: float) -> Floats:
    """[n] weights with which `prevalence` of the set leaks."""
    share = float((rows.weight * rows.leaking).sum() / rows.weight.sum())
    to = np.where(rows.leaking, prevalence / max(share, 1e-12), (1.0 - prevalence) / max(1.0 - share, 1e-12))
    return np.asarray(rows.weight * to)


def _interval(rows: Rows, of: Callable[[NDArray[np.int64]], float], *, seed: int) -> tuple[float, float]:
    """95 % by drawing presses anew; `of` takes the row numbers drawn."""
    rng = np.random.default_rng(seed)
    own = [np.flatnonzero(rows.press == number) for number in np.unique(rows.press)]
    found = []
    for _ in range(_RESAMPLES):
        drawn = rng.integers(0, len(own), len(own))
        found.append(of(np.concatenate([own[i] for i in drawn])))
    low, high = np.nanquantile(found, [0.025, 0.975])
    return float(low), float(high)


def _bins(rows: Rows, chance: Floats, weight: Floats) -> tuple[Bin, ...]:
    made = []
    for i in range(BINS):
        here = np.minimum((chance * BINS).astype(int), BINS - 1) == i
        if not here.any():
            continue
        w = weight[here]
        came = float((w * rows.leaking[here]).sum() / w.sum())
        presses = len(np.unique(rows.press[here]))
        low, high = wilson(came, float(w.sum() ** 2 / (w * w).sum()) * presses / here.sum())
        made.append(Bin(i / BINS, (i + 1) / BINS, float((w * chance[here]).sum() / w.sum()),
                        came, low, high, presses))  # fmt: skip
    return tuple(made)


def wilson(share: float, n: float) -> tuple[float, float]:
    """95 % interval of a share seen in n (which need not be whole). Source: Wilson 1927, memory.

    >>> [round(x, 3) for x in wilson(0.5, 100)]
    [0.404, 0.596]
    """
    z2 = 1.96**2
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = 1.96 * np.sqrt(share * (1 - share) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return float(max(0.0, middle - half)), float(min(1.0, middle + half))


def figures(name: str, rows: Rows, model: Mapping[str, Any], *, seed: int = 1) -> Figures:
    """All figures of one set of rows under a model."""
    at = []
    for prevalence in PREVALENCES:
        prior = float(np.log(prevalence / (1.0 - prevalence)))
        chance = chance_of(judge(rows.facts, prior_log_odds=prior, model=model).log_odds)
        weight = weighed(rows, prevalence)
        brier = float((weight * (chance - rows.leaking) ** 2).sum() / weight.sum())
        error = calibration_error(chance, rows.leaking, weight=weight)
        at.append(AtPrevalence(prevalence, brier, error, _bins(rows, chance, weight)))
    score = judge(rows.facts, prior_log_odds=0.0, model=model).log_odds
    low, high = _interval(rows, lambda i: auc(score[i], rows.leaking[i]), seed=seed)
    cushion = np.nan_to_num(np.abs(rows.facts[:, FACT_INDEX["cushion_change_sigma"]]))
    ratio = np.nan_to_num(rows.facts[:, FACT_INDEX["cushion_scatter"]], nan=1.0)
    return Figures(
        name=name,
        presses=len(np.unique(rows.press)),
        leaking=len(np.unique(rows.press[rows.leaking])),
        auc=auc(score, rows.leaking),
        auc_low=low,
        auc_high=high,
        cushion_auc=auc(cushion, rows.leaking),
        ratio_auc=auc(ratio, rows.leaking),
        at=tuple(at),
    )
