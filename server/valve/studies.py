"""The short-shot weight study: does fill repeat when nothing repairs it, with an honest interval."""

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from server.errors import InvalidError
from server.language import N_
from server.valve.weights import (
    LIMIT_SHOTS,
    Apart,
    expected_range,
    lies_apart,
    more_shots,
    over_probability,
    range_over,
    scale_step,
)

Floats = NDArray[np.float64]

_CONFIDENCE: Final = 0.95


@dataclasses.dataclass(frozen=True)
class ShortShotStudy:
    """Repeatability of fill. sd_interval in g, cv_interval in %, 95 %; verdict: within, over, undecided.

    limit_pct is meant for `limit_shots` consecutive shots: an expected range of it is allowed_cv_pct.
    over_probability: that the true CV is above the allowed one. more_shots: to settle an open verdict,
    None where it is settled or 200 would not do. range_over: chance that n shots of a process exactly at
    the limit vary by more than limit_pct. apart: the weight that lies apart, which stays in.
    """

    percent_variation: float
    mean_g: float
    sd_g: float
    cv_pct: float
    sd_interval: tuple[float, float]
    verdict: str
    text: str
    n: int
    cv_interval: tuple[float, float]
    limit_pct: float
    limit_shots: int
    allowed_cv_pct: float
    over_probability: float
    more_shots: int | None
    range_over: float
    scale_step_g: float
    apart: Apart | None


def finite_values(values: Sequence[float], *, field: str, least: int) -> Floats:
    """What was handed in as finite numbers, at least so many, or InvalidError naming the field."""
    try:
        found = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InvalidError(N_("{field} must be numbers", field=field), field=field) from error
    if found.ndim != 1 or len(found) < least:
        raise InvalidError(
            N_(
                "{field}: at least {least} values needed, {size} given",
                field=field,
                least=least,
                size=found.size,
            ),
            field=field,
        )
    if not np.isfinite(found).all():
        raise InvalidError(N_("{field} must be finite numbers", field=field), field=field)
    return found


def short_shot_study(
    weights_g: Sequence[float], *, limit_pct: float = 5.0, limit_shots: int = LIMIT_SHOTS
) -> ShortShotStudy:
    """Is fill repeatable when nothing afterwards can repair it? n >= 3 weights of short shots, g.

    Percent variation = (heaviest - lightest) / mean * 100. It grows with n, so it is not what is judged:
    the limit is meant for `limit_shots` consecutive shots, which an expected range of it makes a CV of
    limit / d2(limit_shots), and the verdict compares the chi-squared interval of the CV with that, however
    many were weighed. A scatter below the scale's step / sqrt(12) is taken as that for its upper end.
    Fewer than 3 weights, or one not above 0, raise InvalidError.

    >>> study = short_shot_study([10.0, 10.2, 9.9, 10.1, 10.0, 9.8, 10.1, 10.0, 9.9, 10.0])
    >>> round(study.percent_variation, 2), study.verdict, round(study.allowed_cv_pct, 2)
    (4.0, 'undecided', 1.62)
    >>> round(study.over_probability, 2), study.more_shots
    (0.13, 29)
    """
    weights = finite_values(weights_g, field="weights_g", least=3)
    if weights.min() <= 0:
        raise InvalidError(N_("weights_g must be above 0, not {min:g}", min=weights.min()), field="weights_g")
    if not (math.isfinite(limit_pct) and limit_pct > 0):
        raise InvalidError(
            N_("limit_pct must be above 0, not {limit_pct}", limit_pct=limit_pct), field="limit_pct"
        )
    n, mean, sd = len(weights), float(weights.mean()), float(weights.std(ddof=1))
    step = scale_step([float(one) for one in weights])
    low, high = _sd_interval(sd, n=n, least=step / math.sqrt(12.0))
    allowed = limit_pct / expected_range(limit_shots)
    cv, cv_interval = 100.0 * sd / mean, (100.0 * low / mean, 100.0 * high / mean)
    verdict = "within" if cv_interval[1] <= allowed else "over" if cv_interval[0] > allowed else "undecided"
    study = ShortShotStudy(
        percent_variation=100.0 * float(weights.max() - weights.min()) / mean,
        mean_g=mean,
        sd_g=sd,
        cv_pct=cv,
        sd_interval=(low, high),
        verdict=verdict,
        text="",
        n=n,
        cv_interval=cv_interval,
        limit_pct=limit_pct,
        limit_shots=limit_shots,
        allowed_cv_pct=allowed,
        over_probability=over_probability(cv, n=n, allowed_cv_pct=allowed),
        more_shots=more_shots(cv, n=n, allowed_cv_pct=allowed) if verdict == "undecided" else None,
        range_over=range_over(allowed, n=n, limit_pct=limit_pct),
        scale_step_g=step,
        apart=lies_apart([float(one) for one in weights]),
    )
    return dataclasses.replace(study, text=_short_shot_text(study))


def _sd_interval(sd: float, *, n: int, least: float) -> tuple[float, float]:
    tail = (1.0 - _CONFIDENCE) / 2.0
    low = sd * math.sqrt((n - 1) / float(stats.chi2.ppf(1.0 - tail, n - 1)))
    return low, max(sd, least) * math.sqrt((n - 1) / float(stats.chi2.ppf(tail, n - 1)))


def _short_shot_text(study: ShortShotStudy) -> str:
    meaning = {
        "within": N_("Fill repeats within the limit."),
        "over": N_("Fill does not repeat: the valve closes unevenly or the melt is uneven."),
        "undecided": N_("Too close to tell with so few shots: weigh more."),
    }[study.verdict]
    if study.verdict == "undecided" and study.more_shots is None:
        meaning = N_("So close to the limit that even 200 shots would not tell on which side it lies.")
    low, high = study.cv_interval
    return N_(
        "{meaning} Weights vary by {percent_variation:.1f} % over {n} shots (limit"
        " {limit_pct:g} % over {limit_shots}, a CV of {allowed_cv_pct:.2f} %); the true CV lies"
        " between {low:.2f} and {high:.2f} %.",
        meaning=meaning,
        percent_variation=study.percent_variation,
        n=study.n,
        limit_pct=study.limit_pct,
        limit_shots=study.limit_shots,
        allowed_cv_pct=study.allowed_cv_pct,
        low=low,
        high=high,
    )
