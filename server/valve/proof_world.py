"""The proof's own presses: drawn at the level of shot signals, straight from the mass balance.

    swept = part + closing + absorbed share of the loss + elastic + outward; cushion = dose - swept

Nothing here is shared with `press_sim` or the worlds the judgement is fitted on: other noise, other
parameters, other ways for a fault to begin and grow. What happens to a press is drawn in
`proof_stories`; here are the press, its noise, and what it reports.
"""

import dataclasses
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]

#: Kinds of noise a press may have; one is drawn for each press.
NOISES: Final = ("normal", "laplace", "t3", "ar2", "mixture")
#: What may be sent beyond shot size and cushion.
SENSORS: Final = ("peak_pressure_bar", "transfer_pressure_bar", "fill_time_s", "recovery_time_s",
                  "part_weight_g", "drift_mm")  # fmt: skip


class Chance:
    """Draws from plain ranges."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def log(self, low: float, high: float) -> float:
        """Log-uniform."""
        return float(low * (high / low) ** self.rng.random())

    def flat(self, low: float, high: float) -> float:
        return float(low + (high - low) * self.rng.random())

    def yes(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def side(self) -> float:
        return 1.0 if self.yes(0.5) else -1.0

    def one_of(self, *items: Any) -> Any:
        return items[int(self.rng.integers(len(items)))]


@dataclasses.dataclass(frozen=True)
class Press:
    """A press of the proof. Lengths mm; shares of the swept stroke unless a name says otherwise."""

    stroke: float
    cushion: float
    noise: str
    own_sd: float  # scatter of the swept stroke, share
    dose_sd_mm: float
    wander: float
    day_share: float
    lag_memory: tuple[float, float]
    pressure_bar: float
    pressure_sd: float
    pressure_per_viscosity: float
    flow_index: float
    part_per_viscosity: float
    elastic_per_hold: float
    absorbed: float
    fill_s: float
    fill_sd: float
    limited: bool  # fill is limited by pressure: fill time follows viscosity
    recovery_s_mm: float
    recovery_sd: float
    weight_g: float
    weight_sd: float
    drift_mm: float
    drift_sd_mm: float
    step_mm: float
    most_forward: bool
    dose_lag: int
    cycle_s: float
    lost: float
    gaps: float  # share of single readings that are missing
    sensors: tuple[str, ...]
    weighed_every: int


def draw_press(chance: Chance, *, sensors: tuple[str, ...] | None = None) -> Press:
    """A press; sensors None: which ones it has is drawn as well, a quarter has none."""
    stroke = chance.log(20.0, 220.0)
    if sensors is None:
        share = chance.one_of(0.0, 1.0, 0.6, 0.8)
        sensors = tuple(name for name in SENSORS if chance.yes(share * (0.4 if name == "drift_mm" else 1.0)))
    return Press(
        stroke=stroke, cushion=max(2.0, stroke * chance.log(0.03, 0.15)),
        noise=str(chance.one_of(*NOISES)), own_sd=chance.log(0.0002, 0.003),
        dose_sd_mm=chance.log(0.004, 0.2), wander=chance.log(0.0001, 0.0022),
        day_share=chance.log(0.001, 0.03),
        lag_memory=(chance.flat(0.1, 0.6), chance.flat(-0.25, 0.25)),
        pressure_bar=chance.log(250.0, 1900.0), pressure_sd=chance.log(0.001, 0.02),
        pressure_per_viscosity=chance.flat(0.3, 1.1), flow_index=chance.flat(0.2, 0.8),
        part_per_viscosity=chance.flat(0.0, 0.09), elastic_per_hold=chance.log(0.00005, 0.00018),
        absorbed=chance.flat(0.4, 1.0), fill_s=chance.log(0.25, 6.0), fill_sd=chance.log(0.0008, 0.015),
        limited=chance.yes(0.12), recovery_s_mm=chance.log(0.03, 0.3),
        recovery_sd=chance.log(0.003, 0.04), weight_g=chance.log(3.0, 900.0),
        weight_sd=chance.log(0.0002, 0.004), drift_mm=chance.log(0.005, 0.15),
        drift_sd_mm=chance.log(0.004, 0.03), step_mm=float(chance.one_of(0.01, 0.01, 0.02, 0.05, 0.1)),
        most_forward=chance.yes(0.35), dose_lag=int(chance.yes(0.25)), cycle_s=chance.log(8.0, 90.0),
        lost=chance.flat(0.0, 0.03), gaps=chance.one_of(0.0, 0.0, 0.01, 0.05), sensors=sensors,
        weighed_every=int(chance.one_of(1, 1, 10)),
    )  # fmt: skip


def unit_noise(rng: np.random.Generator, n: int, *, kind: str, memory: tuple[float, float]) -> Floats:
    """[n] noise of about unit variance: normal, Laplace, t with 3 degrees of freedom, AR(2), mixture.

    >>> x = unit_noise(np.random.default_rng(1), 20000, kind="ar2", memory=(0.5, 0.2))
    >>> bool(0.9 < x.std() < 1.1)
    True
    """
    if kind == "laplace":
        return np.asarray(rng.laplace(0.0, np.sqrt(0.5), n))
    if kind == "t3":
        return np.asarray(rng.standard_t(3, n) / np.sqrt(3.0))
    if kind == "mixture":
        wide = rng.random(n) < 0.06
        return np.asarray(np.where(wide, 3.2, 1.0) * rng.standard_normal(n) / np.sqrt(0.94 + 0.06 * 3.2**2))
    if kind == "ar2":
        one, two = memory
        variance = (1.0 - two) / ((1.0 + two) * ((1.0 - two) ** 2 - one**2))
        long = lfilter([1.0], [1.0, -one, -two], rng.standard_normal(n + 100))
        return np.asarray(long[100:] / np.sqrt(variance))
    return np.asarray(rng.standard_normal(n))


def bounded_walk(rng: np.random.Generator, n: int, *, reach: float, shots: float) -> Floats:
    """[n] a random walk folded into ± reach, that takes about `shots` shots to cross it.

    >>> bool(np.abs(bounded_walk(np.random.default_rng(1), 9000, reach=0.2, shots=300)).max() <= 0.2)
    True
    """
    walk = np.cumsum(rng.standard_normal(n)) / np.sqrt(shots) + rng.uniform(-1.0, 1.0)
    return np.asarray(reach * np.sin(walk))


#: Everything a story may put upon the shots; each is float64 [n], 0: nothing.
PUSHES: Final = (
    "loss",  # past the valve, share of the swept stroke
    "fill_loss",  # part of the loss that is lost during fill
    "viscosity",  # change, log
    "hold",  # change of hold pressure, bar
    "speed",  # change of injection speed, log
    "dose_mm",  # change of the dosed position
    "dose_spread",  # further scatter of the dose, times the usual
    "melt",  # unevenness of the melt, unit of the stroke's share
    "recovery",  # change of recovery time, log
    "reference_mm",  # shift of every position reading
    "bottom_mm",  # shift of the cushion reading alone
    "flash",
    "blocked",
    "outward",
)


def quiet(n: int) -> dict[str, Floats]:
    """No push on any of n shots."""
    return {name: np.zeros(n) for name in PUSHES}


@dataclasses.dataclass(frozen=True)
class Reported:
    """columns as ingest would hand them on, shots lost left out; kept: index of each among the shots made."""

    columns: dict[str, NDArray[Any]]
    kept: NDArray[np.int64]


def run_press(press: Press, push: dict[str, Floats], *, at_ms: NDArray[np.int64], chance: Chance) -> Reported:
    """The shots of a press at the times given, under the pushes of its story."""
    rng, n = chance.rng, len(at_ms)

    def noise() -> Floats:
        return unit_noise(rng, n, kind=press.noise, memory=press.lag_memory)

    day = press.day_share * np.sin(2.0 * np.pi * at_ms / 86_400_000 + rng.uniform(0.0, 6.0))
    viscosity = push["viscosity"] + day + bounded_walk(rng, n, reach=0.006, shots=rng.uniform(150, 900))
    melt = push["melt"]
    dose = press.stroke + press.cushion + push["dose_mm"]
    dose = dose + press.dose_sd_mm * (1.0 + push["dose_spread"]) * noise() + 0.3 * melt * press.stroke
    share = (
        1.0 - press.part_per_viscosity * viscosity + press.elastic_per_hold * push["hold"]
        + push["flash"] - push["blocked"] + push["outward"] + press.absorbed * push["loss"] + melt
        + press.own_sd * noise() + _restarts(at_ms, chance)
        + bounded_walk(rng, n, reach=press.wander, shots=rng.uniform(100, 1500))
    )  # fmt: skip
    wanted = dose - press.stroke * share
    cushion = np.maximum(wanted, 0.02 * np.abs(rng.standard_normal(n)))
    missing = (cushion - wanted) / press.stroke
    columns = _positions(press, push, dose=dose, cushion=cushion, chance=chance)
    columns |= _process(press, push, viscosity=viscosity, missing=missing, noise=noise(), chance=chance)
    columns["recovery_time_s"] = _printed(columns["recovery_time_s"] * (dose - cushion), 0.01)
    columns = {name: column for name, column in columns.items() if name in _ALWAYS + press.sensors}
    return _logged(press, columns, at_ms=at_ms, chance=chance)


_ALWAYS: Final = ("shot_size_mm", "cushion_mm")


def _restarts(at_ms: NDArray[np.int64], chance: Chance) -> Floats:
    """[n] what a cold start adds to the swept stroke; pauses are those of the times."""
    n = len(at_ms)
    pause = np.diff(at_ms, prepend=at_ms[:1]) > 600_000
    since = np.arange(n) - np.maximum.accumulate(np.where(pause, np.arange(n), -(10**6)))
    return np.asarray(chance.log(0.002, 0.06) * np.exp(-since / chance.flat(2.0, 9.0)))


def _positions(
    press: Press, push: dict[str, Floats], *, dose: Floats, cushion: Floats, chance: Chance
) -> dict[str, Floats]:
    n, rng = len(dose), chance.rng
    shown = cushion
    if press.most_forward:
        rebound = 0.1 + 0.0004 * np.maximum(300.0 + push["hold"], 0.0)
        shown = np.maximum(cushion - rebound * (1.0 + 0.08 * rng.standard_normal(n)), 0.0)
    reported = np.roll(dose, -1) if press.dose_lag else dose
    creep = press.drift_mm * (1.0 + 60.0 * push["loss"] * chance.flat(0.3, 1.5))
    return {
        "shot_size_mm": _printed(reported + push["reference_mm"], press.step_mm),
        "cushion_mm": _printed(shown + push["reference_mm"] + push["bottom_mm"], press.step_mm),
        "drift_mm": _printed(creep + press.drift_sd_mm * rng.standard_normal(n), press.step_mm),
    }


def _process(
    press: Press,
    push: dict[str, Floats],
    *,
    viscosity: Floats,
    missing: Floats,
    noise: Floats,
    chance: Chance,
) -> dict[str, Floats]:
    """Pressures, times and weight; recovery still per millimetre."""
    n, rng = len(noise), chance.rng
    uneven = np.abs(push["melt"])
    lost = np.clip(push["fill_loss"] + chance.flat(0.1, 0.7) * push["outward"], 0.0, 0.95)
    log_p = press.pressure_per_viscosity * viscosity + press.flow_index * (push["speed"] + np.log1p(-lost))
    log_p = log_p + 0.35 * push["blocked"] + press.pressure_sd * noise
    log_p = log_p + chance.flat(0.5, 4.0) * chance.side() * push["melt"]
    log_p = log_p - 1.2 * np.maximum(missing, 0.0)
    peak = press.pressure_bar * np.exp(log_p)
    transfer = 0.9 * peak * np.exp(0.3 * press.pressure_sd * rng.standard_normal(n))
    transfer = transfer * (1.0 - chance.flat(0.5, 3.0) * push["flash"])
    fill = -push["speed"] + press.fill_sd * rng.standard_normal(n)
    fill = fill + (0.6 * viscosity if press.limited else 0.0)
    spread = 1.0 + 0.3 * push["dose_spread"] + chance.flat(60.0, 400.0) * uneven
    recovery = push["recovery"] + chance.flat(-0.2, 0.5) * viscosity
    recovery = recovery + press.recovery_sd * spread * rng.standard_normal(n)
    weight = 1.0 - press.part_per_viscosity * viscosity + 0.4 * press.elastic_per_hold * push["hold"]
    weight = weight + push["flash"] - push["blocked"] - (1.0 - press.absorbed) * push["loss"]
    weight = weight - np.maximum(missing, 0.0) - chance.flat(0.0, 0.3) * push["outward"]
    weight = press.weight_g * weight * (1.0 + press.weight_sd * rng.standard_normal(n))
    weighed = np.arange(n) % press.weighed_every == 0
    return {
        "peak_pressure_bar": _printed(peak, 1.0),
        "transfer_pressure_bar": _printed(transfer, 1.0),
        "fill_time_s": _printed(press.fill_s * np.exp(fill), 0.01),
        "recovery_time_s": press.recovery_s_mm * np.exp(recovery),
        "part_weight_g": np.where(weighed, _printed(np.maximum(weight, 0.0), 0.01), np.nan),
    }


def _printed(values: Floats, step: float) -> Floats:
    return np.asarray(np.round(np.round(values / step) * step, 3))


def _logged(
    press: Press, columns: dict[str, Floats], *, at_ms: NDArray[np.int64], chance: Chance
) -> Reported:
    """As the log holds them: records lost, negative cushions refused as wrapped, readings missing."""
    rng, n = chance.rng, len(at_ms)
    there = (rng.random(n) >= press.lost) & (columns["cushion_mm"] >= 0.0)
    for name in press.sensors:
        columns[name] = np.where(rng.random(n) < press.gaps, np.nan, columns[name])
    kept = np.flatnonzero(there)
    named: dict[str, NDArray[Any]] = {name: column[kept] for name, column in columns.items()}
    named |= {"at_ms": at_ms[kept], "counter": kept + 1}
    return Reported(named, kept)
