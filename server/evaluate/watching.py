"""Charts within the alarm budget: groups of usable shots, what the charts learnt, and their episodes.

A pure fold like everything here: the shots of an unfinished group are carried, a group is judged when
its last shot is there, so any cutting of a history gives the same bits. A known change makes the charts
it may move learn their level anew; after a change one group settles before it counts. What was learnt
under other records of the press is kept for when they come back.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import LEVEL_MOVED, SCATTER_GROWN, WATCHED_LEVELS, WATCHED_SCATTERS
from server.derived.alarm_budget import CHARTS
from server.evaluate.carry import Episode
from server.evaluate.watch_memory import Memory, WatchState
from server.maths.alarm_budget import Plan, design_of
from server.maths.group_scores import level_and_scatter
from server.maths.watch_charts import LEARNS, SPEAKS_FROM, Design, moved, step

Floats = NDArray[np.float64]
Key = tuple[str, str]

#: Time a record must have been watched before its charts speak, and before they have learnt: the day
#: and the week are in what a press does (common practice, no source).
SPEAKS_AFTER_MS: Final = 48 * 3_600_000
LEARNS_FOR_MS: Final = 7 * 24 * 3_600_000

#: What a known change may move: bit 1 every level, bit 2 the shot size alone.
EVERY_LEVEL: Final = 1
DOSE_ONLY: Final = 2

_LEVELS: Final = len(WATCHED_LEVELS)
_SCATTERED: Final = [WATCHED_LEVELS.index(name) for name in WATCHED_SCATTERS]
_DOSE: Final = WATCHED_LEVELS.index("shot_size_mm")


@dataclasses.dataclass(frozen=True)
class WatchedRecord:
    """The record of a baseline as the charts need it, in the order of WATCHED_LEVELS; NaN: not in it."""

    center: Floats
    sigma: Floats


@dataclasses.dataclass(frozen=True)
class Watched:
    """After a stretch: the state, episodes touched, and those still open."""

    state: WatchState
    touched: list[tuple[Key, Episode]]
    still_open: dict[Key, Episode]


def _design(plan: Plan) -> Design:
    """The plan's charts in the fixed order; a chart the plan lacks has a limit it cannot reach."""
    known = design_of(plan)
    place = {(chart.kind, chart.signal): i for i, chart in enumerate(plan.charts)}
    at = [place.get(chart, -1) for chart in CHARTS]

    def spread(values: NDArray[Any], missing: float) -> NDArray[Any]:
        return np.array([missing if i < 0 else values[i] for i in at])

    return Design(
        weight=spread(known.weight, 0.2),
        width=spread(known.width, 6.0),
        one_sided=np.array([kind == "scatter" for kind, _ in CHARTS]),
    )


def entered(state: WatchState, number: int, *, anew: bool) -> WatchState:
    """The state as another record comes into force (number 0: none), or the same with another valve."""
    memories = {**state.memories}
    if state.baseline_no and state.memory.groups:
        memories[state.baseline_no] = state.memory
    memory = Memory() if anew else memories.pop(number, Memory())
    if anew:
        memories = {}
    else:
        memories.pop(number, None)
        memory = memory.after_change(np.ones(_LEVELS, dtype=bool))
    newest = dict(list(memories.items())[-WatchState.MOST_MEMORIES :])
    return WatchState(baseline_no=number, memory=memory, memories=newest)


def watch(
    state: WatchState,
    shots: Mapping[str, NDArray[Any]],
    values: Floats,
    *,
    usable: NDArray[np.bool_],
    changes: NDArray[np.int64],
    record: WatchedRecord,
    plan: Plan,
    open_before: dict[Key, Episode],
) -> Watched:
    """Charts over the shots of a stretch under one record.

    values: float64 [n, 6], columns of WATCHED_LEVELS. changes: int [n], bits of what changed with a shot.
    """
    if not plan.charts:
        return Watched(state, [], {})
    fold = _Fold(state.memory, plan, record, open_before)
    starts = np.flatnonzero(changes).tolist()
    for begin, end in zip([0, *starts], [*starts, len(values)], strict=True):
        if begin < len(values) and changes[begin]:
            fold.change(int(changes[begin]))
        here = np.flatnonzero(usable[begin:end]) + begin
        fold.take(values[here], shots["at_ms"][here], shots["counter"][here])
    return Watched(dataclasses.replace(state, memory=fold.memory), fold.touched, fold.open)


class _Fold:
    def __init__(
        self, memory: Memory, plan: Plan, record: WatchedRecord, open_before: dict[Key, Episode]
    ) -> None:
        self.memory = memory
        self.touched: list[tuple[Key, Episode]] = []
        self.open = dict(open_before)
        self._plan, self._record = plan, record
        self._design = _design(plan)

    def change(self, bits: int) -> None:
        """Something known changed: what it may move learns its level anew."""
        which = np.zeros(_LEVELS, dtype=bool)
        which[_DOSE] = True
        if bits & EVERY_LEVEL:
            which[:] = True
        self.memory = self.memory.after_change(which)
        active = self.memory.bank.active > 0
        self.open = {key: self.open[key] for i, key in enumerate(KEYS) if active[i] and key in self.open}

    def take(self, values: Floats, at_ms: NDArray[Any], counter: NDArray[Any]) -> None:
        size, aside = self._plan.grouping.size, self._plan.grouping.aside
        waiting = len(self.memory.waiting)
        whole = np.concatenate((self.memory.waiting, values)) if waiting else values
        groups = len(whole) // size
        if groups:
            self._groups(whole[: groups * size].reshape(groups, size, _LEVELS)[:, aside:], at_ms, counter)
        left = whole[groups * size :]
        since = self.memory.waiting_since_ms
        if groups or not waiting:
            since = int(at_ms[len(at_ms) - len(left)]) if len(left) else -1
        self.memory = dataclasses.replace(self.memory, waiting=left.copy(), waiting_since_ms=since)

    def _groups(self, used: Floats, at_ms: NDArray[Any], counter: NDArray[Any]) -> None:
        """Whole groups used [groups, shots, 6]; the first began with the shots that waited."""
        size, waiting = self._plan.grouping.size, len(self.memory.waiting)
        began_ms = self.memory.waiting_since_ms
        z = (used - self._record.center) / self._record.sigma
        settled = 0
        if self.memory.settles.any():
            self.memory, settled = _settled(self.memory, z[0]), 1
        level, scatter = level_and_scatter(z, anchor=self.memory.anchor)
        values = np.concatenate((level, scatter[:, _SCATTERED]), axis=1)
        for number in range(settled, len(used)):
            last = (number + 1) * size - waiting - 1
            first = max(0, last - size + 1)
            self._group(
                values[number],
                int(at_ms[first]) if number or not waiting else began_ms,
                int(at_ms[last]),
                int(counter[last]),
            )

    def _group(self, values: Floats, from_ms: int, to_ms: int, counter: int) -> None:
        memory = self.memory
        began = memory.began_ms if memory.began_ms >= 0 else from_ms
        groups = memory.groups + 1
        bank = step(
            memory.bank,
            values,
            self._design,
            speaks=groups >= SPEAKS_FROM and to_ms - began >= SPEAKS_AFTER_MS,
            complete=groups >= LEARNS and to_ms - began >= LEARNS_FOR_MS,
        )
        onset = np.where(bank.since_zero == 1.0, from_ms, memory.onset_ms)
        self.memory = dataclasses.replace(memory, bank=bank, groups=groups, began_ms=began, onset_ms=onset)
        self._note(to_ms, counter)

    def _note(self, at_ms: int, counter: int) -> None:
        """Episodes of charts that signal, begun, continued or over."""
        active, size = self.memory.bank.active > 0, moved(self.memory.bank)
        for i, key in enumerate(KEYS):
            before = self.open.pop(key, None)
            if not active[i]:
                continue
            value = float(size[i])
            one = before or Episode(at_ms, counter, at_ms, counter, 0, value, 0)
            extreme = value if abs(value) > abs(one.extreme) else one.extreme
            one = dataclasses.replace(
                one, to_ms=at_ms, to_counter=counter, marks=one.marks + 1, extreme=extreme
            )
            self.touched.append((key, one))
            self.open[key] = one


def _settled(memory: Memory, z: Floats) -> Memory:
    """The group after a change: only where the level now stands is taken from it."""
    finite = np.isfinite(z)
    there = finite.any(axis=0)
    middle = np.nanmedian(np.where(there, z, 0.0), axis=0)
    return dataclasses.replace(
        memory,
        anchor=np.where(memory.settles & there, middle, memory.anchor),
        settles=np.zeros(_LEVELS, dtype=bool),
    )


KEYS: Final[tuple[Key, ...]] = (
    *((name, LEVEL_MOVED) for name in WATCHED_LEVELS),
    *((name, SCATTER_GROWN) for name in WATCHED_SCATTERS),
)
assert len(KEYS) == len(CHARTS)


def summary(state: WatchState, *, plan: Plan | None, restart_left: int, now_ms: int) -> dict[str, Any]:
    """How the charts stand, as a document for pages and alarms."""
    memory = state.memory
    watched_ms = now_ms - memory.began_ms if memory.began_ms >= 0 else 0
    size = moved(memory.bank)
    signals = [
        {"signal": key[0], "rule": key[1], "moved": float(size[i]), "since_ms": int(memory.onset_ms[i])}
        for i, key in enumerate(KEYS)
        if memory.bank.active[i] > 0
    ]
    return {
        "groups": memory.groups,
        "watched_ms": watched_ms,
        "group_size": plan.grouping.size if plan else 0,
        "speaks": memory.groups >= SPEAKS_FROM and watched_ms >= SPEAKS_AFTER_MS,
        "complete": memory.groups >= LEARNS and watched_ms >= LEARNS_FOR_MS,
        "settles": bool(memory.settles.any()),
        "restart_left": restart_left,
        "known": {name: float(memory.bank.freedom[i]) for i, name in enumerate(WATCHED_LEVELS)},
        "active": signals,
    }
