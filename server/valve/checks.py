"""What the valve's age and off-line checks say before any shot is looked at, in log-odds.

Each check enters as a likelihood ratio: how much likelier its outcome is with a failing valve than
with a sound one. The densities behind the ratios are common practice, no source; they are wide on
purpose, and none lets a single check settle the matter.
"""

import dataclasses
import json
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from server.errors import InvalidError
from server.language import N_

Floats = NDArray[np.float64]

#: Shape of the life of wearing parts: failures become commoner with age (common practice, no source).
LIFE_SHAPE: Final = 2.0
#: The age alone never moves the odds by more than this factor either way.
AGE_LIMIT: Final = 4.0
#: Shots after which a check that found nothing has lost 63 % of its weight (common practice, no source).
FADES_OVER_SHOTS: Final = 50_000.0
#: No check alone moves the log-odds by more than this: somebody may have written it wrongly.
CHECK_LIMIT: Final = 4.0

#: (share, median, sigma of the logarithm) of each part of a mixture.
_Mixture = tuple[tuple[float, float, float], ...]

# A ring that closes late but seals once shut creeps like a sound one: a good drift check can never
# clear a valve. Medians from the limits of practice: 0.05 mm/s usually fine, 0.3 mm/s calls for action.
_CREEP_SOUND: Final[_Mixture] = ((0.9, 0.02, 0.8), (0.1, 0.10, 0.9))
_CREEP_FAILING: Final[_Mixture] = ((0.35, 0.02, 0.8), (0.65, 0.35, 0.9))
# Coefficients of variation as shares of the limit set for the percent variation; uneven melt and
# dosing widen the weights of a sound valve too.
_CV_SOUND: Final[_Mixture] = ((0.85, 0.11, 0.5), (0.15, 0.35, 0.6))
_CV_FAILING: Final[_Mixture] = ((0.6, 0.45, 0.6), (0.4, 0.17, 0.6))
#: How often an inspection comes to each verdict on failing and on sound valves.
_INSPECTED: Final[dict[str, tuple[float, float]]] = {
    "failed": (0.70, 0.02),
    "worn": (0.25, 0.18),
    "good": (0.05, 0.80),
}
#: How often a change ends with a verdict when the valve that is in now fails, and when it is sound.
#: A new valve that brought the shots back to the record mostly seals. A setting or another lot that did
#: so shows that the trouble was not the valve's; one that changed nothing leaves the valve under suspicion.
_PROVED: Final[dict[tuple[str, str], tuple[float, float]]] = {
    ("valve", "fixed"): (0.05, 0.50),
    ("valve", "better"): (0.15, 0.30),
    ("valve", "no_change"): (0.30, 0.40),
    ("setting", "fixed"): (0.10, 0.40),
    ("setting", "better"): (0.20, 0.30),
    ("setting", "no_change"): (0.55, 0.35),
    ("material", "fixed"): (0.08, 0.40),
    ("material", "better"): (0.20, 0.30),
    ("material", "no_change"): (0.55, 0.40),
    ("hardware", "fixed"): (0.10, 0.40),
    ("hardware", "better"): (0.20, 0.30),
    ("hardware", "no_change"): (0.50, 0.40),
}
_GRID: Final = 241


def age_log_odds(shots_on_valve: float, *, expected_life_shots: float) -> float:
    """How the valve's age moves the odds of its failing against a valve of unknown age, in log-odds.

    The odds follow the Weibull hazard of shape 2, (t / life)^(shape - 1), divided by its mean over a
    life, and are held within AGE_LIMIT. expected_life_shots: the plant's own figure, since lives
    differ a hundredfold with resin and filler. Negative or non-finite numbers raise InvalidError.
    Source: the hazard of the Weibull law (derived); its shape is common practice, no source.

    >>> round(age_log_odds(500_000, expected_life_shots=1_000_000), 3)
    0.0
    >>> round(age_log_odds(0, expected_life_shots=1_000_000), 3)
    -1.386
    >>> round(age_log_odds(1_000_000, expected_life_shots=1_000_000), 3)
    0.693
    """
    _check("shots_on_valve", shots_on_valve, least=0.0)
    _check("expected_life_shots", expected_life_shots, least=1.0)
    factor = LIFE_SHAPE * (shots_on_valve / expected_life_shots) ** (LIFE_SHAPE - 1.0)
    return math.log(min(max(factor, 1.0 / AGE_LIMIT), AGE_LIMIT))


def drift_check_log_odds(creep_mm_s: float, *, creep_interval: tuple[float, float]) -> float:
    """What a drift check says of the valve, in log-odds: the ratio of two mixtures of creep rates.

    creep_mm_s with its 95 % interval, as `studies.drift_check` gives them: the less sure the creep,
    the nearer to 0. A creep of 0 or below counts as none.

    >>> drift_check_log_odds(0.4, creep_interval=(0.38, 0.42)) > 2.5
    True
    >>> -1.2 < drift_check_log_odds(0.01, creep_interval=(0.0, 0.02)) < -0.5
    True
    """
    low, high = creep_interval
    for name, value in (("creep_mm_s", creep_mm_s), ("creep_interval", low), ("creep_interval", high)):
        _check(name, value)
    if high < low:
        raise InvalidError(
            N_("creep_interval runs from {low} to {high}", low=low, high=high), field="creep_interval"
        )
    # Nobody reads a creep to better than a few micrometres a second.
    error = max((high - low) / 3.92, 0.003)
    grid = np.geomspace(1e-3, 10.0, _GRID)
    seen = -0.5 * np.square((min(max(creep_mm_s, 0.0), 10.0) - grid) / error)
    return _ratio(grid, seen, failing=_CREEP_FAILING, sound=_CREEP_SOUND)


def short_shot_log_odds(cv_pct: float, *, n: int, limit_pct: float) -> float:
    """What a short-shot weight study says of the valve, in log-odds.

    cv_pct: coefficient of variation of n weights; its chance scatter is that of a chi-square, so that
    ten weights say less than thirty. limit_pct: the limit on the percent variation the study was
    judged by; precise parts have a tighter one, and their weights are measured against it.

    >>> short_shot_log_odds(2.6, n=30, limit_pct=5.0) > 1.0
    True
    >>> -1.5 < short_shot_log_odds(0.4, n=30, limit_pct=5.0) < -0.4
    True
    >>> abs(short_shot_log_odds(0.4, n=5, limit_pct=5.0)) < abs(short_shot_log_odds(0.4, n=30, limit_pct=5.0))
    True
    """
    _check("cv_pct", cv_pct, least=0.0)
    _check("limit_pct", limit_pct, least=1e-6)
    if n < 2:
        raise InvalidError(N_("n is {n}; a scatter needs at least 2 weights", n=n), field="n")
    grid = np.geomspace(0.01, 10.0, _GRID)
    # (n-1) s^2 / sigma^2 is chi-square; a scatter of exactly 0 is one below the scale's resolution.
    share = min(max(cv_pct / limit_pct, 0.02), 10.0)
    degrees = n - 1
    seen = np.asarray(stats.chi2.logpdf(degrees * (share / grid) ** 2, degrees)) - 2.0 * np.log(grid)
    return _ratio(grid, seen, failing=_CV_FAILING, sound=_CV_SOUND)


def inspection_log_odds(verdict: str) -> float:
    """What an inspection says of the valve that stays in, in log-odds; an unknown verdict raises.

    >>> round(inspection_log_odds("failed"), 2), round(inspection_log_odds("good"), 2)
    (3.56, -2.77)
    """
    if verdict not in _INSPECTED:
        raise InvalidError(
            N_("verdict is {verdict!r}; known are {join}", verdict=verdict, join=", ".join(_INSPECTED)),
            field="verdict",
        )
    failing, sound = _INSPECTED[verdict]
    return math.log(failing / sound)


def proof_log_odds(action: str, *, verdict: str) -> float:
    """What a proven action says of the valve that is in after it, in log-odds; `worse` says nothing.

    action: `valve`, `setting`, `material` or `hardware`; an unknown one, or an unknown verdict, raises
    InvalidError. Source of the ratios: common practice, no source.

    >>> round(proof_log_odds("valve", verdict="fixed"), 2), proof_log_odds("valve", verdict="worse")
    (-2.3, 0.0)
    >>> proof_log_odds("setting", verdict="no_change") > 0
    True
    """
    actions = sorted({action for action, _ in _PROVED})
    if action not in actions:
        raise InvalidError(
            N_("action is {action!r}; known are {join}", action=action, join=", ".join(actions)),
            field="action",
        )
    if verdict == "worse":
        return 0.0
    if (action, verdict) not in _PROVED:
        known = sorted({verdict for _, verdict in _PROVED})
        raise InvalidError(
            N_("verdict is {verdict!r}; known are {join}, worse", verdict=verdict, join=", ".join(known)),
            field="verdict",
        )
    failing, sound = _PROVED[action, verdict]
    return math.log(failing / sound)


def faded(log_odds: float, *, shots_since: float) -> float:
    """A check's log-odds so many shots later.

    What was found broken stays broken until somebody changes it. What was found sound may have begun
    to fail since: its ratio goes towards 1 as exp(-shots / FADES_OVER_SHOTS).

    >>> faded(3.0, shots_since=1e6)
    3.0
    >>> faded(-2.0, shots_since=0), -0.1 < faded(-2.0, shots_since=500_000) < 0
    (-2.0, True)
    """
    if log_odds >= 0.0:
        return log_odds
    left = math.exp(-max(shots_since, 0.0) / FADES_OVER_SHOTS)
    return math.log(left * math.exp(log_odds) + (1.0 - left))


@dataclasses.dataclass(frozen=True)
class Part:
    """One share of the prior: `source` is `prevalence`, `valve_age` or a kind of study.

    number: of the study among those of the press, 0 where there is none. shots: on the valve, or
    since the check.
    """

    source: str
    log_odds: float
    number: int = 0
    shots: int = 0


def total(parts: Sequence[Part]) -> float:
    """The prior log-odds of its parts, summed in their order.

    >>> total([Part("prevalence", -2.5), Part("drift-check", 1.0, number=3)])
    -1.5
    """
    log_odds = 0.0
    for part in parts:
        log_odds += part.log_odds
    return log_odds


def as_text(parts: Sequence[Part]) -> str:
    """The parts as text that gives them back bit for bit."""
    return json.dumps([[part.source, part.log_odds.hex(), part.number, part.shots] for part in parts])


def from_text(text: str | None) -> list[Part]:
    """The parts `as_text` wrote; none without a text.

    >>> from_text(as_text([Part("prevalence", -2.944), Part("inspection", 3.6, number=2, shots=900)]))[1]
    Part(source='inspection', log_odds=3.6, number=2, shots=900)
    """
    return [
        Part(source, float.fromhex(log_odds), number=number, shots=shots)
        for source, log_odds, number, shots in (json.loads(text) if text else ())
    ]


def _ratio(grid: Floats, seen: Floats, *, failing: _Mixture, sound: _Mixture) -> float:
    """Log of the ratio of two averages of exp(seen), a log-likelihood on a geometric grid, over mixtures."""
    likelihood = np.exp(seen - seen.max())
    over, under = (float((likelihood * _density(grid, one)).sum()) for one in (failing, sound))
    if under <= 0.0:
        return CHECK_LIMIT
    return min(max(math.log(over / under), -CHECK_LIMIT), CHECK_LIMIT)


def _density(grid: Floats, mixture: _Mixture) -> Floats:
    """Weights of the grid's points under a mixture of lognormals (per step of the logarithm)."""
    weights = np.zeros(len(grid))
    for share, median, sigma in mixture:
        weights += share * np.exp(-0.5 * np.square(np.log(grid / median) / sigma)) / sigma
    return weights


def _check(name: str, value: float, *, least: float = -math.inf) -> None:
    if not math.isfinite(value) or value < least:
        bound = "finite" if least == -math.inf else N_("a number of at least {least:g}", least=least)
        raise InvalidError(
            N_("{name} is {value}; it has to be {bound}", name=name, value=value, bound=bound), field=name
        )
