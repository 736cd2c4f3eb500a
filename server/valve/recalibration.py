"""The score against what inspections found: is it too sure, too timid, and what corrects it.

A logistic curve through (score before the inspection, what was found): corrected log-odds =
shift + slope * log-odds. Which valves are inspected depends on their score, and that does no harm:
the curve is taken given the score. It would if people chose by something that neither the score nor
a check on record knows; that assumption is stated wherever the curve is used.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from server.contract import CAUSES, LEAK_CAUSES
from server.errors import InvalidError
from server.language import N_
from server.maths.results import Undetermined
from server.valve.judgement import LIMITS, TERMS

Floats = NDArray[np.float64]

#: Inspections of each kind, failing and sound, before anything is corrected (common practice, no source).
LEAST_OF_EACH: Final = 5
#: How far shift and the logarithm of the slope are believed to lie from 0 before any inspection:
#: few inspections correct little (common practice, no source).
PRIOR_SHIFT: Final = 1.0
PRIOR_LOG_SLOPE: Final = 0.4
_CONFIDENCE: Final = 0.95


@dataclass(frozen=True)
class Recalibration:
    """corrected = shift + slope * log_odds, with 95 % intervals, from n inspections.

    brier_before and brier_after: mean squared error of the likelihood on the same inspections.
    p: how likely a score that needs no correction would look this far off (likelihood ratio, 2 degrees).
    """

    shift: float
    slope: float
    shift_interval: tuple[float, float]
    slope_interval: tuple[float, float]
    n: int
    failing: int
    brier_before: float
    brier_after: float
    p: float

    def corrected(self, log_odds: float) -> float:
        """The log-odds this plant's own inspections make of a score's."""
        return self.shift + self.slope * log_odds


def recalibrate(log_odds: Sequence[float], *, failing: Sequence[bool]) -> Recalibration | Undetermined:
    """The logistic curve of what was found on the score before it, n entries each.

    log_odds: finite, of the last judgement before each inspection. failing: what was found; valves
    found worn but usable belong in neither class and are left out by the caller. Undetermined with
    fewer than LEAST_OF_EACH of either kind. Maximum a posteriori with normal priors on shift and
    log slope; intervals from the curvature there. Source: logistic recalibration (D. R. Cox,
    Biometrika 45, 1958, memory). Rounding does not matter here, repeats of one press do: take one
    inspection a valve.

    >>> found = recalibrate([-3.0, -2.0, -1.0, 1.0, 2.0] * 8, failing=[False, False, True, True, True] * 8)
    >>> found.n, found.failing, found.shift > 0
    (40, 24, True)
    >>> recalibrate([1.0], failing=[True]).reason
    '1 failing and 0 sound valves inspected; 5 of each are needed'
    """
    x = np.asarray(log_odds, dtype=np.float64)
    y = np.asarray(failing, dtype=bool)
    if x.shape != y.shape or x.ndim != 1:
        raise InvalidError(
            N_("failing has {size} entries, log_odds has {size_2}", size=y.size, size_2=x.size),
            field="failing",
        )
    if not np.isfinite(x).all():
        raise InvalidError(N_("log_odds must be finite numbers"), field="log_odds")
    bad = int(y.sum())
    sound = int(y.size - bad)
    if min(bad, sound) < LEAST_OF_EACH:
        return Undetermined(
            N_(
                "{bad} failing and {sound} sound valves inspected; {least_of_each} of each are needed",
                bad=bad,
                sound=sound,
                least_of_each=LEAST_OF_EACH,
            )
        )
    found = optimize.minimize(_against, np.zeros(2), args=(x, y), method="BFGS", options={"gtol": 1e-8})
    at = np.asarray(found.x, dtype=np.float64)
    half = float(stats.norm.ppf(0.5 + _CONFIDENCE / 2.0)) * np.sqrt(np.diag(np.linalg.inv(_curvature(at, x))))
    shift, slope = float(at[0]), math.exp(float(at[1]))
    gain = 2.0 * (_loss(np.zeros(2), x, y) - _loss(at, x, y))
    return Recalibration(
        shift=shift,
        slope=slope,
        shift_interval=(shift - float(half[0]), shift + float(half[0])),
        slope_interval=(slope * math.exp(-float(half[1])), slope * math.exp(float(half[1]))),
        n=int(y.size),
        failing=bad,
        brier_before=_brier(x, y),
        brier_after=_brier(shift + slope * x, y),
        p=float(stats.chi2.sf(max(gain, 0.0), 2)),
    )


def _loss(at: Floats, x: Floats, y: NDArray[np.bool_]) -> float:
    """Minus the log-likelihood of what was found."""
    z = at[0] + math.exp(float(at[1])) * x
    return float(np.logaddexp(0.0, np.where(y, -z, z)).sum())


def _against(at: Floats, x: Floats, y: NDArray[np.bool_]) -> float:
    prior = (at[0] / PRIOR_SHIFT) ** 2 + (at[1] / PRIOR_LOG_SLOPE) ** 2
    return _loss(at, x, y) + 0.5 * float(prior)


def _curvature(at: Floats, x: Floats) -> Floats:
    """Expected curvature of `_against` at its lowest point, [2, 2]."""
    slope = math.exp(float(at[1]))
    p = 1.0 / (1.0 + np.exp(-(at[0] + slope * x)))
    weight = p * (1.0 - p)
    along = slope * x
    return np.array(
        [
            [weight.sum() + PRIOR_SHIFT**-2, (weight * along).sum()],
            [(weight * along).sum(), (weight * along * along).sum() + PRIOR_LOG_SLOPE**-2],
        ]
    )


def _brier(log_odds: Floats, y: NDArray[np.bool_]) -> float:
    return float(np.square(1.0 / (1.0 + np.exp(-log_odds)) - y).mean())


#: The terms a judgement is kept with: those of the model, and what this plant's inspections add.
OWN: Final = "own_inspections"
KEPT_TERMS: Final[tuple[str, ...]] = (*TERMS, OWN)
_LEAKS: Final = tuple(CAUSES.index(cause) for cause in LEAK_CAUSES)


@dataclass(frozen=True)
class Corrected:
    """terms [k, E + 1] in the order of KEPT_TERMS, log_odds [k] and causes [k, C], as in `Advanced`."""

    terms: Floats
    log_odds: Floats
    causes: Floats


def corrected(terms: Floats, log_odds: Floats, causes: Floats, *, shift: float, slope: float) -> Corrected:
    """Judgements with the correction of this plant's inspections as one more term, so that all still add up.

    The leak causes keep their shares among themselves, the others too; shift 0 and slope 1 change
    nothing. log_odds stay within `judgement.LIMITS`.

    >>> causes = np.zeros((1, len(CAUSES)))
    >>> causes[0, :2] = 0.25, 0.75
    >>> done = corrected(np.ones((1, 1)), np.array([math.log(3.0)]), causes, shift=-math.log(3.0), slope=1.0)
    >>> done.log_odds.tolist(), done.causes[0, :2].round(9).tolist()
    ([0.0], [0.5, 0.5])
    """
    if shift == 0.0 and slope == 1.0:
        return Corrected(np.column_stack([terms, np.zeros(len(log_odds))]), log_odds, causes)
    now = np.clip(shift + slope * log_odds, *LIMITS)
    own = now - log_odds
    leak_before, leak_now = 1.0 / (1.0 + np.exp(-log_odds)), 1.0 / (1.0 + np.exp(-now))
    shares = causes * ((1.0 - leak_now) / (1.0 - leak_before))[:, None]
    for cause in _LEAKS:
        shares[:, cause] = causes[:, cause] * (leak_now / leak_before)
    return Corrected(np.column_stack([terms, own]), log_odds + own, shares)
