"""What a row of weights tells: how likely it repeats, how many more settle it, what hold pressure repairs."""

import dataclasses
import functools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, stats

from server.errors import InvalidError
from server.language import N_

Floats = NDArray[np.float64]

#: A limit on percent variation is meant for so many consecutive shots (common practice, no source).
LIMIT_SHOTS: Final = 10
#: Classes of process with the starting value of their limit, % (common practice, no source).
PROCESS_CLASSES: Final[dict[str, float]] = {"general": 5.0, "precise": 2.0, "no_hold": 1.0}
#: A weight lies apart when chance would do that less often than this.
APART_RISK: Final = 0.05
#: Nobody weighs more than this to settle one question; the chance to settle it that is asked for.
MOST_SHOTS: Final = 200
CHANCE: Final = 0.8
_TAIL: Final = 0.025


@functools.cache
def expected_range(n: int) -> float:
    """Expected range of n normal values in sigma (d2): integral of 1 - F^n - (1 - F)^n.

    Source: Tippett 1925; tabled in ISO 7870-2.

    >>> round(expected_range(5), 3), round(expected_range(10), 3)
    (2.326, 3.078)
    """
    if n < 2:
        raise InvalidError(N_("a range needs two values, not {n}", n=n), field="n")

    def part(x: float) -> float:
        below = float(stats.norm.cdf(x))
        return float(1.0 - below**n - (1.0 - below) ** n)

    return float(2.0 * integrate.quad(part, 0.0, 12.0)[0])


def range_over(cv_pct: float, *, n: int, limit_pct: float) -> float:
    """Chance that n shots of a process with this true CV vary by more than the limit, (max - min) / mean.

    P(R > w) with w = limit / CV, R the range of n normal values of sigma 1; the mean of the weights is
    taken as known. Source: distribution of the range (Tippett 1925), the studentized range with infinitely
    many degrees of freedom. A CV of 0 never exceeds; n below 2 or numbers below 0 raise InvalidError.

    >>> round(range_over(1.3, n=10, limit_pct=5.0), 2), round(1 - range_over(2.0, n=10, limit_pct=5.0), 2)
    (0.17, 0.24)
    """
    if n < 2:
        raise InvalidError(N_("a range needs two values, not {n}", n=n), field="n")
    if cv_pct < 0.0 or not limit_pct > 0.0:
        raise InvalidError(
            N_(
                "cv_pct {cv_pct} and limit_pct {limit_pct} must be above 0",
                cv_pct=cv_pct,
                limit_pct=limit_pct,
            ),
            field="cv_pct",
        )
    if cv_pct == 0.0:
        return 0.0
    return float(stats.studentized_range.sf(limit_pct / cv_pct, n, np.inf))


def over_probability(cv_pct: float, *, n: int, allowed_cv_pct: float) -> float:
    """Probability that the true CV lies above the allowed one, given that of n weights.

    P(chi2(n - 1) < (n - 1) CV^2 / allowed^2): the posterior of sigma under a prior flat in its logarithm,
    and one less the significance of the one-sided chi-square test. Source: Box & Tiao 1973 (memory).

    >>> round(over_probability(1.62, n=10, allowed_cv_pct=1.62), 2)
    0.56
    """
    if n < 2:
        raise InvalidError(N_("a scatter needs two values, not {n}", n=n), field="n")
    return float(stats.chi2.cdf((n - 1) * (cv_pct / allowed_cv_pct) ** 2, n - 1))


def more_shots(cv_pct: float, *, n: int, allowed_cv_pct: float) -> int | None:
    """How many weights more would settle the verdict in four cases of five, were the true CV the one seen.

    The smallest n' with P(settled) >= 0.8: for c = CV / allowed below 1, P(chi2(n'-1) <= q_low / c^2),
    above 1, P(chi2(n'-1) >= q_high / c^2), q the 2.5 and 97.5 % points (derived). None: not within
    200 weights: so near the limit that it does not matter which side it is on.

    >>> more_shots(0.9, n=10, allowed_cv_pct=1.62)
    5
    >>> more_shots(1.6, n=10, allowed_cv_pct=1.62) is None
    True
    """
    for total in range(max(n, 2), MOST_SHOTS + 1):
        if _settles(cv_pct / allowed_cv_pct, total - 1) >= CHANCE:
            return max(total - n, 1)
    return None


def _settles(share: float, freedom: int) -> float:
    if share <= 0.0:
        return 1.0
    if share < 1.0:
        return float(stats.chi2.cdf(float(stats.chi2.ppf(_TAIL, freedom)) / share**2, freedom))
    return float(stats.chi2.sf(float(stats.chi2.ppf(1.0 - _TAIL, freedom)) / share**2, freedom))


@dataclasses.dataclass(frozen=True)
class Apart:
    """A weight that lies apart from the others: its place (0 the first), value, distance in sd, p value."""

    index: int
    value: float
    distance_sd: float
    p: float


def lies_apart(values: Sequence[float]) -> Apart | None:
    """The one weight that lies apart from all others, by Grubbs' two-sided test; None where none does.

    G = max |x - mean| / s; p = 2 n P(t(n - 2) > sqrt(G^2 n (n - 2) / ((n - 1)^2 - n G^2))), at most 1.
    It is named, never taken out: a shot that falls out is what a study of a valve looks for.
    Source: Grubbs 1969, as in ISO 5725-2. Fewer than 3 values, or all alike: None.

    >>> lies_apart([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]).index
    7
    """
    x = np.asarray(values, dtype=np.float64)
    n = len(x)
    if n < 3 or float(np.ptp(x)) == 0.0:
        return None
    away = np.abs(x - x.mean())
    index = int(np.argmax(away))
    g = float(away[index] / x.std(ddof=1))
    room = (n - 1) ** 2 - n * g**2
    t = math.sqrt(max(g**2 * n * (n - 2), 0.0) / room) if room > 1e-12 else math.inf
    p = min(1.0, 2.0 * n * float(stats.t.sf(t, n - 2)))
    return Apart(index, float(x[index]), g, p) if p < APART_RISK else None


def scale_step(values: Sequence[float]) -> float:
    """The step of the scale: the coarsest power of ten all weights are whole numbers of, in their unit.

    >>> scale_step([10.0, 10.5, 11.2]), scale_step([41.81, 41.8]), scale_step([10.0, 20.0])
    (0.1, 0.01, 1.0)
    """
    for places in range(6):
        if all(abs(value * 10.0**places - round(value * 10.0**places)) < 1e-6 for value in values):
            return float(10.0**-places)
    return 1e-6


@dataclasses.dataclass(frozen=True)
class HoldCompared:
    """Scatter without hold against scatter with it: ratio of CVs with its 95 % interval.

    verdict: repairs, not_shown, widens.
    """

    n_hold: int
    mean_hold_g: float
    sd_hold_g: float
    cv_hold_pct: float
    ratio: float
    ratio_interval: tuple[float, float]
    spread_p: float
    verdict: str
    text: str


def compare_with_hold(short_g: Sequence[float], *, hold_g: Sequence[float]) -> HoldCompared:
    """What hold pressure repairs: weights of short shots against weights of full parts, 3 or more each, g.

    Parts differ in weight, so the scatter of the logarithms is compared, which is the CV for small ones.
    The ratio's interval is that of two variances (Fisher's F); Brown and Forsythe's test, which does not
    lean on a normal law, stands beside it. A scatter below the scale's step / sqrt(12) is taken as that.

    >>> hold = [12.0, 12.01, 12.0, 11.99, 12.01]
    >>> compare_with_hold([10.0, 10.4, 9.6, 10.2, 9.8, 10.1], hold_g=hold).verdict
    'repairs'
    """
    groups = []
    for name, given in (("weights_g", short_g), ("hold_weights_g", hold_g)):
        values = np.asarray(given, dtype=np.float64)
        if len(values) < 3 or not np.isfinite(values).all() or values.min() <= 0.0:
            raise InvalidError(
                N_(
                    "{name}: at least 3 weights above 0 needed, {values} given", name=name, values=len(values)
                ),
                field=name,
            )
        groups.append(values)
    short, hold = (np.log(values) for values in groups)
    spreads = [
        max(float(logs.std(ddof=1)), scale_step(list(values)) / math.sqrt(12.0) / float(values.mean()))
        for logs, values in zip((short, hold), groups, strict=True)
    ]
    ratio = spreads[0] / spreads[1]
    wide = math.sqrt(float(stats.f.ppf(1.0 - _TAIL, len(short) - 1, len(hold) - 1)))
    narrow = math.sqrt(float(stats.f.ppf(_TAIL, len(short) - 1, len(hold) - 1)))
    interval = (ratio / wide, ratio / narrow)
    alike = float(np.ptp(short)) == 0.0 and float(np.ptp(hold)) == 0.0
    p = 1.0 if alike else float(stats.levene(short, hold, center="median").pvalue)
    verdict = "repairs" if interval[0] > 1.0 else "widens" if interval[1] < 1.0 else "not_shown"
    mean, sd = float(groups[1].mean()), float(groups[1].std(ddof=1))
    text = {
        "repairs": N_(
            "Hold pressure repairs it: without hold the weights scatter {ratio:.1f} times as much",
            ratio=ratio,
        ),
        "widens": N_(
            "With hold the weights scatter more: {ratio:.1f} times as much as without", ratio=1.0 / ratio
        ),
        "not_shown": N_(
            "Hold pressure makes no difference that shows: the scatters stand {ratio:.1f} to 1", ratio=ratio
        ),
    }[verdict]
    text += N_(
        " (ratio between {interval:.1f} and {interval_2:.1f}).", interval=interval[0], interval_2=interval[1]
    )
    return HoldCompared(len(hold), mean, sd, 100.0 * sd / mean, ratio, interval, p, verdict, text)
