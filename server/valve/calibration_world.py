"""Cases the judgement is fitted on: drawn presses judged block by block, of two families.

`physical`: presses of `press_sim`, parameters drawn from two worlds. `signature`: causes as marks on
the signals (`calibration_signature`). The proof has presses of its own (`proof_world`), which are never
fitted on.
"""

import dataclasses
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import LEAK_CAUSES
from server.valve.blocks import SIGNALS
from server.valve.calibration_dice import Dice
from server.valve.calibration_life import as_kept, with_stops
from server.valve.calibration_signature import draw_signals
from server.valve.calibration_stories import MIX, WORLDS, World, draw_press, draw_story
from server.valve.evidence import EvidenceState, advance
from server.valve.press_sim import shot_times, simulate
from server.valve.signals import derive, detect_dose_lag
from server.valve.startup import record_of

Floats = NDArray[np.float64]

FAMILIES: Final = ("physical", "signature")
#: A model without weights: facts do not depend on it.
_BLANK: Final[dict[str, Any]] = {
    "terms": {}, "terms_of_two": {}, "causes": {}, "few_signals": {"cap_log_odds": 99.0},
}  # fmt: skip
#: What presses send beyond shot size and cushion, as sets drawn at random.
_MORE: Final = ("peak_pressure_bar", "transfer_pressure_bar", "fill_time_s", "recovery_time_s",
                "part_weight_g", "drift_mm")  # fmt: skip
#: Shots judged after the record: usually, and where wear takes weeks.
AFTER, AFTER_LONG = 1000, 12_000
_LONG_SHARE: Final = 0.08
#: A loss below this share of the stroke is not called a leak.
_LEAKS_FROM: Final = 0.003


@dataclasses.dataclass(frozen=True)
class Case:
    """One drawn press and what its judgements rest on.

    facts [k, F]; leaking [k] bool; clear [k] bool: whether the truth is beyond doubt there (not in
    the first shots after an onset, not below what counts as leaking); cause: what was put in;
    onset: first shot of it after the record (-1: none); shot [k]: shot of each row after the record.
    """

    facts: Floats
    leaking: NDArray[np.bool_]
    clear: NDArray[np.bool_]
    shot: NDArray[np.int64]
    cause: str
    onset: int
    severity: float
    reported: bool


@dataclasses.dataclass(frozen=True)
class _Run:
    columns: dict[str, NDArray[Any]]
    leaking: NDArray[np.bool_]
    change: NDArray[np.int64]
    severity: float
    reported: bool


@dataclasses.dataclass(frozen=True)
class _Plan:
    cause: str
    record: int
    onset: int
    n: int
    ramp: int


def draw_case(seed: int, *, family: str, cause: str | None = None) -> Case | None:
    """One press with its story, judged after its startup record; None where the record does not suffice."""
    dice = Dice(np.random.default_rng(seed))
    drawn = str(dice.rng.choice(list(MIX), p=list(MIX.values())))
    record = int(dice.between((60.0, 1000.0)))
    long = dice.either(_LONG_SHARE)
    short = 0 if dice.either(0.4) else int(dice.between((50, 900)))
    ramp = int(dice.between((1500, 20_000))) if long else short
    plan = _Plan(
        cause=cause or drawn, record=record, onset=int(dice.rng.integers(120, 450)),
        n=record + (AFTER_LONG if long else AFTER), ramp=ramp,
    )  # fmt: skip
    run = _physical(dice, plan, seed) if family == "physical" else _signature(dice, plan)
    return _judged(dice, plan, run)


def _physical(dice: Dice, plan: _Plan, seed: int) -> _Run:
    world: World = WORLDS[int(dice.rng.integers(len(WORLDS)))]
    model = draw_press(dice, world)
    story = draw_story(
        dice, world, model, cause=plan.cause, onset=plan.record + plan.onset, record=plan.record,
        shots=plan.n, ramp=plan.ramp,
    )  # fmt: skip
    at_ms = shot_times(plan.n, model=model, start_ms=int(dice.rng.integers(0, 86_400_000)), seed=seed)
    at_ms = with_stops(dice, at_ms, record=plan.record)
    shots = simulate(model, at_ms=at_ms, seed=seed + 1, story=story.effects)
    return _Run(shots.columns, shots.truth["leaking"], story.change, story.severity, story.reported)


def _signature(dice: Dice, plan: _Plan) -> _Run:
    at_ms = with_stops(dice, 30_000 * np.arange(1, plan.n + 1, dtype=np.int64), record=plan.record)
    columns, marks = draw_signals(
        dice, cause=plan.cause, record=plan.record, onset=plan.onset, ramp=plan.ramp, at_ms=at_ms
    )
    named: dict[str, NDArray[Any]] = {"at_ms": at_ms, "counter": np.arange(1, plan.n + 1), **columns}
    return _Run(named, marks.loss >= _LEAKS_FROM, marks.change, marks.severity, marks.reported)


def _judged(dice: Dice, plan: _Plan, run: _Run) -> Case | None:
    share = float(dice.rng.choice([0.0, 1.0, 0.6, 0.85]))
    more = {name for name in _MORE if dice.either(share * (0.45 if name == "drift_mm" else 1.0))}
    sent = more | {"shot_size_mm", "cushion_mm", "at_ms", "counter"}
    columns = {name: column for name, column in run.columns.items() if name in sent}
    columns, kept = as_kept(dice, columns, often=_MORE)
    first = int(np.searchsorted(kept, plan.record))
    lag = detect_dose_lag({name: column[:first] for name, column in columns.items()}) or 0
    derived = derive(columns, dose_lag=lag, screw_diameter_mm=None)
    bottom = 0.3 if dice.either(0.7) else 0.0
    reference = record_of(derived, record=first, bottom_mm=bottom)
    if reference is None:
        return None
    change = np.zeros(len(kept), dtype=np.int64)
    for made in np.flatnonzero(run.change).tolist():
        change[min(int(np.searchsorted(kept, made)), len(kept) - 1)] = run.change[made]
    values = np.stack([derived.signals[name] for name in SIGNALS], axis=1)[first:]
    judged = advance(
        EvidenceState.fresh(), values, usable=~derived.restart_transient[first:], change=change[first:],
        reference=reference, prior_log_odds=0.0, model=_BLANK,
    )  # fmt: skip
    ready = judged.status == 0
    at = kept[first + judged.at_index[ready]] - plan.record
    leaking = run.leaking[plan.record + at] & (plan.cause in LEAK_CAUSES)
    settled = (at < plan.onset) | (at >= plan.onset + (3 if plan.cause == "not_closing" else 25))
    began = (at >= plan.onset) & (plan.cause in LEAK_CAUSES)
    return Case(
        facts=judged.facts[ready], leaking=leaking, clear=settled & (leaking == began), shot=at,
        cause=plan.cause, onset=plan.onset if plan.cause != "sealing" else -1, severity=run.severity,
        reported=run.reported,
    )  # fmt: skip
