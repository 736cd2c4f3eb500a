"""Run rules: patterns of consecutive points that healthy data seldom make.

Every rule has finite memory: whether a point is marked depends on that point and on at most
`memory(rule, n)` points before it. So marks over old + new points equal marks over the whole, bit
for bit. NaN breaks a run and is never marked.

Sources: Western Electric handbook (1956), Nelson, J. Quality Technol. 16 (1984) 237-239,
ISO 7870-2. Where they differ the caller chooses `n`: `one_side` 8 or 9 (default 9),
`steady_trend` 6 or 7 points (default 6).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from server.maths.run_rule_spec import DEFAULT_N, RunRule, as_rule, run_rule

__all__ = [
    "DEFAULT_N",
    "Finding",
    "RunRule",
    "find",
    "latest_start",
    "marks",
    "marks_of",
    "memory",
    "run_rule",
]

Floats = npt.NDArray[np.float64]
Marks = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Finding:
    """A rule that signals at `index`, on points `from_index`..`index` (0-based, inclusive)."""

    rule: str
    index: int
    from_index: int


def memory(rule: str, n: int | None = None) -> int:
    """How many points before a point decide whether it is marked.

    Parameters
    ----------
    rule : str
        Id in `server.contract.RUN_RULES`.
    n : int, optional
        Points looked at; default by rule.

    Returns
    -------
    int
        n - 1: the rest of the window.

    Examples
    --------
    >>> memory("steady_trend"), memory("beyond_limit"), memory("one_side", 8)
    (5, 0, 7)
    """
    return run_rule(rule, n=n).n - 1


def _runs(flags: Marks, length: int) -> Marks:
    """True where `flags` has been True for `length` points in a row; doubling, O(n log length)."""
    result = flags.copy()
    have = 1
    while have < length and have < len(result):
        step = min(have, length - have)
        result[step:] = result[step:] & result[:-step]
        have += step
    result[: length - 1] = False
    return result


def _k_of_n(flags: Marks, gapless: Marks | None, needed: int, n: int) -> Marks:
    """True where the point is flagged and `needed` of the last `n` are, counted back to a gap."""
    count = flags.astype(np.int8)
    unbroken = None if gapless is None else gapless.copy()
    for back in range(1, min(n, len(flags))):
        earlier = flags[:-back]
        if unbroken is not None and gapless is not None:
            unbroken[back:] &= gapless[:-back]
            earlier = earlier & unbroken[back:]
        count[back:] += earlier
    return np.asarray((count >= needed) & flags)


def _sided(z: Floats, spec: RunRule) -> tuple[Marks, Marks]:
    """Beyond the limit above, and below."""
    return np.asarray(z > spec.limit), np.asarray(z < -spec.limit)


def _steps(z: Floats) -> tuple[Marks, Marks]:
    """Rose and fell against the point before; the first point did neither."""
    rose = np.zeros(z.shape, dtype=np.bool_)
    fell = np.zeros(z.shape, dtype=np.bool_)
    np.greater(z[1:], z[:-1], out=rose[1:])
    np.less(z[1:], z[:-1], out=fell[1:])
    return rose, fell


def _mark_k_of_n(z: Floats, spec: RunRule) -> Marks:
    high, low = _sided(z, spec)
    finite = np.isfinite(z)
    gapless = None if finite.all() else finite
    return _k_of_n(high, gapless, spec.needed, spec.n) | _k_of_n(low, gapless, spec.needed, spec.n)


def _mark_one_side(z: Floats, spec: RunRule) -> Marks:
    high, low = _sided(z, spec)
    return _runs(high, spec.n) | _runs(low, spec.n)


def _mark_trend(z: Floats, spec: RunRule) -> Marks:
    rose, fell = _steps(z)
    return _runs(rose, spec.n - 1) | _runs(fell, spec.n - 1)


def _mark_alternating(z: Floats, spec: RunRule) -> Marks:
    rose, fell = _steps(z)
    turned = np.zeros(z.shape, dtype=np.bool_)
    turned[1:] = (rose[1:] & fell[:-1]) | (fell[1:] & rose[:-1])
    return _runs(turned, spec.n - 2)


def _mark_outside(z: Floats, spec: RunRule) -> Marks:
    high, low = _sided(z, spec)
    return _runs(high | low, spec.n) & ~_runs(high, spec.n) & ~_runs(low, spec.n)


def marks_of(z: Floats, spec: RunRule) -> Marks:
    """Marks of a rule with parameters; see `marks`. z [k], or [k, c]: c signals, each by itself."""
    if z.size == 0:
        return np.zeros(z.shape, dtype=np.bool_)
    match spec.rule:
        case "beyond_limit":
            return np.asarray(np.abs(z) > spec.limit)
        case "two_of_three_beyond_2_sigma" | "four_of_five_beyond_1_sigma":
            return _mark_k_of_n(z, spec)
        case "one_side":
            return _mark_one_side(z, spec)
        case "steady_trend":
            return _mark_trend(z, spec)
        case "alternating":
            return _mark_alternating(z, spec)
        case "within_1_sigma":
            return _runs(np.asarray(np.abs(z) < spec.limit), spec.n)
        case _:
            return _mark_outside(z, spec)


def marks(z: npt.ArrayLike, *, rule: str, n: int | None = None) -> Marks:
    """Where a rule signals, every point judged with its full history ("mark").

    Parameters
    ----------
    z : array_like, shape (k,)
        Standardised values (x - center) / sigma. NaN breaks a run and is never marked; an infinity
        is beyond every limit.
    rule : str
        Id in `server.contract.RUN_RULES`.
    n : int, optional
        Points looked at; default by rule. Out of bounds, or an unknown rule: ValueError.

    Returns
    -------
    ndarray of bool, shape (k,)

    Notes
    -----
    Limits are strict: a point on the line is not beyond it, a point on the center is on no side,
    equal neighbours neither rise nor fall. `outside_1_sigma` needs both sides in its window (one
    side alone is `four_of_five_beyond_1_sigma`). A "2 of 3" marks only a point that is itself
    beyond. Rounded data: ties end trends, so trends signal less than on continuous data. AR(1) data
    with positive correlation: one-sided runs and trends signal far more often. Heavy tails:
    `beyond_limit` signals more often, the runs hardly change.

    Examples
    --------
    >>> marks([0.0, 3.1, 2.5, 0.1], rule="two_of_three_beyond_2_sigma").tolist()
    [False, False, True, False]
    >>> marks([1, 2, 3, 4, 5, 6.0], rule="steady_trend").tolist()[-1]
    True
    """
    return marks_of(np.asarray(z, dtype=np.float64).ravel(), run_rule(rule, n=n))


def latest_start(z: Floats, spec: RunRule) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Marked points, and for each the latest start of history with which it is still marked.

    Parameters
    ----------
    z : ndarray, shape (k,)
        Standardised values.
    spec : RunRule
        The rule.

    Returns
    -------
    (ndarray, ndarray)
        Indices of the marks, and for each the first point its pattern cannot do without.

    Examples
    --------
    >>> at, start = latest_start(np.array([2.5, 0.0, 2.5]), run_rule("two_of_three_beyond_2_sigma"))
    >>> at.tolist(), start.tolist()
    ([2], [0])
    """
    at = np.flatnonzero(marks_of(z, spec))
    if spec.needed == spec.n or at.size == 0:
        return at, np.maximum(at - (spec.n - 1), 0)
    start = np.full(at.size, -1)
    high, low = _sided(z, spec)
    for flags in (high, low):
        places = np.flatnonzero(flags)
        mine = np.flatnonzero(flags[at])
        rank = np.searchsorted(places, at[mine])
        start[mine] = places[rank - spec.needed + 1]
    return at, start


def _find_cleared(z: Floats, specs: tuple[RunRule, ...]) -> list[Finding]:
    """Findings with the history cleared after every signalling point."""
    parts = [latest_start(z, spec) for spec in specs]
    if not parts:
        return []
    at = np.concatenate([p[0] for p in parts])
    start = np.concatenate([p[1] for p in parts])
    which = np.repeat(np.arange(len(specs)), [p[0].size for p in parts])
    order = np.lexsort((which, at))
    findings: list[Finding] = []
    begin = last_begin = 0
    for index, first, rule in zip(
        at[order].tolist(), start[order].tolist(), which[order].tolist(), strict=True
    ):
        if findings and findings[-1].index == index:
            if first >= last_begin:
                findings.append(Finding(specs[rule].rule, index, first))
        elif first >= begin:
            findings.append(Finding(specs[rule].rule, index, first))
            last_begin, begin = begin, index + 1
    return findings


def find(
    values: npt.ArrayLike,
    *,
    center: float,
    sigma: float,
    rules: Iterable[str | Mapping[str, Any] | RunRule],
    history: Literal["mark", "clear"] = "mark",
) -> tuple[Finding, ...]:
    """Findings of several rules, in order of index, then of the rules asked for.

    Parameters
    ----------
    values : array_like, shape (k,)
        Readings. NaN breaks a run.
    center, sigma : float
        Center and standard deviation, in the unit of `values`; sigma above 0.
    rules : iterable
        Ids, `{"rule", "n", …}` mappings or `RunRule`.
    history : {"mark", "clear"}
        "mark": every point judged with its full history, as on charts. "clear": after a signal of
        any rule the history starts anew, as run lengths are counted.

    Raises
    ------
    ValueError
        sigma not above 0, center not finite, unknown rule, bad parameter.

    Examples
    --------
    >>> find([0, 0, 4.0], center=0, sigma=1, rules=["beyond_limit"])
    (Finding(rule='beyond_limit', index=2, from_index=2),)
    """
    if not (np.isfinite(sigma) and sigma > 0):
        raise ValueError(f"sigma must be a number above 0, got {sigma!r}")
    if not np.isfinite(center):
        raise ValueError(f"center must be a finite number, got {center!r}")
    z = (np.asarray(values, dtype=np.float64).ravel() - center) / sigma
    specs = tuple(as_rule(r) for r in rules)
    if history not in ("mark", "clear"):
        raise ValueError(f"history must be 'mark' or 'clear', got {history!r}")
    if history == "clear":
        return tuple(_find_cleared(z, specs))
    findings: list[Finding] = []
    for spec in specs:
        at, first = latest_start(z, spec)
        pairs = zip(at.tolist(), first.tolist(), strict=True)
        findings += [Finding(spec.rule, index, begin) for index, begin in pairs]
    return tuple(sorted(findings, key=lambda f: f.index))
