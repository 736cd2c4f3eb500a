"""Average run length of any combination of run rules on independent normal data.

Rules about zones make a finite Markov chain: what a rule remembers is a short history of zones.
Trends and alternation compare values with each other; alone they are distribution-free and solved
by integral equations on the uniform distribution. Conventions: history cleared after each signal,
the signalling point counts, zero state.
"""

import itertools
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix, eye_array
from scipy.sparse.linalg import spsolve
from scipy.special import ndtr

from server.maths.run_rule_spec import RunRule

Floats = npt.NDArray[np.float64]

#: Memory of one rule, and what it becomes with the next zone; None when the rule signals.
Memory = tuple[int, ...]
Next = Callable[[Memory, float], Memory | None]

COMPARING = ("steady_trend", "alternating")
#: Largest chain that is solved exactly.
STATES_MAX = 20_000


def _side(middle: float, limit: float) -> int:
    return (middle > limit) - (middle < -limit)


def _next_k_of_n(spec: RunRule) -> Next:
    def follow(memory: Memory, middle: float) -> Memory | None:
        history = (*memory, _side(middle, spec.limit))
        window = history[-spec.n :]
        if window[-1] and window.count(window[-1]) >= spec.needed:
            return None
        kept = window[1:] if len(window) == spec.n else window
        while kept and kept[0] == 0:
            kept = kept[1:]
        return kept

    return follow


def _next_one_side(spec: RunRule) -> Next:
    def follow(memory: Memory, middle: float) -> Memory | None:
        side = _side(middle, spec.limit)
        run = memory[0] if memory else 0
        run = side + (run if run * side > 0 else 0)
        return None if abs(run) >= spec.n else (run,)

    return follow


def _next_within(spec: RunRule) -> Next:
    def follow(memory: Memory, middle: float) -> Memory | None:
        run = (memory[0] if memory else 0) + 1 if abs(middle) < spec.limit else 0
        return None if run >= spec.n else (run,)

    return follow


def _next_outside(spec: RunRule) -> Next:
    def follow(memory: Memory, middle: float) -> Memory | None:
        side = _side(middle, spec.limit)
        if side == 0:
            return (0, 0)
        outside, same = memory or (0, 0)
        outside = min(outside + 1, spec.n)
        same = side * min(abs(same) + 1, spec.n) if same * side > 0 else side
        return None if outside >= spec.n > abs(same) else (outside, same)

    return follow


def _next_beyond(spec: RunRule) -> Next:
    return lambda memory, middle: None if abs(middle) > spec.limit else ()


_NEXT: dict[str, Callable[[RunRule], Next]] = {
    "beyond_limit": _next_beyond,
    "two_of_three_beyond_2_sigma": _next_k_of_n,
    "four_of_five_beyond_1_sigma": _next_k_of_n,
    "one_side": _next_one_side,
    "within_1_sigma": _next_within,
    "outside_1_sigma": _next_outside,
}


def _zones(specs: tuple[RunRule, ...]) -> tuple[list[float], list[float]]:
    """Borders between zones, and a value inside each zone."""
    borders = sorted({0.0, *(s.limit for s in specs), *(-s.limit for s in specs)})
    inner = [(a + b) / 2.0 for a, b in itertools.pairwise(borders)]
    return borders, [borders[0] - 1.0, *inner, borders[-1] + 1.0]


@cache
def _chain(specs: tuple[RunRule, ...]) -> tuple[Floats, npt.NDArray[np.int64]] | None:
    """Borders and the transition table (state, zone) → state, -1 = signal; None when too large."""
    borders, middles = _zones(specs)
    rules = [_NEXT[s.rule](s) for s in specs]
    first: tuple[Memory, ...] = tuple(() for _ in specs)
    number = {first: 0}
    queue = [first]
    table: list[list[int]] = []
    for state in queue:
        row: list[int] = []
        for middle in middles:
            after = [rule(memory, middle) for rule, memory in zip(rules, state, strict=True)]
            if any(a is None for a in after):
                row.append(-1)
                continue
            key = tuple(a for a in after if a is not None)
            if key not in number:
                number[key] = len(queue)
                queue.append(key)
            row.append(number[key])
        table.append(row)
        if len(queue) > STATES_MAX:
            return None
    return np.array(borders), np.array(table)


def zone_rules(specs: Sequence[RunRule], *, shift: float) -> float | None:
    """Exact run length of rules about zones; None when the chain would be too large.

    Parameters
    ----------
    specs : sequence of RunRule
        Without `steady_trend` and `alternating`.
    shift : float
        Shift of the mean in sigma.

    Notes
    -----
    Champ & Woodall, Technometrics 29 (1987) 393-399: (I - Q) L = 1.

    Examples
    --------
    >>> from server.maths.run_rules import run_rule
    >>> round(zone_rules([run_rule("one_side", n=8)], shift=0.0), 6)
    255.0
    """
    built = _chain(tuple(specs))
    if built is None:
        return None
    borders, table = built
    cut = ndtr(np.concatenate(([-np.inf], borders, [np.inf])) - shift)
    chance = np.diff(cut)
    upper = ndtr(-(np.concatenate(([-np.inf], borders, [np.inf])) - shift))
    chance = np.where(cut[:-1] > 0.5, upper[:-1] - upper[1:], chance)
    count = table.shape[0]
    rows, zones = np.nonzero(table >= 0)
    q = csr_matrix((chance[zones], (rows, table[rows, zones])), shape=(count, count))
    solved: Any = spsolve((eye_array(count, format="csc") - q).tocsc(), np.ones(count))
    return float(np.atleast_1d(solved)[0])


@cache
def _integration(count: int = 24) -> tuple[Floats, Floats, Floats]:
    """Nodes and weights on 0..1, and the matrix of ∫₀^node of the interpolating polynomial."""
    x, w = np.polynomial.legendre.leggauss(count)
    values = np.polynomial.legendre.legvander(x, count - 1)
    coefficients = np.linalg.inv(values)
    integrals = np.empty_like(values)
    for degree in range(count):
        unit = np.zeros(degree + 1)
        unit[degree] = 1.0
        integral = np.polynomial.legendre.legint(unit, lbnd=-1.0)
        integrals[:, degree] = np.polynomial.legendre.legval(x, integral)
    return (x + 1.0) / 2.0, w / 2.0, integrals @ coefficients / 2.0


def comparing_rule(spec: RunRule) -> float:
    """Run length of a trend or of alternation alone: independent of shift and distribution.

    Parameters
    ----------
    spec : RunRule
        `steady_trend` or `alternating`.

    Notes
    -----
    With u the last value on 0..1 and r the moves of the pattern so far, for a pattern that last rose
    E_r(u) = 1 + ∫ E_next; a fall mirrors u. Spectral collocation on 24 Gauss-Legendre nodes
    (derived; agrees with the integral-equation value 421.5986 for six points).

    Examples
    --------
    >>> from server.maths.run_rules import run_rule
    >>> round(comparing_rule(run_rule("steady_trend")), 3)
    421.599
    """
    _, weights, below = _integration()
    size = weights.size
    above = weights[None, :] - below
    mirror = np.eye(size)[::-1]
    moves = spec.n - 1
    trend = spec.rule == "steady_trend"
    # Unknown blocks 1..moves-1: after r moves of the pattern, the last of them a rise.
    system = np.eye(size * (moves - 1)) if moves > 1 else np.zeros((0, 0))
    for r in range(1, moves):
        here = slice((r - 1) * size, r * size)
        onward = above if trend else below @ mirror
        restart = below @ mirror if trend else above
        system[here, :size] -= restart
        if r + 1 < moves:
            system[here, r * size : (r + 1) * size] -= onward
    if moves == 1:
        return 2.0
    solved = np.linalg.solve(system, np.ones(system.shape[0]))[:size]
    first = 1.0 + above @ solved + below @ mirror @ solved
    return float(1.0 + weights @ first)
