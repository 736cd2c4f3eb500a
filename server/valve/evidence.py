"""Evidence on a press's valve, shot after shot: a carried state, and one judgement a block of five shots.

`advance` may be fed any batching of one history and gives the same bits. What is carried: the shots
of an unfinished block, the rows of the last 199 blocks, what known changes have moved, and the
levels kept while a change is being measured.
"""

import dataclasses
import itertools
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import (
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
from server.valve.features import FACTS, LEVELS, LONG, MID, level_facts, scatter_facts
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
#: Blocks of a state that are kept for the windows to come.
_KEPT: Final = LONG - 1
OK: Final = 0
TOO_FEW: Final = 1


@dataclasses.dataclass(frozen=True)
class EvidenceState:
    """What must be known of the shots before.

    partial [p, S]: usable shots of the unfinished block, p < 5. rows [199, WIDTH]: block rows with
    known changes taken out of their medians (zeros: before the first). waiting [w, WIDTH], w < 4:
    raw rows since a known change that is still being measured. offset [S]: what known changes have
    moved so far. before [S]: levels before the change being measured (NaN: none known).
    kept [LEVELS]: level facts of the last judgement. kind: change being measured (0: none).
    last: kind of the last change. since: blocks since then (-1: none yet). judged: blocks so far.
    """

    partial: Floats
    rows: Floats
    waiting: Floats
    offset: Floats
    before: Floats
    kept: Floats
    kind: int
    last: int
    since: int
    judged: int

    @staticmethod
    def fresh() -> "EvidenceState":
        """The state before the first shot after a record was approved."""
        s = len(SIGNALS)
        return EvidenceState(
            partial=np.empty((0, s)),
            rows=np.zeros((_KEPT, WIDTH)),
            waiting=np.empty((0, WIDTH)),
            offset=np.zeros(s),
            before=np.full(s, np.nan),
            kept=np.full(len(LEVELS), np.nan),
            kind=0,
            last=0,
            since=-1,
            judged=0,
        )

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        """The state as named arrays, to be stored; rows before the first block are left out."""
        counts = np.array([self.kind, self.last, self.since, self.judged], dtype=np.int64)
        names = ("partial", "waiting", "offset", "before", "kept")
        known = self.rows[_KEPT - min(self.judged, _KEPT) :]
        return {"counts": counts, "rows": known, **{name: getattr(self, name) for name in names}}

    @staticmethod
    def from_arrays(arrays: Mapping[str, NDArray[Any]]) -> "EvidenceState":
        """The state of `to_arrays`, bit for bit.

        >>> again = EvidenceState.from_arrays(EvidenceState.fresh().to_arrays())
        >>> again.judged, again.rows.shape == EvidenceState.fresh().rows.shape
        (0, True)
        """
        kind, last, since, judged = (int(x) for x in arrays["counts"])
        known = np.asarray(arrays["rows"], dtype=np.float64).reshape(-1, WIDTH)
        rows = np.zeros((_KEPT, WIDTH))
        rows[_KEPT - len(known) :] = known
        return EvidenceState(
            partial=np.asarray(arrays["partial"], dtype=np.float64).reshape(-1, len(SIGNALS)),
            rows=rows,
            waiting=np.asarray(arrays["waiting"], dtype=np.float64).reshape(-1, WIDTH),
            offset=np.asarray(arrays["offset"], dtype=np.float64),
            before=np.asarray(arrays["before"], dtype=np.float64),
            kept=np.asarray(arrays["kept"], dtype=np.float64),
            kind=kind,
            last=last,
            since=since,
            judged=judged,
        )


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
    """Facts of the blocks of one stretch without a change inside."""

    state: EvidenceState
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
    model: the fitted coefficients (`model_v1.MODEL`). Feeding a history in any batches gives the
    same bits as feeding it whole.

    >>> from server.valve.model_v1 import MODEL
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
            state = _changed(state, int(change[begin]))
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


def _changed(state: EvidenceState, kind: int) -> EvidenceState:
    """The state as a known change begins: levels before it are noted, the block begun is dropped."""
    rows, before = state.rows, state.before
    if state.kind:
        unsure = state.waiting.copy()
        unsure[:, PRESENT] = 0.0
        rows = np.concatenate([rows, unsure])[-_KEPT:]
    else:
        before = level_of(rows[-ACROSS:])
    return dataclasses.replace(
        state,
        partial=state.partial[:0],
        rows=rows,
        waiting=state.waiting[:0],
        before=before,
        kind=max(kind, state.kind),
        last=kind,
        since=0,
    )


def _stretch(
    state: EvidenceState, values: Floats, usable: NDArray[np.bool_], reference: Reference, begin: int
) -> _Stretch:
    index = np.flatnonzero(usable)
    shots = np.concatenate([state.partial, values[index]])
    made = len(shots) // BLOCK
    rows = summarise(shots, reference=reference)
    last = np.arange(1, made + 1) * BLOCK - 1 - len(state.partial)
    at_index = (index[last] + begin).astype(np.int64)
    state = dataclasses.replace(state, partial=shots[made * BLOCK :].copy())
    return _measured(state, rows, reference, at_index)


def _measured(
    state: EvidenceState, rows: Floats, reference: Reference, at_index: NDArray[np.int64]
) -> _Stretch:
    """Facts at each new block row, levels frozen for those before a change is measured."""
    earlier = len(state.waiting)
    since_change = np.concatenate([state.waiting, rows])
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
    start = _KEPT + earlier
    levels = level_facts(together, start=start, reference=reference, offset=offset)
    levels[:frozen] = state.kept
    blocks = np.arange(1, len(rows) + 1)
    since = np.where(state.since < 0, np.nan, state.since + blocks)
    facts = scatter_facts(
        together, start=start, levels=levels, since=since.astype(np.float64), last_change=state.last
    )
    waiting = since_change if kind else since_change[:0]
    return _Stretch(
        state=dataclasses.replace(
            state,
            rows=state.rows if kind else together[-_KEPT:].copy(),
            waiting=waiting,
            offset=offset,
            before=state.before if kind else np.full(len(SIGNALS), np.nan),
            kept=levels[-1].copy() if len(levels) else state.kept,
            kind=kind,
            since=state.since if state.since < 0 else state.since + len(rows),
            judged=state.judged + len(rows),
        ),
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
