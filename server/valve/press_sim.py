"""A simulated press: shots from the mass balance of a shot, with the truth beside them.

    A * swept = V_part + V_backflow + V_leak + V_elastic + V_outward        (see `balance`)

Every shot is worked out at once in numpy; a seed makes the same shots again.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.press_model import EFFECTS, Effect, PressModel
from server.valve.press_physics import Draw, area, balance, melt_of, profile, valve_loss

Floats = NDArray[np.float64]
#: A pause that cools the melt, ms, and one that does so thoroughly (common practice, no source).
_PAUSE_MS: Final = 300_000
_LONG_PAUSE_MS: Final = 900_000
#: An excess of loss over the healthy valve's that counts as leaking, share of the swept stroke.
LEAKING_SHARE: Final = 0.003


@dataclasses.dataclass(frozen=True)
class Simulated:
    """columns: name -> array [n] as a press reports them. truth: name -> array [n].

    truth holds swept_mm before rounding, leak_cm3, gap_mm, late (bool), leaking (bool: the valve's
    loss is above what the healthy valve loses by 0.3 % of the stroke or single shots shut late),
    at_bottom, and each effect that was given, under its name.
    """

    columns: dict[str, NDArray[Any]]
    truth: dict[str, NDArray[Any]]

    def kept(self, rows: NDArray[Any]) -> "Simulated":
        """The same with only some rows (mask or index)."""
        return Simulated(
            columns={k: v[rows] for k, v in self.columns.items()},
            truth={k: v[rows] for k, v in self.truth.items()},
        )


@dataclasses.dataclass(frozen=True)
class _Shots:
    """What the shots of one run have in common while they are worked out."""

    model: PressModel
    size: dict[str, Floats]
    melt: dict[str, Floats]
    loss: dict[str, Floats]
    made: dict[str, Floats]
    restart: Floats
    draw: Draw


def shot_times(n: int, *, model: PressModel, start_ms: int, seed: int) -> NDArray[np.int64]:
    """[n] end of each shot, one after the other without a stop, cycles scattered by half a percent."""
    rng = np.random.default_rng(seed)
    cycle = 1000.0 * model.process.cycle_time_s * (1.0 + 0.005 * rng.standard_normal(n))
    return (start_ms + np.cumsum(np.maximum(cycle, 1000.0))).astype(np.int64)


def simulate(
    model: PressModel, *, at_ms: NDArray[np.int64], seed: int, story: Sequence[Effect] = ()
) -> Simulated:
    """The shots of a press at the times given, with what happens to it.

    at_ms: int64 [n], rising; pauses of five minutes and more bring a restart transient. story:
    effects by shot ordinal. Lost and duplicate records are left to `as_logged`.

    >>> times = shot_times(50, model=PressModel(), start_ms=0, seed=1)
    >>> shots = simulate(PressModel(), at_ms=times, seed=1).columns
    >>> bool((shots["shot_size_mm"] - shots["cushion_mm"] > 50).all()), len(shots["at_ms"])
    (True, 50)
    """
    n = len(at_ms)
    draw = Draw(model, n, seed)
    size = {kind: profile(story, kind, n) for kind in EFFECTS}
    melt = melt_of(model, at_ms, size, draw)
    loss = valve_loss(model, size, melt, draw)
    shots = _Shots(
        model=model,
        size=size,
        melt=melt,
        loss=loss,
        made=balance(model, size, melt, loss, draw),
        restart=_restart(at_ms, fade_shots=model.noise.restart_shots),
        draw=draw,
    )
    swept = shots.made["swept"] + model.noise.restart_mm * shots.restart
    dose = _dose(shots)
    bottom = model.machine.true_bottom_mm
    cushion = np.maximum(dose - swept, bottom)
    short_mm = cushion - (dose - swept)
    columns = (
        _positions(shots, dose=dose, cushion=cushion) | _pressures(shots) | _times(shots, dose - cushion)
    )
    weight = shots.made["weight"] - 0.8 * short_mm * area(model) * model.process.density_g_cm3
    columns["part_weight_g"] = _round(np.maximum(weight, 0.0), 0.01)
    columns |= {"at_ms": at_ms, "counter": np.arange(1, n + 1, dtype=np.int64)}
    extra = (loss["leak"] - loss["healthy"]) / (area(model) * swept)
    truth: dict[str, NDArray[Any]] = {
        "swept_mm": dose - cushion,
        "leak_cm3": loss["leak"],
        "gap_mm": loss["gap"],
        "late": loss["late"] > 0,
        "at_bottom": short_mm > 0,
        "leaking": (extra > LEAKING_SHARE) | (size["late_share"] > 0.01) | (size["unshut"] > 0),
        **size,
    }
    return Simulated(columns=columns, truth=truth)


def _restart(at_ms: NDArray[np.int64], *, fade_shots: float) -> Floats:
    """[n] 1 at the first shot after a long pause, fading; 0.4 after a shorter one."""
    n = len(at_ms)
    index = np.arange(n)
    pause = np.diff(at_ms, prepend=at_ms[:1])

    def trace(from_ms: int) -> Floats:
        began = np.maximum.accumulate(np.where(pause >= from_ms, index, -(10**6)))
        return np.exp(-(index - began) / fade_shots)

    return np.maximum(trace(_LONG_PAUSE_MS), 0.4 * trace(_PAUSE_MS))


def _dose(shots: _Shots) -> Floats:
    """The shot size each shot really had, mm: set-point, top-ups, scatter of metering."""
    machine, size = shots.model.machine, shots.size
    scatter = machine.metering_sd_mm * (1.0 + size["metering_scatter"])
    return np.asarray(shots.model.process.shot_size_mm + size["top_up_mm"] + scatter * shots.draw.steady())


def _positions(shots: _Shots, *, dose: Floats, cushion: Floats) -> dict[str, NDArray[Any]]:
    machine, moved = shots.model.machine, shots.size["reference_mm"]
    reported = np.append(dose[1:], dose[-1:]) if machine.dose_lag else dose
    most_forward = np.maximum(
        cushion - machine.rebound_mm * (1.0 + 0.1 * shots.draw.steady()), machine.true_bottom_mm
    )
    shown = most_forward if machine.cushion_definition == "most_forward" else cushion
    process = shots.model.process
    creep = shots.loss["hold_flow"] * process.after_seal_s / area(shots.model)
    creep = creep + process.outward_creep * shots.size["outward"] * process.part_volume_cm3 / area(
        shots.model
    )
    drift = creep + 0.01 * shots.draw.steady(0.0)
    switch = 0.22 * shots.model.process.shot_size_mm + 0.02 * shots.draw.steady(0.0)
    step = machine.position_step_mm
    return {
        "shot_size_mm": _round(reported + moved, step),
        "cushion_mm": _round(shown + moved, step),
        "minimum_position_mm": _round(most_forward + moved, step),
        "drift_mm": _round(drift, step),
        "transfer_position_mm": _round(switch + moved, step),
    }


def _pressures(shots: _Shots) -> dict[str, NDArray[Any]]:
    """Peak and transfer pressure: viscosity, speed, lost flow, late rings, blocked cavities, flash."""
    process, noise, size = shots.model.process, shots.model.noise, shots.size
    fill_flow = process.part_volume_cm3 / process.fill_time_s
    lost = np.clip(
        shots.loss["fill_flow"] / fill_flow + 0.8 * size["unshut"] + 0.5 * size["outward"], 0.0, 0.9
    )
    relative = (
        shots.melt["viscosity"] ** 0.7
        * (1.0 + size["speed"]) ** process.index
        * (1.0 - lost) ** process.index
        * (1.0 + 0.35 * size["blocked"])
        * (1.0 - np.clip(shots.model.valve.unshut_relief * size["unshut"], 0.0, 0.8))
    )
    late_pct = 4.0 * shots.loss["late"] / process.shot_size_mm
    scatter = 0.01 * noise.pressure_sd_pct * shots.draw.steady() + 0.02 * shots.made["uneven"]
    peak = process.peak_bar * relative * (1.0 + scatter - 0.3 * late_pct)
    own = 1.0 + 0.002 * shots.draw.steady(0.0)
    transfer = process.transfer_share * peak * own * (1.0 - 1.5 * size["flash"])
    hold = process.hold_bar + size["hold_bar"] + 1.0 * shots.draw.steady(0.0)
    step = shots.model.machine.pressure_step_bar
    return {
        "peak_pressure_bar": _round(peak, step),
        "transfer_pressure_bar": _round(transfer, step),
        "hold_pressure_bar": _round(hold, step),
    }


def _times(shots: _Shots, stroke_mm: Floats) -> dict[str, NDArray[Any]]:
    process, noise, size, draw = shots.model.process, shots.model.noise, shots.size, shots.draw
    steadier = 0.4 if shots.model.machine.drive == "electric" else 1.0
    fill = (
        process.fill_time_s
        / (1.0 + size["speed"])
        * (1.0 + 0.01 * noise.fill_sd_pct * steadier * draw.steady())
    )
    uneven = 0.06 * shots.made["uneven"] * draw.steady(0.0) + 0.004 * size["metering_scatter"] * draw.steady(
        0.0
    )
    if shots.model.valve.unshut_recovery > 0.0 and size["unshut"].any():
        uneven = uneven + shots.model.valve.unshut_recovery * size["unshut"] * draw.steady(0.0)
    per_mm = (
        process.recovery_s_per_mm
        * (1.0 + size["screw_wear"])
        * (1.0 + 0.3 * (shots.melt["viscosity"] - 1.0))
        * (1.0 + 0.01 * noise.recovery_sd_pct * draw.steady() + uneven)
    )
    recovery = per_mm * stroke_mm * (1.0 + 0.5 * shots.restart**3)
    cycle = process.cycle_time_s * (1.0 + 0.003 * draw.steady(0.0))
    oil = 45.0 + 0.8 * shots.melt["room"] + 0.5 * shots.melt["slow"]
    step = shots.model.machine.time_step_s
    found: dict[str, NDArray[Any]] = {
        "fill_time_s": _round(fill, step),
        "hold_time_s": np.full(draw.n, process.hold_time_s),
        "recovery_time_s": _round(recovery, step),
        "cycle_time_s": _round(cycle, step),
        "melt_temp_c": _round(process.melt_temp_c + 0.15 * shots.melt["room"] + 0.3 * draw.steady(0.9), 0.1),
    }
    if shots.model.machine.drive == "hydraulic":
        found["oil_temp_c"] = _round(oil, 0.1)
    return found


def _round(values: Floats, step: float) -> Floats:
    """To the step of the display; divided by 1/step so that decimals print short."""
    per = round(1.0 / step)
    return np.asarray(np.round(values * per) / per)


def as_logged(shots: Simulated, *, model: PressModel, seed: int, wrapped: bool = False) -> Simulated:
    """As a log would hold them: some records lost, some twice, negative positions wrapped if asked.

    A wrapped log keeps hundredths in unsigned 16 bits: -0.02 mm reads 655.34 (public shot logs).

    >>> times = shot_times(1000, model=PressModel(), start_ms=0, seed=1)
    >>> log = as_logged(simulate(PressModel(), at_ms=times, seed=1), model=PressModel(), seed=2)
    >>> 975 < len(np.unique(log.columns["counter"])) < 1000
    True
    """
    rng = np.random.default_rng(seed)
    n = len(shots.columns["at_ms"])
    times = (rng.random(n) >= model.noise.lost_share).astype(np.int64)
    times += times * (rng.random(n) < model.noise.duplicate_share)
    log = shots.kept(np.repeat(np.arange(n), times))
    if wrapped:
        cushion = log.columns["cushion_mm"]
        log.columns["cushion_mm"] = np.where(cushion < 0, cushion + 655.36, cushion)
    return log
