"""Evaluation of one press: read in one snapshot, compute, hand rows back. Nothing is written here."""

import dataclasses
import json
import math
from typing import Any

import sqlalchemy as sa

from server.contract import SHOT_NUMBERS
from server.derived.alarm_budget import budget_of
from server.evaluate.advance import Advance, advance
from server.evaluate.carry import CODEC, Carry, decode, encode
from server.evaluate.context import (
    Context,
    Watch,
    changes_of,
    unsettling_of,
    valve_changes_of,
    watch_of,
)
from server.evaluate.prior import marks_of
from server.evaluate.summaries import sum_up
from server.evaluate.watching import summary
from server.store import evaluation as store
from server.store import intake
from server.store.plant import count_presses, press_by_id, read_settings, setups_of
from server.store.records import checks_of, valves_of
from server.store.shots import read_columns
from server.store.thinning import floor_of
from server.valve.model import MODEL

#: Shots computed between two checkpoints, and at most in one piece of work. A piece lands in one
#: transaction, and on SQLite an acknowledgement may have to wait for it: 20,000 shots took 0.2 s.
STRETCH, PIECE = 5_000, 5_000

_COLUMNS = (*SHOT_NUMBERS, "lot", "box")


def evaluate_press(
    connection: sa.Connection, press_id: int, *, piece: int = PIECE
) -> store.Evaluation | None:
    """What the waiting intake of a press comes to; None when nothing waits.

    Goes back to the last checkpoint before the earliest waiting shot and computes forward, at most
    `piece` shots; the rest is left as intake of its own.
    """
    waiting = intake.waiting_of(connection, press_id)
    if waiting is None:
        return None
    carry, after = _start(connection, press_id, waiting.earliest_ms)
    context = _context(connection, press_id, carry)
    made = _Made()
    place = after
    for _ in range(max(1, piece // STRETCH)):
        shots = read_columns(connection, press_id, after=place, names=_COLUMNS, limit=STRETCH)
        found = len(shots["at_ms"])
        if found:
            one = advance(carry, shots, context)
            carry = one.carry
            place = (carry.before.at_ms, carry.before.counter)
            made.take(one)
            made.checkpoints.append(store.Checkpoint(*place, carry.ordinal, CODEC, encode(carry)))
        if found < STRETCH:
            return _evaluation(waiting, after, carry, context, made, rest_from_ms=None)
    assert place is not None
    left = read_columns(connection, press_id, after=place, names=(), limit=1)
    rest = int(left["at_ms"][0]) if len(left["at_ms"]) else None
    return _evaluation(waiting, after, carry, context, made, rest_from_ms=rest)


def keys_ahead(connection: sa.Connection, press_id: int) -> list[tuple[int, int]]:
    """(at_ms, counter) of the shots the next piece of work takes; none when nothing waits."""
    waiting = intake.waiting_of(connection, press_id)
    if waiting is None:
        return []
    _, after = _start(connection, press_id, waiting.earliest_ms)
    shots = read_columns(connection, press_id, after=after, names=(), limit=STRETCH)
    return list(zip(shots["at_ms"].tolist(), shots["counter"].tolist(), strict=True))


def try_shots(connection: sa.Connection, press_id: int, count: int) -> None:
    """Evaluate the first `count` of `keys_ahead` for nothing: raises what evaluation raises with them."""
    waiting = intake.waiting_of(connection, press_id)
    if waiting is None:
        return
    carry, after = _start(connection, press_id, waiting.earliest_ms)
    context = _context(connection, press_id, carry)
    if count:
        shots = read_columns(connection, press_id, after=after, names=_COLUMNS, limit=count)
        carry = advance(carry, shots, context).carry
    _state(carry, context)
    encode(carry)


def _start(
    connection: sa.Connection, press_id: int, earliest_ms: int
) -> tuple[Carry, tuple[int, int] | None]:
    """Where to go on from: the last checkpoint before a moment, never from before the press's floor.

    Raw shots before the floor are thinned out: what was computed from them stays as it is. A floor kept
    by an older codec gives a carry that knows only how many shots came before.
    """
    start = store.checkpoint_before(connection, press_id, earliest_ms, CODEC)
    floor = floor_of(connection, press_id)
    if floor is not None and (start is None or start.at_ms < floor.floor_ms):
        if floor.checkpoint.codec != CODEC:
            return Carry(ordinal=floor.checkpoint.ordinal), (floor.floor_ms, -1)
        start = floor.checkpoint
    if start is None:
        return Carry(), None
    return decode(start.state), (start.at_ms, start.counter)


@dataclasses.dataclass
class _Made:
    checkpoints: list[store.Checkpoint] = dataclasses.field(default_factory=list)
    findings: dict[tuple[Any, ...], dict[str, Any]] = dataclasses.field(default_factory=dict)
    scores: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    rollups: dict[tuple[Any, ...], dict[str, Any]] = dataclasses.field(default_factory=dict)
    bottomed: bool = False
    settings: list[dict[str, Any]] = dataclasses.field(default_factory=list)

    def take(self, one: Advance) -> None:
        # A later row of the same episode or bucket holds more of it.
        for row in one.findings:
            key = (row["from_ms"], row["from_counter"], row["signal"], row["rule"], row["baseline_no"])
            self.findings[key] = row
        for row in one.rollups:
            self.rollups[(row["bucket_ms"], row["setup_id"], row["signal"])] = row
        self.scores += one.scores
        self.settings += one.settings
        self.bottomed = self.bottomed or one.bottomed


def _context(connection: sa.Connection, press_id: int, carry: Carry) -> Context:
    press = press_by_id(connection, press_id)
    settings = read_settings(connection)
    events = store.events_since(connection, press_id, carry.before.at_ms + 1)
    prevalence, own = float(settings["prevalence"]), settings["recalibration"]
    rate = budget_of(settings, presses=count_presses(connection)).per_press
    return Context(
        press=press,
        setups=setups_of(connection, press_id),
        watches=[
            watch_of(row, press, false_alarms_a_week=rate)
            for row in store.baselines_in_force(connection, press_id)
        ],
        changes=changes_of(events),
        valve_changes_ms=valve_changes_of(events),
        unsettling=unsettling_of(events),
        prior_log_odds=math.log(prevalence / (1.0 - prevalence)),
        marks=marks_of(valves_of(connection, press_id), checks_of(connection, press_id)),
        valve_life_shots=float(settings["valve_life_shots"]),
        recalibration=(float(own["shift"]), float(own["slope"])) if own else (0.0, 1.0),
        rules=[(rule, None) for rule in settings["rules"]],
        model=MODEL,
    )


def _evaluation(
    waiting: intake.Waiting,
    after: tuple[int, int] | None,
    carry: Carry,
    context: Context,
    made: _Made,
    *,
    rest_from_ms: int | None,
) -> store.Evaluation:
    done = sum(1 for _ in made.checkpoints) * STRETCH
    rest_shots = max(1, waiting.shots - done) if rest_from_ms is not None else 0
    return store.Evaluation(
        press_id=waiting.press_id,
        batch_ids=waiting.batch_ids,
        after=after,
        checkpoints=made.checkpoints,
        findings=list(made.findings.values()),
        scores=made.scores,
        # Without a shot behind the checkpoint its open ten minutes are still replaced, by themselves.
        rollups=list(made.rollups.values())
        or sum_up(carry.bucket_at, carry.bucket_setup, carry.bucket_values).rows,
        state=_state(carry, context),
        rest_from_ms=rest_from_ms,
        rest_shots=rest_shots,
        rest_of_rebuild=waiting.is_rebuild,
        bottomed=made.bottomed,
        settings=made.settings,
    )


def _state(carry: Carry, context: Context) -> dict[str, Any]:
    setup = context.setups.get(carry.setup_id)
    watch = next((one for one in context.watches if one.baseline_no == carry.baseline_no), None)
    head = carry.head if carry.head.score_ms >= 0 else None
    return {
        "evaluated_ms": carry.before.at_ms if carry.ordinal else None,
        "mold": setup.mold if setup else None,
        "material": setup.material if setup else None,
        "setup": setup.setup if setup else None,
        "lot": carry.lot or None,
        "box": carry.box or None,
        "dose_lag": watch.dose_lag if watch else (context.press.dose_lag or 0),
        "cycle_ms": watch.cycle_ms if watch else None,
        "baseline_no": watch.baseline_no if watch else None,
        "leak_status": _status(carry, context),
        "score_ms": head.score_ms if head else None,
        "log_odds": head.log_odds if head else None,
        "prior_log_odds": head.prior_log_odds if head else context.prior_log_odds,
        "prior_parts": head.prior_parts if head else None,
        "terms": head.terms if head else None,
        "causes": head.causes if head else None,
        "facts": head.facts if head else None,
        "missing": "\n".join(watch.missing) if watch else "baseline",
        "bottoming_since_ms": carry.bottoming_since_ms if carry.bottoming_since_ms >= 0 else None,
        "watching": _watching(carry, watch),
        "trouble": None,
    }


def _watching(carry: Carry, watch: Watch | None) -> str:
    document = summary(
        carry.watching,
        plan=watch.plan if watch else None,
        restart_left=carry.before.transient_left,
        now_ms=carry.before.at_ms,
    )
    return json.dumps({**document, "doubts": carry.doubts.document()}, sort_keys=True)


def _status(carry: Carry, context: Context) -> str:
    if context.press.valve_style == "none":
        return "not_applicable"
    if not carry.baseline_no:
        return "no_baseline"
    watch = next((one for one in context.watches if one.baseline_no == carry.baseline_no), None)
    if watch is not None and "swept_mm" in watch.missing:
        return "missing_signals"
    if carry.head.score_ms < 0:
        return "too_few_shots"
    return "ok"
