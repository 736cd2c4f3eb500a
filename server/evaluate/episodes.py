"""Run-rule marks into episodes: stretches in which a rule keeps signalling."""

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from server.contract import RULED_SIGNALS
from server.evaluate.carry import TAIL, Episode
from server.maths.run_rule_spec import run_rule
from server.maths.run_rules import marks_of

#: An episode ends when so many shots passed without a mark.
QUIET = 10

Key = tuple[str, str]


@dataclasses.dataclass(frozen=True)
class Marked:
    """Episodes touched by a stretch of shots, the ones still open, and the values to carry."""

    touched: list[tuple[Key, Episode]]
    still_open: dict[Key, Episode]
    z_tail: NDArray[np.float64]


def mark_stretch(
    z: NDArray[np.float64],
    at_ms: NDArray[np.int64],
    counter: NDArray[np.int64],
    *,
    z_tail: NDArray[np.float64],
    open_before: dict[Key, Episode],
    rules: Sequence[tuple[str, int | None]],
) -> Marked:
    """Episodes of the shots z [n, signals] that follow z_tail.

    NaN values (missing or within a restart) break runs. The same history in any cuts gives the same
    episodes: a mark depends on at most TAIL earlier values, an episode on its marks alone.
    """
    whole = np.concatenate((z_tail, z)) if len(z_tail) else z
    skip = len(z_tail)
    touched: list[tuple[Key, Episode]] = []
    still_open: dict[Key, Episode] = {}
    specs = [(rule, run_rule(rule, n=n)) for rule, n in rules]
    marked = [(rule, marks_of(whole, spec)[skip:].T) for rule, spec in specs]
    for column, signal in enumerate(RULED_SIGNALS):
        for rule, every in marked:
            own = np.flatnonzero(every[column]).tolist()
            key = (signal, rule)
            if not own and key not in open_before:
                continue
            for one in _join(own, z[:, column], at_ms, counter, open_before.get(key)):
                touched.append((key, one))
                if one.quiet < QUIET:
                    still_open[key] = one
    return Marked(touched, still_open, whole[-TAIL:].copy())


def _join(
    marked: list[int],
    values: NDArray[np.float64],
    at_ms: NDArray[np.int64],
    counter: NDArray[np.int64],
    begun: Episode | None,
) -> list[Episode]:
    """Marks of one rule on one signal joined into episodes, `begun` continued where it goes on."""
    n = len(at_ms)
    groups: list[list[int]] = []
    for mark in marked:
        if groups and mark - groups[-1][-1] <= QUIET:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    found: list[Episode] = []
    if begun is not None:
        goes_on = bool(groups) and groups[0][0] + begun.quiet < QUIET
        if not goes_on:
            found.append(dataclasses.replace(begun, quiet=min(QUIET, begun.quiet + n)))
        else:
            found.append(_extended(begun, groups.pop(0), values, at_ms, counter))
    for group in groups:
        first = group[0]
        start = Episode(int(at_ms[first]), int(counter[first]), 0, 0, 0, float(values[first]), 0)
        found.append(_extended(start, group, values, at_ms, counter))
    return found


def _extended(
    one: Episode,
    group: list[int],
    values: NDArray[np.float64],
    at_ms: NDArray[np.int64],
    counter: NDArray[np.int64],
) -> Episode:
    last = group[-1]
    peak = max((float(values[mark]) for mark in group), key=abs)
    return Episode(
        from_ms=one.from_ms,
        from_counter=one.from_counter,
        to_ms=int(at_ms[last]),
        to_counter=int(counter[last]),
        marks=one.marks + len(group),
        extreme=peak if abs(peak) > abs(one.extreme) else one.extreme,
        quiet=min(QUIET, len(at_ms) - 1 - last),
    )
