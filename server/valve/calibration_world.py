"""Cases the judgement is calibrated and proven on: drawn presses judged block by block.

A `World` says how wide the parameters are drawn. Training and proof use different worlds: other
ranges, noise and severities, so that the proof is not on the training's presses.
"""

import dataclasses
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.contract import LEAK_CAUSES
from server.maths.baseline import robust_sigma
from server.valve.blocks import SIGNALS, Reference
from server.valve.calibration_stories import MIX, Dice, World, draw_press, draw_story
from server.valve.evidence import EvidenceState, advance
from server.valve.press_model import PressModel
from server.valve.press_sim import Simulated, shot_times, simulate
from server.valve.signals import derive

Floats = NDArray[np.float64]

#: A model without weights: facts do not depend on it.
_BLANK: Final = {"terms": {}, "causes": {}, "few_signals": {"share": 1.0, "cap_log_odds": 99.0}}
#: What presses send beyond shot size and cushion, as sets drawn at random.
_MORE: Final = ("peak_pressure_bar", "transfer_pressure_bar", "fill_time_s", "recovery_time_s",
                "part_weight_g", "drift_mm")  # fmt: skip


#: Shots of the startup record, and shots judged after it.
RECORD, AFTER = 450, 1150


@dataclasses.dataclass(frozen=True)
class Case:
    """One drawn press and what its judgements rest on.

    facts [k, F]; leaking [k] bool; clear [k] bool: whether the truth is beyond doubt there (not in
    the first blocks after an onset, not below what counts as leaking); cause: what was put in;
    onset: first shot of it after the record (-1: none); shot [k]: shot of each row after the record.
    """

    facts: Floats
    leaking: NDArray[np.bool_]
    clear: NDArray[np.bool_]
    shot: NDArray[np.int64]
    cause: str
    onset: int
    severity: float
    minimum: bool  # cushion and shot size only
    reported: bool
    ramp: int


def reference_of(values: Floats, *, step_mm: float, bottom_mm: float) -> Reference:
    """Startup record of values [n, S]: median, robust sigma and the position's step."""
    s = len(SIGNALS)
    center, sigma, step = (np.full(s, np.nan) for _ in range(3))
    for i, name in enumerate(SIGNALS):
        found = values[np.isfinite(values[:, i]), i]
        if len(found) >= 100:
            step[i] = step_mm if name.endswith("_mm") and name != "recovery_s_per_mm" else 0.0
            center[i] = float(np.median(found))
            sigma[i] = robust_sigma(found, floor=0.0)
    return Reference(center, sigma, step, bottom_mm)


def _values(shots: Simulated, model: PressModel, sent: set[str]) -> Floats:
    columns = {k: v for k, v in shots.columns.items() if k in sent | {"at_ms", "counter"}}
    derived = derive(columns, dose_lag=0, screw_diameter_mm=model.machine.screw_diameter_mm)
    return np.stack([derived.signals[name] for name in SIGNALS], axis=1)


def draw_case(seed: int, *, world: World, cause: str | None = None, minimum: bool | None = None) -> Case:
    """One press with its story, judged block by block after its startup record."""
    dice = Dice(np.random.default_rng(seed))
    drawn = str(dice.rng.choice(list(MIX), p=list(MIX.values())))
    cause = cause or drawn
    model = draw_press(dice, world)
    onset = int(dice.rng.integers(150, 500))
    story = draw_story(
        dice, world, model, cause=cause, onset=RECORD + onset, record=RECORD, shots=RECORD + AFTER
    )
    start_ms = int(dice.rng.integers(0, 86_400_000))
    at_ms = shot_times(RECORD + AFTER, model=model, start_ms=start_ms, seed=seed)
    shots = simulate(model, at_ms=at_ms, seed=seed + 1, story=story.effects)
    few = dice.either(world.minimum_share) if minimum is None else minimum
    more = () if few else tuple(name for name in _MORE if dice.either(0.3 if name == "drift_mm" else 0.75))
    few = few or not more
    values = _values(shots, model, {"shot_size_mm", "cushion_mm", *more})
    reference = reference_of(values[:RECORD], step_mm=model.machine.position_step_mm, bottom_mm=0.0)
    judged = advance(
        EvidenceState.fresh(),
        values[RECORD:],
        usable=np.ones(AFTER, dtype=bool),
        change=story.change[RECORD:],
        reference=reference,
        prior_log_odds=0.0,
        model=_BLANK,
    )
    ready = judged.status == 0
    at = judged.at_index[ready]
    leaking = shots.truth["leaking"][RECORD + at] & (cause in LEAK_CAUSES)
    settled = (at < onset) | (at >= onset + (10 if cause == "not_closing" else 40))
    began = (at >= onset) & (cause in LEAK_CAUSES)
    return Case(
        facts=judged.facts[ready],
        leaking=leaking,
        clear=settled & (leaking == began),
        shot=at,
        cause=cause,
        onset=onset if cause != "sealing" else -1,
        severity=story.severity,
        minimum=few,
        reported=story.reported,
        ramp=story.ramp,
    )
