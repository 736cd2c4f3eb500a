"""Evidence on a press's valve, shot after shot: a carried state, and a judgement a block of five shots.

`advance` may be fed any batching of one history and gives the same bits. What is carried: the shots
of an unfinished block, the rows of the last 199 blocks, what known changes have moved, the levels
kept while a change is being measured, and the memory of the whole history since the record. Three
gross shots among the last five bring a judgement of their own (`early`).
"""

import dataclasses
import itertools
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve import memory
from server.valve.blocks import (
    AFTER_CHANGE,
    BLOCK,
    CUSHION,
    MEDIAN,
    PRESENT,
    SIGNALS,
    SIZE,
    SWEPT,
    WIDTH,
    Reference,
    level_of,
    summarise,
)
from server.valve.early import REACH, Early, early_rows
from server.valve.evidence_state import KEPT, EvidenceState
from server.valve.features import FACT_INDEX, FACTS, MID, level_facts, scatter_facts
from server.valve.judgement import TERMS, judge, likelihood
from server.valve.shapes import LOT_CHANGE, SETTING_CHANGE

__all__ = [
    "BLOCK",
    "FACTS",
    "LOT_CHANGE",
    "SETTING_CHANGE",
    "SIGNALS",
    "TERMS",
    "Advanced",
    "EvidenceState",
    "Reference",
    "advance",
    "likelihood",
]

Floats = NDArray[np.float64]

#: Blocks measured on each side of a known change: 20 shots.
ACROSS: Final = 4
#: How much of the record's swept stroke a known change may explain (common practice, no source:
#: 10 MPa of hold pressure is about 1 % of stroke, a lot rarely as much).
STEP_LIMIT: Final[dict[int, float]] = {LOT_CHANGE: 0.01, SETTING_CHANGE: 0.04}
#: Where the facts of the long memory stand.
_REMEMBERED: Final = [FACT_INDEX[name] for name in memory.FACTS]
OK: Final = 0
TOO_FEW: Final = 1


@dataclasses.dataclass(frozen=True)
class Advanced:
    """Judgements at the end of each block, and the state to go on from.

    at_index: int64 [k], the shot (index within the batch) that completed a block. terms: float64
    [k, E] log-odds of each evidence in the order of TERMS. log_odds [k] = prior + sum of terms in
    that order. causes [k, C] in the order of contract.CAUSES, each row sums to 1. facts [k, F] in
    the order of FACTS, NaN where it cannot be said. status: int64 [k], 0 judged, 1 too few shots.
    """

    state: EvidenceState
    at_index: NDArray[np.int64]
    terms: Floats
    log_odds: Floats
    causes: Floats
    facts: Floats
    status: NDArray[np.int64]


@dataclasses.dataclass(frozen=True)
class _Stretch:
    """Facts of the blocks of one stretch without a change inside; together: rows carried and new ones."""

    state: EvidenceState
    together: Floats
    at_index: NDArray[np.int64]
    facts: Floats


def advance(
    state: EvidenceState,
    values: Floats,
    *,
    usable: NDArray[np.bool_],
    change: NDArray[np.int64],
    reference: Reference,
    prior_log_odds: float | Floats,
    model: Mapping[str, Any],
    checked: float | Floats = 0.0,
) -> Advanced:
    """Take n more shots of a press and judge at the end of every block of five usable ones.

    values: float64 [n, S] in the order of SIGNALS, NaN = missing. usable: bool [n]; shots that are
    not (restarts) stand in no block. change: int [n], 1 a lot change at this shot, 2 a setting
    change; it counts on unusable shots too, and an unfinished block before it is dropped.
    prior_log_odds and checked: one number, or one a shot; see `judgement.judge`.
    model: the fitted coefficients (`model.MODEL`). Feeding a history in any batches gives the
    same bits as feeding it whole.

    >>> from server.valve.model import MODEL
    >>> nothing = advance(EvidenceState.fresh(), np.empty((0, 9)), usable=np.empty(0, bool),
    ...     change=np.empty(0, int), prior_log_odds=-2.9, model=MODEL,
    ...     reference=Reference(*np.full((3, 9), np.nan), 0.0))
    >>> nothing.log_odds.shape
    (0,)
    """
    starts = [0, *np.flatnonzero(change).tolist(), len(values)]
    stretches: list[_Stretch] = []
    for i, (begin, end) in enumerate(itertools.pairwise(starts)):
        if i:
            state = _changed(state, int(change[begin]), reference)
        part = _stretch(state, values[begin:end], usable[begin:end], reference, begin)
        state = part.state
        stretches.append(part)
    facts = np.concatenate([part.facts for part in stretches])
    at_index = np.concatenate([part.at_index for part in stretches])
    judged = judge(
        facts,
        prior_log_odds=_of_blocks(prior_log_odds, at_index),
        model=model,
        checked=_of_blocks(checked, at_index),
    )
    return Advanced(
        state=state,
        at_index=at_index,
        terms=judged.terms,
        log_odds=judged.log_odds,
        causes=judged.causes,
        facts=facts,
        status=np.where(judged.enough, OK, TOO_FEW).astype(np.int64),
    )


def _of_blocks(value: float | Floats, at_index: NDArray[np.int64]) -> float | Floats:
    """Of numbers a shot, those of the shots that complete a block."""
    return value[at_index] if isinstance(value, np.ndarray) else value


def _changed(state: EvidenceState, kind: int, reference: Reference) -> EvidenceState:
    """The state as a known change begins: levels before it are noted, the block begun is dropped."""
    rows, before, remembered = state.rows, state.before, state.memory
    if state.kind:
        unsure = state.waiting.copy()
        unsure[:, PRESENT] = 0.0
        rows = np.concatenate([rows, unsure])[-KEPT:]
        remembered, _ = memory.take(remembered, unsure, reference=reference)
    else:
        before = level_of(rows[-ACROSS:])
    return dataclasses.replace(
        state,
        partial=state.partial[:0],
        recent=state.recent[:0],
        rows=rows,
        waiting=state.waiting[:0],
        before=before,
        kind=max(kind, state.kind),
        last=kind,
        since=0,
        memory=remembered,
    )


def _stretch(
    state: EvidenceState, values: Floats, usable: NDArray[np.bool_], reference: Reference, begin: int
) -> _Stretch:
    index = np.flatnonzero(usable)
    shots = np.concatenate([state.partial, values[index]])
    made = len(shots) // BLOCK
    rows = summarise(shots, reference=reference) if made else np.empty((0, WIDTH))
    last = np.arange(1, made + 1) * BLOCK - 1 - len(state.partial)
    at_index = (index[last] + begin).astype(np.int64)
    found = _measured(state, rows, reference, at_index)
    free = BLOCK * (ACROSS - len(state.waiting)) if state.kind else 0
    earlier = np.concatenate([state.recent, shots])
    reached = len(state.recent)
    recent = earlier[: reached + made * BLOCK]
    recent = recent[max(len(recent) - REACH, reached + free if state.kind else 0) :]
    after = dataclasses.replace(found.state, partial=shots[made * BLOCK :].copy(), recent=recent.copy())
    found = dataclasses.replace(found, state=after)
    if after.kind or not np.isfinite(reference.center[SWEPT]):
        return found
    early = early_rows(
        earlier,
        rows=found.together[len(found.together) - made :],
        before=found.together[-made - 1],
        first=free if state.kind else -REACH,
        judged=len(state.partial),
        reference=reference,
        offset=after.offset,
        reached=reached,
    )
    if not early:
        return found
    at = [int(index[one.at - len(state.partial)]) + begin for one in early]
    facts = np.concatenate([_early_facts(one, state, found, made, reference) for one in early])
    places = [one.done for one in early]
    return dataclasses.replace(
        found,
        at_index=np.insert(found.at_index, places, at),
        facts=np.insert(found.facts, places, facts, axis=0),
    )


def _early_facts(
    one: Early, state: EvidenceState, found: _Stretch, made: int, reference: Reference
) -> Floats:
    """[1, FACTS] of an early row: as if its shots were a block, after the blocks before it."""
    offset = found.state.offset
    row = one.row.copy()
    row[MEDIAN] -= offset * row[PRESENT]
    # One block less than a usual row looks back on: a row may take shots of the last block carried.
    before = found.together[: len(found.together) - made + one.before][1 - KEPT :]
    rows = np.concatenate([np.zeros((1, before.shape[1])), before, row[None, :]])
    levels = level_facts(rows, start=KEPT, reference=reference, offset=offset)
    if one.done:
        levels[:, _REMEMBERED] = found.facts[one.done - 1, _REMEMBERED]
    else:
        levels[:, _REMEMBERED] = memory.facts(state.memory, reference=reference)
    since = np.array([np.nan if state.since < 0 else state.since + float(one.done)])
    return scatter_facts(
        rows, start=KEPT, levels=levels, since=since, last_change=state.last, reference=reference
    )


def _measured(
    state: EvidenceState, rows: Floats, reference: Reference, at_index: NDArray[np.int64]
) -> _Stretch:
    """Facts at each new block row, levels frozen for those before a change is measured."""
    if not len(rows):  # most single shots complete no block
        return _Stretch(state, together=state.rows, at_index=at_index, facts=np.empty((0, len(FACTS))))
    earlier = len(state.waiting)
    since_change = np.concatenate([state.waiting, rows])
    if state.kind:
        since_change[:1, AFTER_CHANGE] = 1.0
    frozen = 0
    offset, kind = state.offset, state.kind
    if kind and len(since_change) >= ACROSS:
        offset = _offset(state, since_change[:ACROSS], reference)
        frozen, kind = max(0, ACROSS - 1 - earlier), 0
    elif kind:
        frozen = len(rows)
    corrected = since_change.copy()
    corrected[:, MEDIAN] -= offset[None, :] * corrected[:, PRESENT]
    together = np.concatenate([state.rows, corrected])
    start = KEPT + earlier
    levels = level_facts(together, start=start, reference=reference, offset=offset)
    remembered = state.memory
    if not kind:
        remembered, told = memory.take(remembered, corrected, reference=reference)
        levels[:, _REMEMBERED] = told[earlier:]
    levels[:frozen] = state.kept
    blocks = np.arange(1, len(rows) + 1)
    since = np.where(state.since < 0, np.nan, state.since + blocks)
    facts = scatter_facts(
        together, start=start, levels=levels, since=since.astype(np.float64), last_change=state.last,
        reference=reference,
    )  # fmt: skip
    waiting = since_change if kind else since_change[:0]
    return _Stretch(
        state=dataclasses.replace(
            state,
            rows=state.rows if kind else together[-KEPT:].copy(),
            waiting=waiting,
            offset=offset,
            before=state.before if kind else np.full(len(SIGNALS), np.nan),
            kept=levels[-1].copy() if len(levels) else state.kept,
            kind=kind,
            since=state.since if state.since < 0 else state.since + len(rows),
            judged=state.judged + len(rows),
            memory=remembered,
        ),
        together=together,
        at_index=at_index,
        facts=facts,
    )


def _offset(state: EvidenceState, first: Floats, reference: Reference) -> Floats:
    """[S] what known changes explain, the one just measured included and capped.

    Swept stroke may move by STEP_LIMIT of the record at most; pressures, times and weight freely
    within 20 %; the shot size is what it is, and the cushion follows from both.
    """
    step = level_of(first) - state.offset - state.before
    step = np.where(np.isfinite(step), step, 0.0)
    center = np.where(np.isfinite(reference.center), np.abs(reference.center), 0.0)
    limit = 0.2 * center
    limit[SWEPT] = STEP_LIMIT[state.kind] * center[SWEPT]
    capped = np.clip(step, -limit, limit)
    capped[SIZE] = 0.0
    capped[CUSHION] = -capped[SWEPT]
    return state.offset + capped


assert MID * BLOCK == 100
