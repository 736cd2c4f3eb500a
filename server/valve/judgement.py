"""From facts to evidence in log-odds, the leak-likelihood, and the causes behind it.

The leak-against-not score is additive: prior + one term per evidence, each a weighted sum of bounded
shapes of the facts. Causes are ranked given that: a weighted sum per cause, normalised within the
leak causes and within the others apart.
"""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.shapes import EVIDENCE, Design, design, names

Floats = NDArray[np.float64]

#: Smallest and largest log-odds that are answered: 0.01 % and 99.9 % (nothing seen from outside
#: is surer than that).
LIMITS: Final = (-9.2, 6.9)
#: `few_signals` holds the score down where too few signals are there to tell a leak from its mimics.
TERMS: Final[tuple[str, ...]] = (*EVIDENCE, "few_signals")
#: Evidence that lifts that cap.
UNLIKE_OTHERS: Final = ("low_tail", "not_shutting")
#: Blocks weighed at once, so that a long history takes no more memory than a short one.
_AT_ONCE: Final = 64


@dataclasses.dataclass(frozen=True)
class Judged:
    """terms [k, E], log_odds [k], causes [k, C], enough bool [k]: see `evidence.Advanced`."""

    terms: Floats
    log_odds: Floats
    causes: Floats
    enough: NDArray[np.bool_]


def judge(
    facts: Floats,
    *,
    prior_log_odds: float | Floats,
    model: Mapping[str, Any],
    checked: float | Floats = 0.0,
) -> Judged:
    """Log-odds terms and causes of facts [k, F] (NaN where a fact cannot be said).

    model: {"version", "terms": {term: {shape: weight}}, "terms_of_two": the same for presses that give
    cushion and shot size only, "causes": {cause: {"term.shape": weight}}, "few_signals":
    {"cap_log_odds"}}. With two signals the score is held under the cap, unless single late shots or a
    valve that does not shut speak, which no other cause looks like. Rows with too few shots keep the prior.
    prior_log_odds: one number or one a row; checked: the part of it that checks on record say, which
    lifts the cap by as much, since a check is what can tell a leak from its mimics.

    >>> from server.valve.features import FACTS
    >>> from server.valve.model import MODEL
    >>> row = judge(np.full((1, len(FACTS)), np.nan), prior_log_odds=-2.9, model=MODEL)
    >>> float(row.log_odds[0]), bool(row.enough[0])
    (-2.9, False)
    """
    if not len(facts):
        nothing = np.zeros(0)
        return Judged(np.zeros((0, len(TERMS))), nothing, np.zeros((0, len(CAUSES))), nothing > 0)
    shapes = design(facts)
    weights = _weights_of(model)
    prior = _a_row(prior_log_odds, len(facts))
    terms = np.zeros((len(facts), len(TERMS)))
    total = prior.copy()
    for i, (rows, both) in enumerate(weights.terms):
        usual, few = _weighed(shapes.rows[rows], both)
        terms[:, i] = np.where(shapes.enough, np.where(shapes.few_signals, few, usual), 0.0)
        total += terms[:, i]
    # What neither flash, nor melt escaping outside, nor thin melt looks like is not held down.
    lifted = np.maximum(_a_row(checked, len(facts)), 0.0)
    for name in UNLIKE_OTHERS:
        lifted = lifted + np.maximum(terms[:, TERMS.index(name)], 0.0)
    terms[:, -1] = _held(total, shapes, lifted, model["few_signals"])
    log_odds = prior.copy()
    for i in range(len(TERMS)):
        log_odds += terms[:, i]
    causes = _causes(_weighed(shapes.rows[weights.cause_rows], weights.causes), log_odds)
    return Judged(terms=terms, log_odds=log_odds, causes=causes, enough=shapes.enough)


@dataclasses.dataclass(frozen=True)
class _Weights:
    """A model against the rows of a design: for each term its rows [n] and weights [n, 2], of any signals
    and of two only; for the causes theirs [n] and [n, C]."""

    terms: tuple[tuple[NDArray[np.intp], Floats], ...]
    cause_rows: NDArray[np.intp]
    causes: Floats


#: The models weighed with last, each with its weights: hardly ever more than one.
_lately: list[tuple[Mapping[str, Any], _Weights]] = []


def _weights_of(model: Mapping[str, Any]) -> _Weights:
    for known, weights in _lately:
        if known is model:
            return weights
    made = _against_rows(model)
    _lately[:] = [(model, made), *_lately[:3]]
    return made


def _against_rows(model: Mapping[str, Any]) -> _Weights:
    place = {name: i for i, name in enumerate(names())}
    terms = []
    for term in TERMS[:-1]:
        kinds = [model[kind].get(term, {}) for kind in ("terms", "terms_of_two")]
        used = sorted({place[f"{term}.{shape}"] for kind in kinds for shape in kind})
        both = [[kind.get(names()[row].split(".", 1)[1], 0.0) for kind in kinds] for row in used]
        terms.append((np.array(used, dtype=np.intp), np.array(both).reshape(len(used), 2)))
    given = [model["causes"].get(cause, {}) for cause in CAUSES]
    used = [row for name, row in place.items() if any(one.get(name) for one in given)]
    causes = [[one.get(names()[row], 0.0) for one in given] for row in used]
    return _Weights(
        tuple(terms), np.array(used, dtype=np.intp), np.array(causes).reshape(len(used), len(CAUSES))
    )


def _weighed(rows: Floats, weights: Floats) -> Floats:
    """[m, k] sums of rows [n, k] by weights [n, m], m >= 2, each added up in the order of the rows.

    A product of matrices would add in an order that depends on how many rows are judged at once, and a
    history judged in other pieces would differ in its last bits.
    """
    made = np.empty((weights.shape[1], rows.shape[1]))
    for at in range(0, rows.shape[1], _AT_ONCE):
        part = rows[:, None, at : at + _AT_ONCE] * weights[:, :, None]
        # Of -0.0 alone the sum is 0.0, as it is from 0.0 on.
        made[:, at : at + _AT_ONCE] = np.add.reduce(part, axis=0) + 0.0
    return made


def _a_row(value: float | Floats, rows: int) -> Floats:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), (rows,))


def _held(total: Floats, shapes: Design, lifted: Floats, rule: Mapping[str, float]) -> Floats:
    """What few signals, and the limits of what can be known, take away."""
    top = np.where(shapes.few_signals, rule["cap_log_odds"] + lifted, LIMITS[1])
    top = np.minimum(top, LIMITS[1])
    taken = np.where(total > top, top - total, 0.0) + np.where(total < LIMITS[0], LIMITS[0] - total, 0.0)
    return np.where(shapes.enough, taken, 0.0)


def _causes(scores: Floats, log_odds: Floats) -> Floats:
    """[k, C] from scores [C, k]: shares within the leak causes and within the others."""
    leaks = [CAUSES.index(cause) for cause in LEAK_CAUSES]
    others = [i for i in range(len(CAUSES)) if i not in leaks]
    leak = 1.0 / (1.0 + np.exp(-log_odds))
    shares = np.zeros_like(scores)
    for group, part in ((leaks, leak), (others, 1.0 - leak)):
        top = scores[group[0]].copy()
        for i in group[1:]:
            top = np.maximum(top, scores[i])
        total = np.zeros(len(log_odds))
        for i in group:
            shares[i] = np.exp(scores[i] - top)
            total += shares[i]
        for i in group:
            shares[i] = shares[i] / total * part
    return np.ascontiguousarray(shares.T)


def likelihood(log_odds: float) -> float:
    """1 / (1 + exp(-log_odds)), safe at both ends.

    >>> likelihood(0.0), round(likelihood(2.6), 2)
    (0.5, 0.93)
    """
    if log_odds >= 0:
        return 1.0 / (1.0 + math.exp(-log_odds))
    return math.exp(log_odds) / (1.0 + math.exp(log_odds))
