"""What studies of settings compute: levels compared, and where the weight stops rising."""

import dataclasses
import warnings
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from server.errors import InvalidError
from server.language import N_

Floats = NDArray[np.float64]

#: Chance, over all levels together, to see a difference where there is none.
RISK: Final = 0.05


@dataclasses.dataclass(frozen=True)
class LevelCompared:
    """One level against the first. Interval of the difference of means: 95 % over all levels."""

    n: int
    mean: float
    sd: float
    difference: float
    interval: tuple[float, float]
    mean_p: float
    spread_p: float


@dataclasses.dataclass(frozen=True)
class SettingTrial:
    """verdict: no_difference, mean, spread, both."""

    levels: tuple[LevelCompared, ...]
    spread_p: float
    verdict: str
    text: str


def setting_trial(levels: Sequence[Sequence[float]]) -> SettingTrial:
    """Compare the levels of a setting, each with the readings made at it; the first is today's.

    Means by Welch's t test of each level against the first, spreads by the Brown-Forsythe test
    (deviations from the median); p values and intervals are widened for the number of levels
    (Bonferroni). At least 2 levels with 3 readings each, else InvalidError.

    >>> setting_trial([[10.0, 10.1, 9.9, 10.0], [12.0, 12.1, 11.9, 12.0]]).verdict
    'mean'
    """
    groups = [np.asarray(level, dtype=np.float64) for level in levels]
    if len(groups) < 2:
        raise InvalidError(
            N_("{groups} level: a trial compares at least 2", groups=len(groups)), field="levels"
        )
    for i, group in enumerate(groups):
        if len(group) < 3:
            raise InvalidError(
                N_("levels[{i}] has {group} values; at least 3", i=i, group=len(group)), field=f"levels[{i}]"
            )
    compared = tuple(_against(groups[0], group, len(groups) - 1) for group in groups[1:])
    first = LevelCompared(
        len(groups[0]), float(groups[0].mean()), float(groups[0].std(ddof=1)), 0.0, (0.0, 0.0), 1.0, 1.0
    )
    spread_p = _spread_p(groups)
    mean = any(one.mean_p < RISK for one in compared)
    spread = spread_p < RISK
    verdict = "both" if mean and spread else "mean" if mean else "spread" if spread else "no_difference"
    text = {
        "no_difference": "No difference shown: the levels could be one. More shots would show smaller ones.",
        "mean": "The level changes the mean; the spread shows no difference.",
        "spread": "The level changes the spread; the mean shows no difference.",
        "both": "The level changes the mean and the spread.",
    }[verdict]
    return SettingTrial((first, *compared), spread_p, verdict, text)


def _spread_p(groups: Sequence[Floats]) -> float:
    """Brown-Forsythe; 1 where no group scatters at all."""
    if all(float(np.ptp(group)) == 0.0 for group in groups):
        return 1.0
    p = float(stats.levene(*groups, center="median").pvalue)
    return p if np.isfinite(p) else 1.0


def _against(first: Floats, group: Floats, comparisons: int) -> LevelCompared:
    difference = float(group.mean() - first.mean())
    mean_p, interval = float(difference == 0.0), (difference, difference)
    if max(float(np.ptp(first)), float(np.ptp(group))) > 0.0:
        with warnings.catch_warnings():
            # Nearly equal readings: the p value is then 0 or 1 to every digit that matters.
            warnings.simplefilter("ignore", RuntimeWarning)
            tested = stats.ttest_ind(group, first, equal_var=False)
            span = tested.confidence_interval(confidence_level=1.0 - RISK / comparisons)
        mean_p, interval = float(tested.pvalue), (float(span.low), float(span.high))
    return LevelCompared(
        n=len(group),
        mean=float(group.mean()),
        sd=float(group.std(ddof=1)),
        difference=difference,
        interval=interval,
        mean_p=min(1.0, mean_p * comparisons),
        spread_p=min(1.0, _spread_p([first, group]) * comparisons),
    )


@dataclasses.dataclass(frozen=True)
class GateSeal:
    """seal_s in s with its 95 % interval, None where not seen; verdict: sealed, not_sealed, no_rise."""

    seal_s: float | None
    interval: tuple[float, float] | None
    plateau_g: float | None
    rise_g_per_s: float
    verdict: str
    text: str


def gate_seal(hold_time_s: Sequence[float], weight_g: Sequence[float]) -> GateSeal:
    """Find the hold time from which on the part no longer gets heavier.

    Least squares of weight = a + b min(t, t0): a rise, then a level; t0 is searched. Its interval
    holds every t0 whose sum of squares is within F(1, n - 3) of the best. Needs 5 parts at 4
    different hold times, else InvalidError.

    >>> t = [1, 2, 3, 4, 5, 6, 7, 8]
    >>> gate_seal(t, [9.0, 9.5, 10.0, 10.5, 10.51, 10.5, 10.49, 10.5]).verdict
    'sealed'
    """
    t, weight = np.asarray(hold_time_s, dtype=np.float64), np.asarray(weight_g, dtype=np.float64)
    times = np.unique(t)
    if len(t) < 5 or len(times) < 4:
        raise InvalidError(
            N_("{t} parts at {times} hold times; at least 5 at 4 different ones", t=len(t), times=len(times)),
            field="points",
        )
    candidates = np.linspace(times[1], times[-1], 400)
    fits = [_rise_fit(t, weight, t0) for t0 in candidates]
    squares = np.array([fit[2] for fit in fits])
    best = int(np.argmin(squares))
    intercept, slope, least = fits[best]
    flat = float(((weight - weight.mean()) ** 2).sum())
    freedom = len(t) - 3
    noise = max(least / freedom, 1e-18)
    if slope <= 0 or (flat - least) / 2.0 / noise < float(stats.f.ppf(0.95, 2, freedom)):
        text = "The weight does not rise with the hold time: the gate was frozen before the shortest one."
        return GateSeal(None, None, None, slope, "no_rise", text)
    likely = candidates[squares <= least + noise * float(stats.f.ppf(0.95, 1, freedom))]
    seal, plateau = float(candidates[best]), float(intercept + slope * candidates[best])
    interval = (float(likely.min()), float(likely.max()))
    # A plateau needs two hold times on it to be one.
    if interval[1] > times[-2]:
        text = "The weight still rises at the longest hold times: go on with longer ones."
        return GateSeal(None, None, None, slope, "not_sealed", text)
    text = (
        f"The gate seals at {seal:.2f} s (between {interval[0]:.2f} and {interval[1]:.2f} s);"
        f" from there the part weighs {plateau:.3f} g."
    )
    return GateSeal(seal, interval, plateau, slope, "sealed", text)


def _rise_fit(t: Floats, weight: Floats, t0: float) -> tuple[float, float, float]:
    x = np.minimum(t, t0)
    away = x - x.mean()
    slope = float((away * weight).sum()) / float((away * away).sum())
    intercept = float(weight.mean() - slope * x.mean())
    rest = weight - intercept - slope * x
    return intercept, slope, float((rest * rest).sum())
