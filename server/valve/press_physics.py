"""The physics of a simulated shot: melt, valve, mass balance. Arrays of n shots, mm, cm3, g."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from server.errors import InvalidError
from server.valve.press_model import EFFECTS, Effect, PressModel

Floats = NDArray[np.float64]
Named = dict[str, Floats]
_DAY_MS: Final = 86_400_000
#: Pressure in fill rises with the flow front; its mean is about half its peak (common practice, no source).
MEAN_FILL_SHARE: Final = 0.55


def profile(story: Sequence[Effect], kind: str, n: int) -> Floats:
    """[n] the size of all effects of a kind at each shot.

    >>> profile([Effect("flash", 2, 1.0, ramp=2)], "flash", 5).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    total = np.zeros(n)
    for effect in story:
        if effect.kind not in EFFECTS:
            raise InvalidError(f"no effect is called {effect.kind!r}", field="kind")
        if effect.kind == kind:
            end = n if effect.until is None else min(effect.until, n)
            i = np.arange(max(effect.at, 0), end)
            grown = np.ones(len(i)) if effect.ramp <= 0 else (i - effect.at + 1) / effect.ramp
            total[i] += effect.size * np.clip(grown, 0.0, 1.0)
    return total


class Draw:
    """Seeded noise of unit variance: autocorrelated, heavy-tailed, bursts."""

    def __init__(self, model: PressModel, n: int, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.n = n
        self._phi, self._df = model.noise.phi, model.noise.tail_df

    def steady(self, phi: float | None = None) -> Floats:
        phi = self._phi if phi is None else phi
        shocks = self.rng.standard_normal(self.n)
        heavy = self.rng.random(self.n) < 1.0 / self._df
        shocks[heavy] *= np.sqrt(self._df / 2.0)
        shocks /= np.sqrt(1.0 - 1.0 / self._df + 0.5)
        return np.asarray(lfilter([np.sqrt(1.0 - phi * phi)], [1.0, -phi], shocks))

    def wander(self) -> Floats:
        return self.steady(0.998)

    def bursts(self) -> Floats:
        on = self.steady(0.97) > 0.8
        return np.where(on, np.abs(self.steady(0.3)), 0.1 * np.abs(self.steady(0.0)))


def area(model: PressModel) -> float:
    """cm3 per mm of screw travel."""
    return float(np.pi / 4000.0 * model.machine.screw_diameter_mm**2)


def melt_of(
    model: PressModel, at_ms: NDArray[np.int64], size: dict[str, Floats], draw: Draw
) -> dict[str, Floats]:
    """Viscosity relative to the start, and the room's temperature against its mean."""
    room = model.noise.day_night_c * np.sin(2.0 * np.pi * (at_ms % _DAY_MS) / _DAY_MS - 2.0)
    slow = draw.wander()
    viscosity = (1.0 + size["viscosity"]) * np.exp(model.noise.viscosity_per_c * room + 0.004 * slow)
    return {"room": room, "viscosity": viscosity, "slow": slow}


def valve_loss(
    model: PressModel, size: dict[str, Floats], melt: dict[str, Floats], draw: Draw
) -> dict[str, Floats]:
    """Backflow while closing (mm of screw) and leakage through the shut valve (cm3)."""
    valve, process = model.valve, model.process
    travel = valve.ring_travel_mm * valve.dragged_share
    unsteady = valve.closing_scatter * (1.0 + valve.wear_unsteadiness * np.maximum(size["gap_growth"], 0.0))
    backflow = travel * (1.0 + unsteady * draw.steady()) * melt["viscosity"] ** -0.1
    falls_late = _late_draws(model, draw) < size["late_share"]
    late = np.where(
        falls_late, valve.late_mm * draw.rng.gamma(valve.late_shape, 1.0 / valve.late_shape, draw.n), 0.0
    )
    gap = valve.gap_mm * (1.0 + size["gap_growth"])
    seating = _seating(model, draw)
    hold = np.maximum(process.hold_bar + size["hold_bar"], 10.0)
    flows = {}
    for name, h in (("now", gap), ("healthy", np.full(draw.n, valve.gap_mm))):
        fill = flow(model, h, MEAN_FILL_SHARE * process.peak_bar, melt["viscosity"])
        held = flow(model, h, hold, melt["viscosity"])
        flows[name] = fill * process.fill_time_s + held * process.hold_time_s
        flows[name + "_hold"], flows[name + "_fill"] = held, fill
    return {
        "backflow": backflow, "late": late, "gap": gap, "leak": flows["now"] * seating,
        "healthy": flows["healthy"] * seating, "hold_flow": flows["now_hold"] * seating,
        "fill_flow": flows["now_fill"],
    }  # fmt: skip


def _late_draws(model: PressModel, draw: Draw) -> Floats:
    """[n] even between 0 and 1: by chance, or such that late shots keep company."""
    if model.valve.late_company <= 0.0:
        return draw.rng.random(draw.n)
    kept = draw.steady(model.valve.late_company)
    return np.asarray((np.argsort(np.argsort(kept)) + 0.5) / draw.n)


def _seating(model: PressModel, draw: Draw) -> Floats:
    """[n] leakage of a shot against its mean: the ring seats a little differently each time.

    Between an even scatter (seating_skew 0) and a log-normal one (1).
    """
    scatter, skew = model.valve.seating_scatter, model.valve.seating_skew
    z = draw.steady()
    even = np.maximum(1.0 + scatter * z, 0.0)
    return skew * np.exp(scatter * z - 0.5 * scatter**2) + (1.0 - skew) * even


def flow(model: PressModel, gap_mm: Floats, bar: Floats | float, viscosity: Floats | float) -> Floats:
    """cm3/s through the slit: `balance.power_law_flow` for arrays."""
    n, process, valve = model.process.index, model.process, model.valve
    stress = gap_mm * np.asarray(bar) * 1e5 / (2.0 * process.consistency_pa_sn * viscosity * valve.land_mm)
    mm3_s = (
        np.pi * model.machine.screw_diameter_mm * gap_mm**2 / 2.0 * n / (2.0 * n + 1.0) * stress ** (1.0 / n)
    )
    return np.asarray(mm3_s / 1000.0)


def balance(model: PressModel, size: Named, melt: Named, loss: Named, draw: Draw) -> Named:
    """Swept stroke (mm) and weight (g) before bottoming.

    What closing and leakage take is made up for by the screw under hold as far as hold absorbs it;
    the rest is missing in the part.
    """
    process, mm = model.process, 1.0 / area(model)
    packed = 1.0 - process.packing_per_viscosity * (melt["viscosity"] - 1.0)
    packed = packed + process.packing_per_mpa * 0.1 * size["hold_bar"]
    part = process.part_volume_cm3 * packed * (1.0 + size["flash"]) * (1.0 - size["blocked"])
    escapes = np.maximum(1.0 + process.outward_scatter * draw.steady(0.5), 0.0)
    outward = process.part_volume_cm3 * size["outward"] * escapes
    hold_mpa = 0.1 * np.maximum(process.hold_bar + size["hold_bar"], 10.0)
    stroke = process.part_volume_cm3 * mm
    elastic = process.elastic_per_mpa * hold_mpa * stroke
    uneven = size["melt_unevenness"] * draw.bursts()
    unshut = size["unshut"] * stroke
    wander = 0.01 * model.noise.wander_pct * stroke * melt["slow"]
    usual = model.valve.ring_travel_mm * model.valve.dragged_share + usual_leak(model) * mm
    taken = loss["backflow"] + loss["late"] + loss["leak"] * mm + uneven - usual
    swept = (part + outward) * mm + usual + elastic + process.hold_absorption * taken + unshut + wander
    swept = swept + model.machine.start_stop_sd_mm * draw.steady()
    missing = (1.0 - process.hold_absorption) * taken + 0.8 * unshut
    scatter = 1.0 + 0.01 * model.noise.weight_sd_pct * draw.steady()
    weight = process.density_g_cm3 * (part - missing / mm) * scatter
    return {"swept": swept, "weight": weight, "uneven": uneven}


def usual_leak(model: PressModel) -> float:
    """cm3 a shot that the healthy valve lets past."""
    h, process = np.array([model.valve.gap_mm]), model.process
    fill = flow(model, h, MEAN_FILL_SHARE * process.peak_bar, 1.0)
    held = flow(model, h, process.hold_bar, 1.0)
    return float(fill[0] * process.fill_time_s + held[0] * process.hold_time_s)
