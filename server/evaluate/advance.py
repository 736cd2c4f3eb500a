"""One stretch of shots through signals, run rules, the score and the roll-ups.

A pure fold: `advance(carry, shots, context)` gives the next carry and the rows to store. Any way of
cutting one history into stretches gives the same rows, bit for bit.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import BUDGETED, RULED_SIGNALS, RUN_RULES, SIGNALS, WATCHED_LEVELS
from server.evaluate import watching
from server.evaluate.bottoming import find_bottoming, finding_row
from server.evaluate.carry import Carry, Head
from server.evaluate.context import LOT_CHANGE, NO_CHANGE, SETTING_CHANGE, Context, Watch
from server.evaluate.episodes import mark_stretch
from server.evaluate.log_doubts import STICKING, look
from server.evaluate.prior import Priors, priors
from server.evaluate.set_points import set_point_changes
from server.evaluate.summaries import Summed, sum_up
from server.valve.evidence import OK, EvidenceState
from server.valve.evidence import SIGNALS as EVIDENCE_SIGNALS
from server.valve.evidence import advance as weigh
from server.valve.recalibration import corrected
from server.valve.signals import Derived, derive

Columns = Mapping[str, NDArray[Any]]

#: Scores are kept when they moved by so much, or after so many shots (both on block ends only).
KEEP_MOVED = 0.25
KEEP_EVERY = 50


@dataclasses.dataclass(frozen=True)
class Advance:
    """Rows of one or more stretches, without `press_id`."""

    carry: Carry
    findings: list[dict[str, Any]]
    scores: list[dict[str, Any]]
    rollups: list[dict[str, Any]]
    bottomed: bool
    #: Changes of set-points the shots themselves report.
    settings: list[dict[str, Any]]


def advance(carry: Carry, shots: Columns, context: Context) -> Advance:
    """Evaluate shots in order, cut where the baseline they are compared with changes."""
    numbers = context.watch_numbers(shots["at_ms"], shots["setup_id"])
    fresh_valve = _starts_after(shots["at_ms"], carry.before.at_ms, context.valve_changes_ms)
    cuts = np.flatnonzero((np.diff(numbers) != 0) | fresh_valve[1:]) + 1 if len(numbers) else np.empty(0, int)
    findings: list[dict[str, Any]] = []
    scores: list[dict[str, Any]] = []
    rollups: list[dict[str, Any]] = []
    settings: list[dict[str, Any]] = []
    bottomed = False
    for start, end in zip([0, *cuts.tolist()], [*cuts.tolist(), len(numbers)], strict=True):
        part = {name: column[start:end] for name, column in shots.items()}
        number = int(numbers[start])
        watch = context.watches[number - 1] if number else None
        carry = _entered(carry, watch, anew=bool(fresh_valve[start]))
        one = _stretch(carry, part, context, watch)
        carry = one.carry
        findings += one.findings
        scores += one.scores
        rollups += one.rollups
        settings += one.settings
        bottomed = bottomed or one.bottomed
    return Advance(carry, findings, scores, rollups, bottomed, settings)


def _starts_after(at_ms: NDArray[np.int64], before_ms: int, times: Any) -> NDArray[np.bool_]:
    """True at the first shot at or after each of `times` that lies behind the shots before."""
    starts = np.zeros(len(at_ms), dtype=bool)
    for time in times:
        if time > before_ms:
            first = int(np.searchsorted(at_ms, time))
            if first < len(at_ms):
                starts[first] = True
    return starts


def _entered(carry: Carry, watch: Watch | None, *, anew: bool) -> Carry:
    """The carry as the next stretch starts: fresh where another baseline, or another valve, begins."""
    number = watch.baseline_no if watch else 0
    if number == carry.baseline_no and not anew:
        return carry
    return carry.change(
        baseline_no=number,
        watched=0,
        head=Head(),
        episodes={key: one for key, one in carry.episodes.items() if key[1] not in RUN_RULES + BUDGETED},
        z_tail=np.empty((0, len(RULED_SIGNALS))),
        evidence=EvidenceState.fresh(),
        watching=watching.entered(carry.watching, number, anew=anew),
    )


def _stretch(carry: Carry, shots: Columns, context: Context, watch: Watch | None) -> Advance:
    lag = watch.dose_lag if watch else (context.press.dose_lag or 0)
    derived = derive(
        shots,
        dose_lag=lag,
        screw_diameter_mm=context.press.screw_diameter_mm,
        before=carry.before,
        cycle_ms=watch.cycle_ms if watch else 0.0,
    )
    signals, usable = derived.signals, ~derived.restart_transient
    changes, lot, settings = _changes(carry, shots, context, watch)
    findings, carry, bottomed = find_bottoming(carry, shots, signals["cushion_mm"], usable, context)
    doubts = look(
        carry.doubts,
        shots,
        signals,
        counter_before=carry.before.counter,
        scatters=watch.scatters if watch else np.zeros(len(STICKING), dtype=bool),
    )
    scores: list[dict[str, Any]] = []
    prior = priors(
        shots["at_ms"],
        before_ms=carry.before.at_ms,
        ordinal=carry.ordinal,
        passed=carry.marks,
        marks=context.marks,
        prevalence_log_odds=context.prior_log_odds,
        life_shots=context.valve_life_shots,
    )
    carry = carry.change(marks=prior.passed, doubts=doubts)
    if watch is not None:
        ruled, carry = _rules(carry, shots, signals, usable, context, watch)
        watched, carry = _watch(carry, shots, signals, usable, changes, context, watch)
        findings += ruled + watched
        scores, carry = _score(carry, shots, signals, usable, changes, prior, context, watch)
    summed, carry = _left(carry, shots, signals, derived, lot)
    return Advance(carry, findings, scores, summed.rows, bottomed, settings)


def _left(
    carry: Carry, shots: Columns, signals: Mapping[str, NDArray[np.float64]], derived: Derived, lot: str
) -> tuple[Summed, Carry]:
    """The roll-ups, and the carry as the stretch leaves it."""
    summed = sum_up(
        np.concatenate((carry.bucket_at, shots["at_ms"])),
        np.concatenate((carry.bucket_setup, shots["setup_id"])),
        np.concatenate((carry.bucket_values, np.column_stack([signals[name] for name in SIGNALS]))),
    )
    n = len(shots["at_ms"])
    boxes = [box for box in shots["box"].tolist() if box]
    carry = carry.change(
        ordinal=carry.ordinal + n,
        watched=carry.watched + int((~derived.restart_transient).sum()),
        before=derived.after,
        setup_id=int(shots["setup_id"][-1]),
        lot=lot,
        box=boxes[-1] if boxes else carry.box,
        bucket_at=summed.at_ms,
        bucket_setup=summed.setup_ids,
        bucket_values=summed.values,
    )
    return summed, carry


def _changes(
    carry: Carry, shots: Columns, context: Context, watch: Watch | None
) -> tuple[NDArray[np.int64], str, list[dict[str, Any]]]:
    """Known changes at each shot: another lot, other set-points, or what people recorded."""
    at_ms = shots["at_ms"]
    changes = np.full(len(at_ms), NO_CHANGE, dtype=np.int64)
    lot = carry.lot
    lots = shots["lot"].tolist()
    if any(one and one != lot for one in lots):
        for position, one in enumerate(lots):
            if one and one != lot:
                if lot:
                    changes[position] = LOT_CHANGE
                lot = one
    positions, rows = set_point_changes(carry, shots, context, watch)
    changes[positions] = SETTING_CHANGE
    for time, kind in context.changes:
        if time > carry.before.at_ms:
            position = int(np.searchsorted(at_ms, time))
            if position < len(at_ms):
                changes[position] = max(changes[position], kind)
    return changes, lot, rows


def _rules(
    carry: Carry,
    shots: Columns,
    signals: Mapping[str, NDArray[np.float64]],
    usable: NDArray[np.bool_],
    context: Context,
    watch: Watch,
) -> tuple[list[dict[str, Any]], Carry]:
    values = np.column_stack([signals[name] for name in RULED_SIGNALS])
    with np.errstate(invalid="ignore"):
        z = (values - watch.center) / watch.sigma
    z[~usable] = np.nan
    others = {key: one for key, one in carry.episodes.items() if key[1] not in RUN_RULES}
    ruled = {key: one for key, one in carry.episodes.items() if key[1] in RUN_RULES}
    marked = mark_stretch(
        z, shots["at_ms"], shots["counter"], z_tail=carry.z_tail, open_before=ruled, rules=context.rules
    )
    rows = [finding_row(key, one, watch.baseline_no) for key, one in marked.touched]
    return rows, carry.change(episodes={**others, **marked.still_open}, z_tail=marked.z_tail)


def _watch(
    carry: Carry,
    shots: Columns,
    signals: Mapping[str, NDArray[np.float64]],
    usable: NDArray[np.bool_],
    changes: NDArray[np.int64],
    context: Context,
    watch: Watch,
) -> tuple[list[dict[str, Any]], Carry]:
    """The charts within the alarm budget."""
    moves = np.where(changes != NO_CHANGE, watching.EVERY_LEVEL, 0)
    for bits in (watching.DOSE_ONLY, watching.EVERY_LEVEL):
        times = [time for time, one in context.unsettling if one == bits]
        moves |= np.where(_starts_after(shots["at_ms"], carry.before.at_ms, times), bits, 0)
    others = {key: one for key, one in carry.episodes.items() if key[1] not in BUDGETED}
    found = watching.watch(
        carry.watching,
        shots,
        np.column_stack([signals[name] for name in WATCHED_LEVELS]),
        usable=usable,
        changes=moves,
        record=watch.watched,
        plan=watch.plan,
        open_before={key: one for key, one in carry.episodes.items() if key[1] in BUDGETED},
    )
    rows = [finding_row(key, one, watch.baseline_no) for key, one in found.touched]
    return rows, carry.change(episodes={**others, **found.still_open}, watching=found.state)


def _score(
    carry: Carry,
    shots: Columns,
    signals: Mapping[str, NDArray[np.float64]],
    usable: NDArray[np.bool_],
    changes: NDArray[np.int64],
    prior: Priors,
    context: Context,
    watch: Watch,
) -> tuple[list[dict[str, Any]], Carry]:
    """Judgements at block ends: the newest becomes the head, moved or due ones are kept."""
    result = weigh(
        carry.evidence,
        np.column_stack([signals[name] for name in EVIDENCE_SIGNALS]),
        usable=usable,
        change=changes,
        reference=watch.reference,
        prior_log_odds=prior.log_odds,
        checked=prior.checked,
        model=context.model,
    )
    shift, slope = context.recalibration
    final = corrected(result.terms, result.log_odds, result.causes, shift=shift, slope=slope)
    rows: list[dict[str, Any]] = []
    head = carry.head
    judged = np.flatnonzero(result.status == OK).tolist()
    log_odds = final.log_odds.tolist()
    kept, kept_at = head.kept_log_odds, head.kept_at
    for k in judged:
        position = int(result.at_index[k])
        ordinal = carry.ordinal + position + 1
        due = abs(log_odds[k] - kept) >= KEEP_MOVED or ordinal - kept_at >= KEEP_EVERY
        if not due and k != judged[-1]:
            continue
        row: dict[str, Any] = {
            "log_odds": log_odds[k],
            "prior_log_odds": float(prior.log_odds[position]),
            "terms": _bytes(final.terms[k]),
            "causes": _bytes(final.causes[k]),
            "facts": _bytes(result.facts[k]),
        }
        at_ms = int(shots["at_ms"][position])
        if due:
            kept, kept_at = log_odds[k], ordinal
            rows.append(
                {
                    "at_ms": at_ms,
                    "counter": int(shots["counter"][position]),
                    "model_version": context.model["version"],
                    "ordinal": ordinal,
                    "baseline_no": watch.baseline_no,
                    **row,
                }
            )
        if k == judged[-1]:
            parts = prior.text_at(position)
            head = Head(score_ms=at_ms, **row, prior_parts=parts, kept_log_odds=kept, kept_at=kept_at)
    return rows, carry.change(head=head, evidence=result.state)


def _bytes(row: NDArray[np.float64]) -> bytes:
    return np.ascontiguousarray(row, dtype="<f8").tobytes()
