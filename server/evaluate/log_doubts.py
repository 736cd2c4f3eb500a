"""Doubts about a log while it runs: wrapped values, impossible sums, lost records, another press, stuck.

A pure fold with a window of 100 shots. Each doubt opens at a count within the window and closes at half
of it, so that one bad record alarms nobody.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Columns = Mapping[str, NDArray[Any]]
Floats = NDArray[np.float64]

#: Shots looked back on.
WINDOW: Final = 100
WRAPPED: Final = "wrapped"
IMPOSSIBLE: Final = "impossible"
LOST: Final = "lost"
OTHER_PRESS: Final = "other_press"
STUCK: Final = "stuck"
#: Counts within the window from which a doubt stands. One record in a hundred is lost on sound presses, up
#: to three; a press's counter is set back once (public shot logs). The rest: common practice, no source.
OPENS_AT: Final = {WRAPPED: 2, IMPOSSIBLE: 3, LOST: 10, OTHER_PRESS: 4, STUCK: 1}
_BITS: Final = {name: 1 << i for i, name in enumerate(OPENS_AT)}
#: Unsigned 16-bit hundredths: a small negative value reads near 655.
WRAPPED_FROM: Final = 640.0
WRAPPED_TO: Final = 655.36
#: A missing stretch of counters longer than this is a pause or a reset, no lost records.
LOST_MOST: Final = 50
#: Equal readings in a row of a signal that scatters by more than its display's step.
STUCK_RUN: Final = 80
#: Scatter of the record against the display's step from which equal readings are no accident.
STUCK_STEPS: Final = 1.5
#: Readings that may stick, in order of the runs carried.
STICKING: Final = ("shot_size_mm", "cushion_mm", "peak_pressure_bar", "fill_time_s")


@dataclasses.dataclass(frozen=True)
class DoubtState:
    """flags: bits of the last shots [<= 100]. last, runs: last reading and equal ones in a row [4].

    standing: bits of the doubts that stand; since_ms: since when [5].
    """

    flags: NDArray[np.int64] = dataclasses.field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    last: Floats = dataclasses.field(default_factory=lambda: np.full(len(STICKING), np.nan))
    runs: NDArray[np.int64] = dataclasses.field(
        default_factory=lambda: np.zeros(len(STICKING), dtype=np.int64)
    )
    standing: int = 0
    since_ms: NDArray[np.int64] = dataclasses.field(
        default_factory=lambda: np.full(len(OPENS_AT), -1, dtype=np.int64)
    )

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        return {
            "flags": self.flags,
            "last": self.last,
            "runs": self.runs,
            "since_ms": np.append(self.since_ms, self.standing),
        }

    @classmethod
    def from_arrays(cls, arrays: dict[str, NDArray[Any]]) -> "DoubtState":
        kept = arrays["since_ms"]
        return cls(arrays["flags"], arrays["last"], arrays["runs"], int(kept[-1]), kept[:-1])

    def document(self) -> dict[str, dict[str, int]]:
        """Doubts that stand, with what pages and alarms say of them."""
        return {
            name: {"since_ms": int(self.since_ms[i]), "of_last_100": int((self.flags & bit > 0).sum())}
            for i, (name, bit) in enumerate(_BITS.items())
            if self.standing & bit
        }


def look(
    state: DoubtState,
    shots: Columns,
    signals: Mapping[str, Floats],
    *,
    counter_before: int,
    scatters: NDArray[np.bool_],
) -> DoubtState:
    """The state after these shots. scatters [4]: signals of STICKING that may not read the same for long."""
    flags = _plain(shots, signals, counter_before)
    last, runs = state.last.copy(), state.runs.copy()
    for i, name in enumerate(STICKING):
        lengths = _equal_runs(signals[name], float(last[i]), int(runs[i]))
        last[i], runs[i] = signals[name][-1], lengths[-1]
        if scatters[i]:
            flags |= np.where(lengths >= STUCK_RUN, _BITS[STUCK], 0)
    whole = np.concatenate((state.flags, flags))
    standing, since = state.standing, state.since_ms.copy()
    for i, (name, bit) in enumerate(_BITS.items()):
        if not (standing & bit or (whole & bit).any()):
            continue
        total = np.concatenate(([0], np.cumsum((whole & bit) > 0)))
        ends = np.arange(len(state.flags), len(whole)) + 1
        counts = total[ends] - total[np.maximum(ends - WINDOW, 0)]
        stands = bool(standing & bit)
        for at, count in zip(shots["at_ms"].tolist(), counts.tolist(), strict=True):
            if not stands and count >= OPENS_AT[name]:
                stands, since[i] = True, at
            elif stands and count <= OPENS_AT[name] // 2:
                stands, since[i] = False, -1
        standing = standing | bit if stands else standing & ~bit
    return DoubtState(whole[-WINDOW:].copy(), last, runs, standing, since)


def _plain(shots: Columns, signals: Mapping[str, Floats], counter_before: int) -> NDArray[np.int64]:
    """[n] bits of what a shot says by itself and against the one before."""
    size, cushion = signals["shot_size_mm"], signals["cushion_mm"]
    before = np.concatenate(([counter_before], shots["counter"][:-1]))
    ahead = shots["counter"] - before
    known = before >= 0
    with np.errstate(invalid="ignore"):
        wrapped = _wraps(size) | _wraps(cushion)
        over = shots["fill_time_s"] + shots["hold_time_s"] > 1.02 * shots["cycle_time_s"]
        impossible = ((cushion > size) | over) & ~wrapped
    lost = known & (ahead > 1) & (ahead <= LOST_MOST)
    back = known & (ahead < 0)
    return (
        np.where(wrapped, _BITS[WRAPPED], 0)
        | np.where(impossible, _BITS[IMPOSSIBLE], 0)
        | np.where(lost, _BITS[LOST], 0)
        | np.where(back, _BITS[OTHER_PRESS], 0)
    ).astype(np.int64)


def _wraps(values: Floats) -> NDArray[np.bool_]:
    return np.asarray((values >= WRAPPED_FROM) & (values <= WRAPPED_TO))


def _equal_runs(values: Floats, last: float, run: int) -> NDArray[np.int64]:
    """[n] how many readings in a row are equal up to each one; a missing one breaks the run."""
    whole = np.concatenate(([last], values))
    same = whole[1:] == whole[:-1]
    index = np.arange(1, len(values) + 1)
    broken = np.maximum.accumulate(np.where(same, 0, index))
    return np.asarray(np.where(broken == 0, run + index, index - broken + 1), dtype=np.int64)
