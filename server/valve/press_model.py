"""What a simulated press is made of: every parameter with its unit, plausible range and source."""

import dataclasses
from dataclasses import dataclass
from typing import Any, Final

PRACTICE: Final = "common practice, no source"
MEMORY: Final = "memory"


def quantity(default: float, unit: str, low: float, high: float, source: str = PRACTICE) -> Any:
    """A dataclass field that carries its unit, plausible range and where the range comes from."""
    return dataclasses.field(
        default=default, metadata={"unit": unit, "low": low, "high": high, "source": source}
    )


@dataclass(frozen=True)
class Machine:
    """The press: screw, drive, how it measures and what it reports."""

    screw_diameter_mm: float = quantity(40.0, "mm", 20, 120)
    true_bottom_mm: float = quantity(0.0, "mm", -2, 3)
    metering_sd_mm: float = quantity(0.03, "mm", 0.005, 0.3)
    start_stop_sd_mm: float = quantity(0.01, "mm", 0.0, 0.1)
    rebound_mm: float = quantity(0.25, "mm", 0.0, 1.5)
    position_step_mm: float = quantity(0.01, "mm", 0.01, 0.1, "public shot logs")
    pressure_step_bar: float = quantity(1.0, "bar", 0.1, 1.0, "public shot logs")
    time_step_s: float = quantity(0.01, "s", 0.001, 0.1, "public shot logs")
    drive: str = "hydraulic"  # or electric: speed steadier, no oil
    dose_lag: int = 0  # 1: the shot size reported is the dose of the next shot
    cushion_definition: str = "end_of_hold"  # or most_forward


@dataclass(frozen=True)
class Process:
    """Mold, material and settings."""

    shot_size_mm: float = quantity(66.0, "mm", 20, 400)
    part_volume_cm3: float = quantity(70.0, "cm3", 2, 2000)
    cavities: int = quantity(4, "", 1, 128)
    density_g_cm3: float = quantity(0.76, "g/cm3", 0.7, 1.4)
    peak_bar: float = quantity(820.0, "bar", 200, 2000)
    transfer_share: float = quantity(0.93, "of peak", 0.7, 1.0)
    hold_bar: float = quantity(400.0, "bar", 50, 1200)
    fill_time_s: float = quantity(1.2, "s", 0.2, 8)
    hold_time_s: float = quantity(6.0, "s", 1, 30)
    after_seal_s: float = quantity(2.0, "s", 0, 10)
    cycle_time_s: float = quantity(30.0, "s", 8, 120)
    recovery_s_per_mm: float = quantity(0.09, "s/mm", 0.02, 0.5)
    elastic_per_mpa: float = quantity(0.001, "1/MPa", 0.0006, 0.002, MEMORY)
    hold_absorption: float = quantity(0.9, "", 0.0, 1.0)
    consistency_pa_sn: float = quantity(5000.0, "Pa s^n", 500, 30000)
    index: float = quantity(0.4, "", 0.2, 0.9)
    packing_per_viscosity: float = quantity(0.06, "", 0.0, 0.15)
    packing_per_mpa: float = quantity(0.0004, "1/MPa", 0.0, 0.0008)
    outward_scatter: float = quantity(0.3, "of what escapes", 0.02, 1.0)
    outward_creep: float = quantity(0.0, "of what escapes, after the gate has sealed", 0.0, 0.5)
    melt_temp_c: float = quantity(230.0, "degC", 170, 330)


@dataclass(frozen=True)
class Valve:
    """A sliding ring: how far it travels, how evenly it shuts, what it lets past when shut."""

    ring_travel_mm: float = quantity(5.0, "mm", 2, 10)
    dragged_share: float = quantity(0.3, "of ring travel", 0.1, 0.8)
    closing_scatter: float = quantity(0.03, "of closing travel", 0.005, 0.2)
    gap_mm: float = quantity(0.045, "mm", 0.01, 0.07)
    land_mm: float = quantity(25.0, "mm", 8, 60)
    seating_scatter: float = quantity(0.2, "of leakage", 0.05, 0.6)
    wear_unsteadiness: float = quantity(0.3, "of closing scatter, per doubling of the gap", 0.0, 3.0)
    seating_skew: float = quantity(0.5, "0 even, 1 log-normal", 0.0, 1.0)
    unshut_relief: float = quantity(0.0, "of the pressure, per share of the fill that flows back", 0.0, 3.0)
    unshut_recovery: float = quantity(0.0, "scatter of recovery, per share of the fill", 0.0, 1.0)
    late_mm: float = quantity(1.2, "mm", 0.2, 6)
    late_company: float = quantity(0.0, "how like the shot before, 0 by chance", 0.0, 0.95)
    late_shape: float = quantity(2.0, "", 1, 6)


@dataclass(frozen=True)
class Noise:
    """What real logs show beside the physics."""

    phi: float = quantity(0.2, "", -0.1, 0.65, "public shot logs")
    tail_df: float = quantity(6.0, "", 4, 50, "public shot logs: excess kurtosis about 5")
    pressure_sd_pct: float = quantity(0.5, "%", 0.1, 2)
    fill_sd_pct: float = quantity(0.4, "%", 0.05, 2)
    recovery_sd_pct: float = quantity(1.0, "%", 0.3, 5)
    weight_sd_pct: float = quantity(0.08, "%", 0.02, 0.5)
    wander_pct: float = quantity(0.05, "% of stroke", 0.0, 0.3)
    day_night_c: float = quantity(2.0, "degC", 0, 6)
    viscosity_per_c: float = quantity(-0.008, "1/degC", -0.02, -0.002)
    restart_mm: float = quantity(3.0, "mm", 0, 10, "public shot logs: first cushion near zero")
    restart_shots: float = quantity(9.0, "shots", 5, 15, "public shot logs: back over 15-40 shots")
    lost_share: float = quantity(0.01, "", 0.0, 0.03, "public shot logs")
    duplicate_share: float = quantity(0.002, "", 0.0, 0.02, "public shot logs")


@dataclass(frozen=True)
class PressModel:
    """A press with its mold, valve and noise."""

    machine: Machine = dataclasses.field(default_factory=Machine)
    process: Process = dataclasses.field(default_factory=Process)
    valve: Valve = dataclasses.field(default_factory=Valve)
    noise: Noise = dataclasses.field(default_factory=Noise)


#: What an effect of a story changes, and the unit of its size.
EFFECTS: Final[dict[str, str]] = {
    "gap_growth": "of the healthy gap: 1 doubles it",
    "late_share": "share of shots whose ring shuts late",
    "unshut": "share of the fill that flows back, 0 to 1",
    "melt_unevenness": "mm of swept stroke in bursts",
    "metering_scatter": "times more scatter of the shot size, 1 doubles it",
    "screw_wear": "of the recovery time",
    "viscosity": "of the viscosity: -0.1 is thinner by a tenth",
    "hold_bar": "bar on the hold pressure",
    "speed": "of the injection speed",
    "top_up_mm": "mm on the shot size",
    "reference_mm": "mm on every position reading",
    "flash": "of the part's volume",
    "blocked": "share of the cavities",
    "outward": "of the part's volume lost outside",
}


@dataclass(frozen=True)
class Effect:
    """Something that happens to a press: `size` of `kind` (see EFFECTS) from shot `at` up to `until`.

    ramp: shots over which it grows in a straight line (0: at once).
    """

    kind: str
    at: int
    size: float
    until: int | None = None
    ramp: int = 0
