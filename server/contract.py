"""The fixed names of the outside contract as static Python.

Ids here are the ones in `shared/*.json`; `tests/contract` holds the two equal. Nothing in this
module computes anything.
"""

from typing import Final, Literal

# --- shots ---------------------------------------------------------------------------------

#: Nullable double-precision columns of a shot, in the order they stand in the store.
SHOT_NUMBERS: Final[tuple[str, ...]] = (
    "shot_size_mm",
    "shot_size_cm3",
    "cushion_mm",
    "cushion_cm3",
    "decompression_mm",
    "start_position_mm",
    "transfer_position_mm",
    "minimum_position_mm",
    "drift_mm",
    "transfer_pressure_bar",
    "peak_pressure_bar",
    "hold_pressure_bar",
    "back_pressure_bar",
    "fill_time_s",
    "hold_time_s",
    "recovery_time_s",
    "cycle_time_s",
    "screw_speed_rpm",
    "injection_speed_mm_s",
    "screw_torque_pct",
    "melt_temp_c",
    "oil_temp_c",
    "part_weight_g",
)

#: Text columns of a shot.
SHOT_TEXTS: Final[tuple[str, ...]] = ("lot", "quality", "box", "serial")

#: Structured columns, kept as canonical JSON text.
SHOT_DOCUMENTS: Final[tuple[str, ...]] = ("zone_temps_c", "curve", "extra")

#: Everything of a shot that is compared to tell `duplicate` from `conflict`, after the key.
SHOT_COLUMNS: Final[tuple[str, ...]] = SHOT_NUMBERS + SHOT_TEXTS + SHOT_DOCUMENTS

#: What names the context of a shot. May stand once for a batch or in each shot.
LABELS: Final[tuple[str, ...]] = ("press", "mold", "material", "lot", "setup", "setpoints")

Quality = Literal["good", "short", "flash", "other"]
QUALITIES: Final[tuple[str, ...]] = ("good", "short", "flash", "other")

CURVE_POINTS_MAX: Final = 200
CODE_LENGTH_MAX: Final = 40

#: Which column belongs to which quantity; the wire may bring another unit.
QUANTITY: Final[dict[str, str]] = {
    **{n: "length" for n in SHOT_NUMBERS if n.endswith("_mm")},
    **{n: "volume" for n in SHOT_NUMBERS if n.endswith("_cm3")},
    **{n: "pressure" for n in SHOT_NUMBERS if n.endswith("_bar")},
    **{n: "temperature" for n in SHOT_NUMBERS if n.endswith("_c")},
    "zone_temps_c": "temperature",
    "part_weight_g": "mass",
    "injection_speed_mm_s": "speed",
}

#: Units the wire may name, as (factor, offset) to the stored unit: stored = factor * x + offset.
UNITS: Final[dict[str, dict[str, tuple[float, float]]]] = {
    "length": {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "in": (25.4, 0.0), "um": (0.001, 0.0)},
    "volume": {"cm3": (1.0, 0.0), "mm3": (0.001, 0.0), "in3": (16.387064, 0.0), "l": (1000.0, 0.0)},
    "pressure": {
        "bar": (1.0, 0.0),
        "MPa": (10.0, 0.0),
        "kPa": (0.01, 0.0),
        "psi": (0.0689475729316836, 0.0),
    },
    "temperature": {
        "degC": (1.0, 0.0),
        "degF": (5.0 / 9.0, -160.0 / 9.0),
        "K": (1.0, -273.15),
    },
    "mass": {"g": (1.0, 0.0), "kg": (1000.0, 0.0), "oz": (28.349523125, 0.0), "lb": (453.59237, 0.0)},
}

# --- what is derived and charted -----------------------------------------------------------

#: Signals that are charted, rolled up and judged. `stroke` units are mm, or cm3 where a press
#: reports volumes and its screw diameter is unknown. `swept_mm` = shot size - cushion at the
#: press's dose lag; `recovery_s_per_mm` = recovery time / metered travel.
SIGNALS: Final[tuple[str, ...]] = (
    "swept_mm",
    "cushion_mm",
    "shot_size_mm",
    "peak_pressure_bar",
    "transfer_pressure_bar",
    "fill_time_s",
    "recovery_s_per_mm",
    "part_weight_g",
    "drift_mm",
    "hold_pressure_bar",
    "cycle_time_s",
    "melt_temp_c",
)

#: Signals run rules are applied to.
RULED_SIGNALS: Final[tuple[str, ...]] = (
    "swept_mm",
    "cushion_mm",
    "shot_size_mm",
    "peak_pressure_bar",
    "fill_time_s",
    "recovery_s_per_mm",
)

RUN_RULES: Final[tuple[str, ...]] = (
    "beyond_limit",
    "two_of_three_beyond_2_sigma",
    "four_of_five_beyond_1_sigma",
    "one_side",
    "steady_trend",
    "alternating",
    "within_1_sigma",
    "outside_1_sigma",
)

#: Ids of findings that are no run rules.
BOTTOMING: Final = "bottoming"
LEVEL_MOVED: Final = "level_moved"
SCATTER_GROWN: Final = "scatter_grown"
#: Findings of the charts that keep the alarm budget.
BUDGETED: Final[tuple[str, ...]] = (LEVEL_MOVED, SCATTER_GROWN)

#: Signals whose level, and whose scatter, is watched within the alarm budget. The cushion follows from
#: shot size and swept stroke and would be counted twice.
WATCHED_LEVELS: Final[tuple[str, ...]] = (
    "swept_mm",
    "shot_size_mm",
    "peak_pressure_bar",
    "transfer_pressure_bar",
    "fill_time_s",
    "recovery_s_per_mm",
)
WATCHED_SCATTERS: Final[tuple[str, ...]] = ("swept_mm", "shot_size_mm", "peak_pressure_bar")

CAUSES: Final[tuple[str, ...]] = (
    "sealing",
    "erratic_closing",
    "steady_leak",
    "not_closing",
    "uneven_melt",
    "metering",
    "worn_screw",
    "viscosity_shift",
    "setting_change",
    "position_reference",
    "flash",
    "blocked_cavity",
    "outward_leak",
    "unexplained",
)
#: The causes whose probabilities add up to the leak-likelihood.
LEAK_CAUSES: Final[tuple[str, ...]] = ("erratic_closing", "steady_leak", "not_closing")

LeakStatus = Literal["ok", "no_baseline", "too_few_shots", "missing_signals", "stale", "not_applicable"]
LEAK_STATUSES: Final[tuple[str, ...]] = (
    "ok",
    "no_baseline",
    "too_few_shots",
    "missing_signals",
    "stale",
    "not_applicable",
)

# --- configuration, events, alarms ---------------------------------------------------------

VALVE_STYLES: Final[tuple[str, ...]] = ("sliding_ring", "ball_check", "other", "none")
PRESSURE_BASES: Final[tuple[str, ...]] = ("specific", "hydraulic")
CUSHION_DEFINITIONS: Final[tuple[str, ...]] = ("end_of_hold", "most_forward")

EVENT_KINDS: Final[tuple[str, ...]] = (
    "setting",
    "lot",
    "mold_start",
    "maintenance",
    "valve_change",
    "top_up",
    "note",
)

ACKNOWLEDGE_REASONS: Final[tuple[str, ...]] = ("seen", "going", "planned", "not_real")
URGENCIES: Final[tuple[str, ...]] = ("now", "this_shift", "this_week")

#: Alarm states after IEC 62682.
ALARM_STATES: Final[tuple[str, ...]] = (
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned_unacknowledged",
    "shelved",
    "suppressed",
    "out_of_service",
)
ALARM_KINDS: Final[tuple[str, ...]] = (
    "leak",
    "bottoming",
    "shift",
    "scatter",
    "silent",
    "data_quality",
    "capability",
)
#: What an alarm says of the parts being made.
PARTS: Final[tuple[str, ...]] = ("stop", "sort", "go_on")
#: Doubts about a log.
DOUBTS: Final[tuple[str, ...]] = ("wrapped", "impossible", "lost", "other_press", "stuck")

ROLES: Final[tuple[str, ...]] = (
    "plant_engineer",
    "quality_lead",
    "line_lead",
    "viewer",
    "administrator",
)

SCOPES: Final[tuple[str, ...]] = ("ingest", "read", "act")
