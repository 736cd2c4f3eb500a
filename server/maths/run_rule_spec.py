"""Run rules by id with their parameters: what may be asked for, and what is filled in."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from server.contract import RUN_RULES

#: Points a rule looks at, by default.
DEFAULT_N: Final[Mapping[str, int]] = {
    "beyond_limit": 1,
    "two_of_three_beyond_2_sigma": 3,
    "four_of_five_beyond_1_sigma": 5,
    "one_side": 9,
    "steady_trend": 6,
    "alternating": 14,
    "within_1_sigma": 15,
    "outside_1_sigma": 8,
}
#: Fewest points a rule may be asked to look at, and the most.
LEAST_N: Final[Mapping[str, int]] = {
    "beyond_limit": 1,
    "two_of_three_beyond_2_sigma": 2,
    "four_of_five_beyond_1_sigma": 4,
    "one_side": 2,
    "steady_trend": 2,
    "alternating": 3,
    "within_1_sigma": 2,
    "outside_1_sigma": 2,
}
MOST_N: Final = 100

_LIMIT: Final[Mapping[str, float]] = {
    "beyond_limit": 3.0,
    "two_of_three_beyond_2_sigma": 2.0,
    "four_of_five_beyond_1_sigma": 1.0,
    "one_side": 0.0,
    "within_1_sigma": 1.0,
    "outside_1_sigma": 1.0,
}
_NEEDED: Final[Mapping[str, int]] = {
    "two_of_three_beyond_2_sigma": 2,
    "four_of_five_beyond_1_sigma": 4,
}


@dataclass(frozen=True)
class RunRule:
    """A rule with its parameters: `n` points looked at, `limit` in sigma, `needed` of the `n`."""

    rule: str
    n: int
    limit: float
    needed: int


def run_rule(
    rule: str, *, n: int | None = None, limit: float | None = None, needed: int | None = None
) -> RunRule:
    """A rule by its id with its parameters filled in.

    Parameters
    ----------
    rule : str
        Id in `server.contract.RUN_RULES`.
    n : int, optional
        Points looked at; default by rule.
    limit : float, optional
        Threshold in sigma (no meaning for `steady_trend` and `alternating`).
    needed : int, optional
        For the two "k of n" rules: how many of the n; default 2 and 4, at most n.

    Raises
    ------
    ValueError
        Unknown id, or a parameter out of bounds; names it, the value and the bound.

    Examples
    --------
    >>> run_rule("one_side")
    RunRule(rule='one_side', n=9, limit=0.0, needed=9)
    """
    if rule not in RUN_RULES:
        raise ValueError(f"rule must be one of {', '.join(RUN_RULES)}, got {rule!r}")
    points = DEFAULT_N[rule] if n is None else n
    least = LEAST_N[rule]
    most = 1 if rule == "beyond_limit" else MOST_N
    if isinstance(points, bool) or not isinstance(points, int) or not least <= points <= most:
        raise ValueError(f"n of {rule} must be a whole number from {least} to {most}, got {points!r}")
    bound = _LIMIT.get(rule, 0.0) if limit is None else float(limit)
    if not (math.isfinite(bound) and 0.0 <= bound <= 40.0):
        raise ValueError(f"limit of {rule} must be from 0 to 40 sigma, got {limit!r}")
    count = _NEEDED.get(rule, points) if needed is None else needed
    if not 1 <= count <= points:
        raise ValueError(f"needed of {rule} must be from 1 to {points}, got {count!r}")
    return RunRule(rule=rule, n=points, limit=bound, needed=count)


def as_rule(ask: str | Mapping[str, Any] | RunRule) -> RunRule:
    """A rule from its id, a `{"rule", "n", …}` mapping, or itself.

    Examples
    --------
    >>> as_rule({"rule": "one_side", "n": 8}).n
    8
    """
    if isinstance(ask, RunRule):
        return ask
    if isinstance(ask, str):
        return run_rule(ask)
    return run_rule(str(ask.get("rule")), n=ask.get("n"), limit=ask.get("limit"), needed=ask.get("needed"))
