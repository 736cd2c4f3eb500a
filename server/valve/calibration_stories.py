"""Drawn presses and drawn stories for calibration and proof: what a press is like, what happens to it."""

import dataclasses
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.calibration_dice import Dice
from server.valve.calibration_life import WAYS, effects
from server.valve.evidence import LOT_CHANGE, SETTING_CHANGE
from server.valve.press_model import Effect, Machine, Noise, PressModel, Process, Valve
from server.valve.press_physics import usual_leak


@dataclasses.dataclass(frozen=True)
class World:
    """Ranges presses are drawn from: (low, high), log-uniform where both are above 0.

    leak_pct: growth of swept stroke by leakage. late_share, late_mm: shots whose ring shuts late.
    unshut: share of the fill that flows back. minimum_share: presses with cushion and shot size only.
    """

    metering_mm: tuple[float, float]
    closing: tuple[float, float]
    phi: tuple[float, float]
    tail_df: tuple[float, float]
    pressure_pct: tuple[float, float]
    weight_pct: tuple[float, float]
    wander_pct: tuple[float, float]
    day_night_c: tuple[float, float]
    seating: tuple[float, float]
    absorption: tuple[float, float]
    steps_mm: tuple[float, ...]
    stroke_mm: tuple[float, float]
    leak_pct: tuple[float, float]
    late_share: tuple[float, float]
    late_mm: tuple[float, float]
    unshut: tuple[float, float]
    other_size: float
    minimum_share: float


TRAINING: Final = World(
    metering_mm=(0.01, 0.15), closing=(0.008, 0.1), phi=(0.01, 0.55), tail_df=(5, 30),
    pressure_pct=(0.2, 1.2), weight_pct=(0.03, 0.25), wander_pct=(0.01, 0.15), day_night_c=(0.3, 4),
    seating=(0.005, 0.5), absorption=(0.6, 1.0), steps_mm=(0.01, 0.01, 0.02, 0.1),
    stroke_mm=(35, 120), leak_pct=(0.5, 10), late_share=(0.02, 0.4), late_mm=(0.4, 4.0),
    unshut=(0.06, 0.4), other_size=1.0, minimum_share=0.25,
)  # fmt: skip
#: Tighter and rougher presses, smaller and larger faults.
ROUGHER: Final = World(
    metering_mm=(0.006, 0.25), closing=(0.005, 0.15), phi=(0.05, 0.65), tail_df=(4, 12),
    pressure_pct=(0.1, 2.0), weight_pct=(0.02, 0.4), wander_pct=(0.02, 0.22), day_night_c=(0.2, 6),
    seating=(0.003, 0.6), absorption=(0.4, 1.0), steps_mm=(0.01, 0.05, 0.1),
    stroke_mm=(25, 200), leak_pct=(0.5, 6), late_share=(0.02, 0.3), late_mm=(0.3, 3.0),
    unshut=(0.04, 0.5), other_size=1.3, minimum_share=0.25,
)  # fmt: skip

WORLDS: Final = (TRAINING, ROUGHER)

#: How often each cause is drawn.
MIX: Final[dict[str, float]] = {
    "sealing": 0.26, "erratic_closing": 0.16, "steady_leak": 0.25, "not_closing": 0.07,
    "uneven_melt": 0.035, "metering": 0.02, "worn_screw": 0.02, "viscosity_shift": 0.045,
    "setting_change": 0.045, "position_reference": 0.02, "flash": 0.03, "blocked_cavity": 0.015,
    "outward_leak": 0.03,
}  # fmt: skip


def draw_press(dice: Dice, world: World) -> PressModel:
    """A press within the world's ranges, cushion at 4 to 12 % of its stroke."""
    between, rng = dice.between, dice.rng
    # What few causes use is drawn apart, so that presses of the others stay the ones they were.
    apart = Dice(rng.spawn(1)[0])
    diameter = between((22.0, 90.0))
    stroke = between(world.stroke_mm)
    volume = np.pi / 4000.0 * diameter**2 * stroke
    hold = between((200.0, 800.0))
    valve = Valve(
        ring_travel_mm=between((3.0, 8.0)), dragged_share=between((0.15, 0.5)),
        closing_scatter=between(world.closing), gap_mm=between((0.02, 0.06)),
        seating_scatter=between(world.seating), seating_skew=max(0.0, rng.uniform(-0.7, 1.0)),
        late_mm=between(world.late_mm),
        late_shape=between((1.0, 5.0)), wear_unsteadiness=between((0.01, 2.5)),
        unshut_relief=apart.between((0.2, 3.0)) if apart.either(0.5) else 0.0,
        unshut_recovery=apart.between((0.05, 1.0)) if apart.either(0.6) else 0.0,
        late_company=rng.uniform(0.5, 0.95) if dice.either(0.3) else 0.0,
    )  # fmt: skip
    index = rng.uniform(0.25, 0.75)
    process = Process(
        part_volume_cm3=volume, peak_bar=between((400.0, 1600.0)), hold_bar=hold,
        fill_time_s=between((0.4, 3.5)), hold_time_s=between((3.0, 12.0)), index=index,
        consistency_pa_sn=between((8000.0, 20000.0)) * 10 ** (-3.0 * (index - 0.25)),
        outward_scatter=between((0.03, 0.8)),
        outward_creep=apart.between((0.02, 0.4)) if apart.either(0.5) else 0.0,
        packing_per_mpa=rng.uniform(0.0, 0.0008),
        hold_absorption=rng.uniform(*world.absorption), packing_per_viscosity=rng.uniform(0.02, 0.1),
        recovery_s_per_mm=between((0.05, 0.2)), density_g_cm3=rng.uniform(0.72, 1.2),
        shot_size_mm=stroke * (1.0 + 1e-4 * hold) + valve.ring_travel_mm * valve.dragged_share
        + stroke * rng.uniform(0.04, 0.12) + 1.5,
    )  # fmt: skip
    machine = Machine(
        screw_diameter_mm=diameter, metering_sd_mm=between(world.metering_mm),
        position_step_mm=float(rng.choice(world.steps_mm)),
        drive="electric" if dice.either(0.4) else "hydraulic",
        cushion_definition="most_forward" if dice.either(0.3) else "end_of_hold",
        start_stop_sd_mm=between((0.003, 0.03)), dose_lag=int(dice.either(0.2)),
    )  # fmt: skip
    noise = Noise(
        phi=between(world.phi), tail_df=between(world.tail_df), pressure_sd_pct=between(world.pressure_pct),
        weight_sd_pct=between(world.weight_pct), wander_pct=between(world.wander_pct),
        day_night_c=between(world.day_night_c), recovery_sd_pct=between((0.5, 3.0)),
        fill_sd_pct=between((0.1, 1.5)),
    )  # fmt: skip
    return PressModel(machine, process, valve, noise)


def _growth(model: PressModel, leak_pct: float) -> float:
    """Growth of the gap that lets `leak_pct` of the stroke past, from flow ~ gap^(2 + 1/n)."""
    usual = max(usual_leak(model), 1e-6)
    more = 0.01 * leak_pct * model.process.part_volume_cm3
    return float(((usual + more) / usual) ** (1.0 / (2.0 + 1.0 / model.process.index)) - 1.0)


@dataclasses.dataclass(frozen=True)
class _Fault:
    """The effect a cause was drawn as.

    grows: how often it grows bit by bit. known: LOT_CHANGE or SETTING_CHANGE where people note such.
    """

    kind: str
    amount: float
    severity: float = 0.0
    grows: float = 0.0
    known: int = 0
    known_share: float = 0.0


_Draw = Callable[[Dice, World, PressModel], _Fault]


def _leak(dice: Dice, world: World, model: PressModel) -> _Fault:
    severity = dice.between(world.leak_pct)
    return _Fault("gap_growth", _growth(model, severity), severity, grows=1.0)


def _late(dice: Dice, world: World, model: PressModel) -> _Fault:
    share = dice.between(world.late_share)
    return _Fault("late_share", share, share, grows=1.0)


def _unshut(dice: Dice, world: World, model: PressModel) -> _Fault:
    share = dice.between(world.unshut)
    return _Fault("unshut", share, share)


def _uneven_melt(dice: Dice, world: World, model: PressModel) -> _Fault:
    amount = world.other_size * dice.between((0.003, 0.02)) * model.process.shot_size_mm
    return _Fault("melt_unevenness", amount)


def _viscosity(dice: Dice, world: World, model: PressModel) -> _Fault:
    amount = dice.sign() * world.other_size * dice.between((0.03, 0.18))
    held = float(np.clip(amount, -0.25, 0.3))
    return _Fault("viscosity", held, grows=0.3, known=LOT_CHANGE, known_share=0.5)


def _setting(dice: Dice, world: World, model: PressModel) -> _Fault:
    if dice.either(0.6):
        amount = dice.sign() * world.other_size * dice.between((0.05, 0.3)) * model.process.hold_bar
        return _Fault("hold_bar", amount, known=SETTING_CHANGE, known_share=0.75)
    amount = float(np.clip(dice.sign() * dice.between((0.05, 0.4)), -0.4, 0.5))
    return _Fault("speed", amount, known=SETTING_CHANGE, known_share=0.75)


def _sized(kind: str, span: tuple[float, float], *, grows: float = 0.5) -> _Draw:
    def draw(dice: Dice, world: World, model: PressModel) -> _Fault:
        return _Fault(kind, world.other_size * dice.between(span), grows=grows)

    return draw


def _reference(dice: Dice, world: World, model: PressModel) -> _Fault:
    return _Fault("reference_mm", dice.sign() * dice.between((0.2, 2.0)))


def _blocked(dice: Dice, world: World, model: PressModel) -> _Fault:
    return _Fault("blocked", float(dice.rng.choice([0.0625, 0.125, 0.25])))


_FAULTS: Final[dict[str, _Draw]] = {
    "steady_leak": _leak,
    "erratic_closing": _late,
    "not_closing": _unshut,
    "uneven_melt": _uneven_melt,
    "metering": _sized("metering_scatter", (1.0, 6.0)),
    "worn_screw": _sized("screw_wear", (0.04, 0.3), grows=1.0),
    "viscosity_shift": _viscosity,
    "setting_change": _setting,
    "position_reference": _reference,
    "flash": _sized("flash", (0.004, 0.03)),
    "blocked_cavity": _blocked,
    "outward_leak": _sized("outward", (0.005, 0.03)),
}


@dataclasses.dataclass(frozen=True)
class Story:
    """effects by shot ordinal; change [n] as `evidence.advance` takes it; severity of a leak cause.

    reported: False where people did not note a lot or setting change that is the cause. ramp: shots
    over which the cause grew (0: at once).
    """

    effects: list[Effect]
    change: NDArray[np.int64]
    severity: float
    reported: bool
    ramp: int


def draw_story(
    dice: Dice,
    world: World,
    model: PressModel,
    *,
    cause: str,
    onset: int,
    record: int,
    shots: int,
    ramp: int,
) -> Story:
    """What happens from shot `onset` on, after `record` shots of startup; lots and top-ups beside it."""
    change = np.zeros(shots, dtype=np.int64)
    told: list[Effect] = []
    if dice.either(0.4):
        at = int(dice.rng.integers(record + 50, shots - 100))
        told.append(Effect("viscosity", at, float(dice.rng.normal(0.0, 0.02))))
        change[at] = LOT_CHANGE if dice.either(0.7) else 0
    if cause in LEAK_CAUSES and dice.either(0.2):
        told.append(Effect("top_up_mm", min(onset + 300, shots - 50), dice.between((0.5, 2.0))))
    if cause == "sealing":
        return Story(told, change, 0.0, True, 0)
    fault = _FAULTS[cause](dice, world, model)
    ramp = ramp if dice.either(fault.grows) else 0
    told += effects(fault.kind, onset, fault.amount, ramp=ramp, way=str(dice.rng.choice(WAYS)))
    reported = not fault.known or dice.either(fault.known_share)
    if fault.known and reported:
        change[onset] = fault.known
    return Story(told, change, fault.severity, reported, ramp)


assert set(MIX) | {"unexplained"} == set(CAUSES)
assert set(_FAULTS) | {"sealing"} == set(MIX)
