"""Average run length of each chart, exact where there is an exact form, and the design turned round.

Conventions: mean and sigma known, normal data, shift (in marginal sigma) from the first value, zero
state, history cleared after a signal, the signalling point counts.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from scipy.optimize import brentq

from server.language import N_
from server.maths.results import Undetermined
from server.maths.run_length_charts import (
    cusum_one_sided,
    cusum_two_sided,
    ewma_exact,
    ewma_steady,
    individuals_mr,
)
from server.maths.run_length_rules import COMPARING, comparing_rule, zone_rules
from server.maths.run_length_simulated import (
    Chart,
    CusumLanes,
    EwmaLanes,
    Simulated,
    simulated_chart,
    simulated_rules,
)
from server.maths.run_rule_spec import RunRule, as_rule


@dataclass(frozen=True)
class RunLength:
    """`arl`; `standard_error` is None when the method is exact, else that of the simulation."""

    arl: float
    method: str
    standard_error: float | None = None


MARKOV = "markov_chain"
INTEGRAL = "integral_equation"
MONTE_CARLO = "monte_carlo"
#: Textbook limit of the moving range in sigma: D4·d2 for two values.
MR_LIMIT = 3.685886566
#: Longest run length the equations can tell from "never".
ARL_MAX = 1e12


def _bounded(name: str, value: float, low: float, high: float) -> float:
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must be from {low:g} to {high:g}, got {value!r}")
    return float(value)


def _process(shift: float, phi: float) -> None:
    _bounded("shift", shift, -20.0, 20.0)
    _bounded("phi", phi, -0.95, 0.95)


def _solved(arl: float, method: str) -> RunLength | Undetermined:
    if not 1.0 <= arl <= ARL_MAX:
        return Undetermined(
            N_("the run length is above {arl_max:.0e}, beyond what can be computed", arl_max=ARL_MAX)
        )
    return RunLength(arl, method)


def _drawn(found: Simulated) -> RunLength | Undetermined:
    if not math.isfinite(found.arl):
        return Undetermined(N_("no simulated run came to a signal: the run length is too long to simulate"))
    return RunLength(found.arl, MONTE_CARLO, found.standard_error)


def of_rules(
    rules: Iterable[str | Mapping[str, Any] | RunRule], *, shift: float = 0.0, phi: float = 0.0
) -> RunLength | Undetermined:
    """Run length of a Shewhart chart with any combination of run rules.

    Parameters
    ----------
    rules : iterable
        Ids, `{"rule", "n", …}` mappings or `RunRule`; at least one.
    shift : float
        In marginal sigma, -20 to 20.
    phi : float
        Lag-1 autocorrelation, -0.95 to 0.95.

    Returns
    -------
    RunLength or Undetermined
        Markov chain for rules about zones (Champ & Woodall 1987); integral equation for one
        comparing rule alone and for `beyond_limit` under AR(1); else Monte Carlo. Undetermined above
        10¹² values, where rounding errors of the equations take over, or when no simulated run ended.

    Raises
    ------
    ValueError
        No rule, an unknown rule, a parameter out of bounds.

    Examples
    --------
    >>> round(of_rules(["beyond_limit"]).arl, 3)
    370.398
    """
    _process(shift, phi)
    specs = tuple(dict.fromkeys(as_rule(r) for r in rules))
    if not specs:
        raise ValueError("rules must name at least one rule, got none")
    only_limit = len(specs) == 1 and specs[0].rule == "beyond_limit"
    if phi:
        if only_limit and specs[0].limit > 0.0:
            return _solved(
                individuals_mr(x_limit=specs[0].limit, mr_limit=None, shift=shift, phi=phi), INTEGRAL
            )
        return _drawn(simulated_rules(specs, shift=shift, phi=phi))
    if not any(s.rule in COMPARING for s in specs):
        exact = zone_rules(specs, shift=shift)
        return _drawn(simulated_rules(specs, shift=shift)) if exact is None else _solved(exact, MARKOV)
    if len(specs) == 1:
        return _solved(comparing_rule(specs[0]), INTEGRAL)
    return _drawn(simulated_rules(specs, shift=shift))


def of_ewma(
    *,
    weight: float,
    L: float,
    limits: str = "steady",
    two_sided: bool = True,
    shift: float = 0.0,
    phi: float = 0.0,
) -> RunLength | Undetermined:
    """Run length of an EWMA chart.

    Parameters
    ----------
    weight : float
        λ, 0.005 to 1.
    L : float
        Width in standard deviations of z under independence, 0.1 to 10.
    limits : {"steady", "exact"}
        Printed tables assume steady limits from the first value; exact limits differ (λ 0.1, L 2.7:
        356 against 369).
    two_sided : bool
        False: upper limit only.
    shift, phi : float
        See `of_rules`.

    Examples
    --------
    >>> round(of_ewma(weight=0.1, L=2.7).arl, 1)
    369.0
    """
    _process(shift, phi)
    _bounded("lambda", weight, 0.005, 1.0)
    _bounded("L", L, 0.1, 10.0)
    if limits not in ("steady", "exact"):
        raise ValueError(f"limits must be 'steady' or 'exact', got {limits!r}")
    if phi or (limits == "exact" and not two_sided):
        lanes: Chart = EwmaLanes(weight, L, exact=limits == "exact", two_sided=two_sided)
        return _drawn(simulated_chart(lanes, shift=shift, phi=phi))
    if limits == "exact":
        return _solved(ewma_exact(weight=weight, L=L, shift=shift), INTEGRAL)
    return _solved(ewma_steady(weight=weight, L=L, shift=shift, two_sided=two_sided), INTEGRAL)


def of_cusum(
    *,
    k: float = 0.5,
    h: float = 5.0,
    headstart: float = 0.0,
    two_sided: bool = True,
    shift: float = 0.0,
    phi: float = 0.0,
) -> RunLength | Undetermined:
    """Run length of a tabular CUSUM; `k`, `h`, `headstart` in sigma.

    Parameters
    ----------
    k, h, headstart : float
        0 to 10, 0.1 to 50, 0 to h.
    two_sided : bool
        False: upper sum only.
    shift, phi : float
        See `of_rules`.

    Examples
    --------
    >>> round(of_cusum(k=0.5, h=5, headstart=2.5).arl)
    430
    """
    _process(shift, phi)
    _bounded("k", k, 0.0, 10.0)
    _bounded("h", h, 0.1, 50.0)
    _bounded("headstart", headstart, 0.0, h)
    lanes: Chart = CusumLanes(k, h, headstart, two_sided)
    if phi:
        return _drawn(simulated_chart(lanes, shift=shift, phi=phi))
    if not two_sided:
        return _solved(cusum_one_sided(k=k, h=h, shift=shift, start=headstart), INTEGRAL)
    exact = cusum_two_sided(k=k, h=h, shift=shift, headstart=headstart)
    return _drawn(simulated_chart(lanes, shift=shift)) if exact is None else _solved(exact, INTEGRAL)


def of_individuals(
    *, x_limit: float = 3.0, mr_limit: float | None = None, shift: float = 0.0, phi: float = 0.0
) -> RunLength | Undetermined:
    """Run length of an individuals chart, with a moving-range chart where `mr_limit` is given.

    Parameters
    ----------
    x_limit, mr_limit : float
        In marginal sigma, 0.1 to 10 and 0.1 to 20.
    shift, phi : float
        See `of_rules`.

    Examples
    --------
    >>> round(of_individuals(x_limit=3, mr_limit=4).arl, 1)
    169.1
    """
    _process(shift, phi)
    _bounded("x_limit", x_limit, 0.1, 10.0)
    if mr_limit is not None:
        _bounded("mr_limit", mr_limit, 0.1, 20.0)
    return _solved(individuals_mr(x_limit=x_limit, mr_limit=mr_limit, shift=shift, phi=phi), INTEGRAL)


def _solve(
    found: Callable[[float], RunLength | Undetermined], wanted: float, low: float, high: float
) -> float:
    def arl(limit: float) -> float:
        answer = found(limit)
        return ARL_MAX * 10.0 if isinstance(answer, Undetermined) else answer.arl

    _bounded("arl", wanted, 2.0, 1e7)
    if not arl(low) < wanted < arl(high):
        raise ValueError(f"arl {wanted:g} cannot be reached with limits from {low:g} to {high:g}")
    return float(brentq(lambda x: math.log(arl(x) / wanted), low, high, xtol=1e-8))


def shewhart_limit(*, arl: float, phi: float = 0.0) -> float:
    """Limit in marginal sigma with the wanted in-control run length.

    Examples
    --------
    >>> round(shewhart_limit(arl=370.398), 4)
    3.0
    """
    return _solve(lambda limit: of_individuals(x_limit=limit, phi=phi), arl, 0.1, 7.0)


def ewma_limit(*, arl: float, weight: float, limits: str = "steady") -> float:
    """L with the wanted in-control run length.

    Examples
    --------
    >>> round(ewma_limit(arl=500, weight=0.1), 3)
    2.814
    """
    return _solve(lambda width: of_ewma(weight=weight, L=width, limits=limits), arl, 0.5, 6.0)


def cusum_limit(*, arl: float, k: float = 0.5, headstart: float = 0.0) -> float:
    """h with the wanted in-control run length (two-sided).

    Examples
    --------
    >>> round(cusum_limit(arl=465.44), 3)
    5.0
    """
    low = max(0.2, 2.0 * (headstart - k))
    return _solve(lambda h: of_cusum(k=k, h=h, headstart=headstart), arl, low, 30.0)
