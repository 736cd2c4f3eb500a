"""Where the fit starts and what it is drawn towards: weights and signs of the trade (common practice).

RISES and FALLS are shapes whose weight the fit may not turn round, whatever the simulated presses say.
"""

from typing import Any, Final

START: Final[dict[str, Any]] = {
    "terms": {
        "swept_level": {
            "constant": -0.9, "up_1": 0.3, "up_2": 0.6, "up_4": 0.6, "up_8": 0.4, "up_16": 0.2,
            "up_100_1": 0.2, "up_100_2": 0.4, "up_100_4": 0.4, "size_0.15": 0.2, "size_0.4": 0.4,
            "size_0.8": 0.4, "size_1.6": 0.4, "size_3.2": 0.3, "clear": 0.5, "down": -0.3, "far_down": -0.5,
        },
        "swept_scatter": {
            "constant": -0.3, "wider_0.05": 0.2, "wider_0.25": 0.5, "wider_0.6": 0.6, "wider_20": 0.3,
            "wider_long_0.05": 0.2, "wider_long_0.3": 0.3, "with_rise": 0.4, "rise_alone": -0.3,
        },
        "low_tail": {
            "constant": -0.3, "falls_0.9": 0.6, "falls_4": 0.8, "sided": 0.3, "sided_long_1.5": 0.5,
            "sided_long_4": 0.5, "far_0.5": 0.3, "far_1.5": 0.3, "far_long_0.2": 0.5,
        },
        "slow_drift": {"up_1.5": 0.3, "up_4": 0.2, "up_gradually": 2.2, "down": -0.3, "up_for_long": 0.6,
                       "far_up_for_long": 0.3, "gradually_for_long": 1.0, "long_down": -0.3},
        # Nothing else moves a press by 4 % from one shot to the next; too few sound presses do for a fit.
        "not_shutting": {"leap": 3.3, "leap_20": 0.6, "cushion_gone": 2.0, "at_bottom": 0.7,
                         "at_bottom_now": 1.5, "new_by_3": 0.7, "new_by_4": 0.8, "new_by_5": 0.5,
                         "new_out_of_scatter": 0.8},
        "pressure_level": {
            "constant": 0.0, "lower": 0.2, "much_lower": -0.2, "higher": -0.4, "more_than_leak_0.5": -0.3,
            "more_than_leak_1.5": -0.6, "thin_explains": -0.8, "steady_while_risen": 0.2,
            "steady_while_clear": 0.8, "transfer_sags": -0.4, "lost_at_bottom": 1.5, "lost_in_a_leap": 1.0,
        },
        "pressure_scatter": {"constant": 0.0, "wider": 0.0, "much_wider": 0.0},
        "fill_time": {"constant": 0.0, "moved": -0.2, "scatter": 0.0},
        "recovery": {"constant": 0.1, "uneven": -0.6, "very_uneven": -0.8, "slower": -0.3, "faster": -0.2,
                     "uneven_at_bottom": 1.5, "uneven_in_a_leap": 1.0},
        "metering": {"constant": 0.1, "uneven": -0.2, "explains_scatter": -0.4},
        "weight": {
            "constant": 0.0, "heavier": -0.4, "with_stroke": -0.6, "explains_rise": -1.2, "lighter": 0.1,
            "lighter_while_risen": 0.6, "not_in_part_1.5": 0.3, "not_in_part_4": 0.3,
            "not_in_part_while_clear": 1.0,
            "uneven": 0.1, "not_in_part_while_all_is_steady": 3.2, "much_not_in_part": 1.5,
        },
        "gate_seal_drift": {"constant": -0.4, "rises_1": 0.5, "rises_2": 0.5, "rises_4": 0.5, "rises_8": 0.5},
        "known_change": {"recent": -0.2, "moved": -0.1},
    },
    "few_signals": {"cap_log_odds": 3.0},
    "causes": {
        "sealing": {"shape.constant": 4.0, "swept_level.up_2": -1.5, "swept_level.up_4": -3.0,
                    "swept_scatter.wider_0.25": -1.5, "swept_scatter.wider_0.6": -2.0,
                    "metering.uneven": -3.0, "recovery.uneven": -2.0, "recovery.slower": -3.0,
                    "swept_level.down": -2.0, "pressure_level.more_than_leak_1.5": -2.5,
                    "shape.both_moved": -2.0},
        "erratic_closing": {"shape.constant": 0.0, "low_tail.falls_0.9": 2.0, "low_tail.falls_4": 2.0,
                            "swept_scatter.wider_0.25": 0.7, "swept_scatter.wider_0.6": 1.5,
                            "swept_level.size_0.8": -1.0, "swept_level.size_1.6": -1.0},
        "steady_leak": {"shape.constant": 0.3, "swept_level.up_2": 1.0, "swept_level.up_4": 1.2,
                        "slow_drift.up_1.5": 0.6, "swept_level.size_0.8": 0.8,
                        "gate_seal_drift.rises_1": 0.5, "gate_seal_drift.rises_2": 0.5},
        "not_closing": {"shape.constant": -2.0, "not_shutting.leap": 7.0, "not_shutting.at_bottom": 1.5,
                        "not_shutting.at_bottom_now": 1.5,
                        "not_shutting.leap_20": 2.0},
        "uneven_melt": {"recovery.uneven": 2.0, "recovery.very_uneven": 2.0, "swept_scatter.wider_0.25": 1.0},
        "metering": {"metering.uneven": 3.5, "metering.explains_scatter": 1.5},
        "worn_screw": {"recovery.slower": 3.5},
        "viscosity_shift": {"shape.lot_moved": 3.0, "swept_level.up_2": 0.7,
                            "pressure_level.more_than_leak_1.5": 2.5, "pressure_level.lower": 1.0,
                            "weight.with_stroke": 0.7},
        "setting_change": {"shape.setting_moved": 3.0, "known_change.moved": 0.5, "known_change.recent": 0.7,
                           "swept_level.up_4": 0.7, "fill_time.moved": 1.0, "shape.sudden": 0.7},
        "position_reference": {"shape.both_moved": 3.0, "shape.constant": -0.5},
        "flash": {"weight.with_stroke": 2.5, "weight.heavier": 0.8, "swept_level.up_4": 0.7},
        "blocked_cavity": {"shape.swept_down": 3.0, "swept_level.down": 1.0, "weight.lighter": 1.0,
                           "pressure_level.higher": 0.7, "shape.constant": -0.5},
        "outward_leak": {"swept_level.up_4": 1.2, "swept_scatter.wider_0.25": 0.5},
        "unexplained": {"shape.constant": 0.5, "swept_scatter.wider_0.6": 0.7, "swept_level.up_4": 0.5},
    },
}  # fmt: skip

#: Never against a leak.
RISES: Final[frozenset[str]] = frozenset({
    *(f"swept_level.up_{z}" for z in (0.5, 1, 2, 4, 8, 16)), *(f"swept_level.up_100_{z}" for z in (1, 2, 4)),
    *(f"swept_level.size_{pct}" for pct in (0.08, 0.15, 0.25, 0.4, 0.8, 1.6, 3.2)),
    *(f"swept_scatter.wider_{log}" for log in (0.05, 0.25, 0.6)), "swept_scatter.wider_20",
    "swept_scatter.wider_long_0.05", "swept_scatter.wider_long_0.3", "swept_scatter.with_rise",
    "low_tail.falls_0.9", "low_tail.falls_4", "low_tail.sided", "low_tail.sided_long_1.5",
    "low_tail.sided_long_4",
    "low_tail.far_0.5", "low_tail.far_1.5", "low_tail.far_long_0.2",
    "slow_drift.up_1.5", "slow_drift.up_4", "slow_drift.up_gradually", "slow_drift.up_for_long",
    "slow_drift.far_up_for_long", "slow_drift.gradually_for_long",
    "not_shutting.leap", "not_shutting.leapt_just_now", "not_shutting.gone_just_now",
    *(f"not_shutting.leaps_by_{pct:g}" for pct in (2.5, 4, 6)), "not_shutting.leap_20",
    *(f"not_shutting.new_by_{pct:g}" for pct in (2, 3, 4, 5)), "not_shutting.new_out_of_scatter",
    "not_shutting.cushion_gone", "not_shutting.at_bottom",
    "not_shutting.at_bottom_now", "pressure_level.steady_while_risen",
    "pressure_level.steady_while_clear", "swept_level.clear",
    "weight.lighter_while_risen", "weight.not_in_part_while_clear",
    *(f"weight.not_in_part_{z:g}" for z in (1.5, 4)), "weight.not_in_part_while_all_is_steady",
    "weight.much_not_in_part",
    *(f"gate_seal_drift.rises_{z:g}" for z in (0.3, 1, 2, 4, 8)), "gate_seal_drift.risen_both",
    *(f"low_tail.skew_{s:g}" for s in (0.2, 0.5, 1)), "low_tail.skew_wide",
    *(f"low_tail.skew_long_{s:g}" for s in (0.1, 0.3, 0.7)),
    "low_tail.loses_pressure", "swept_scatter.alone_in_a_leap",
    *(f"{name}_{where}" for name in ("pressure_level.lost", "recovery.uneven")
      for where in ("at_bottom", "in_a_leap")),
})  # fmt: skip
#: Never for a leak.
FALLS: Final[frozenset[str]] = frozenset({
    "swept_level.down", "swept_level.far_down", "swept_scatter.rise_alone", "slow_drift.down",
    "slow_drift.long_down", "pressure_level.higher",
    "pressure_level.more_than_leak_0.5", "pressure_level.more_than_leak_1.5", "pressure_level.thin_explains",
    "pressure_level.transfer_sags", "recovery.uneven", "recovery.very_uneven", "metering.uneven",
    "metering.explains_scatter", "metering.moves_along", "metering.moves_along_wide",
    "recovery.uneven_with_scatter",
    "gate_seal_drift.still_while_risen", "gate_seal_drift.still_while_clear", "weight.explains_part",
    *(f"weight.arrived_{share:g}" for share in (0.05, 0.2, 0.4)),
    "weight.heavier", "weight.with_stroke", "weight.explains_rise", "known_change.recent",
    "known_change.moved",
})  # fmt: skip
