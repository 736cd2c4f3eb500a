"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how, and for the proof.
"""

from typing import Any, Final

MODEL: Final[dict[str, Any]] = {
    "version": "v1",
    "seed": 41000,
    "presses": 5000,
    "terms": {
        "swept_level": {
            "constant": -1.222, "up_2": 2.863, "up_5": 0.0, "up_10": 0.628, "up_2_100": 0.234,
            "up_5_100": 0.0, "size_1": 0.089, "size_3": 1.091, "down": -1.134
        },
        "swept_scatter": {
            "constant": -0.722, "wider": 1.146, "much_wider": 0.0, "wider_20": 0.569, "with_rise":
            0.241, "rise_alone": -0.847
        },
        "low_tail": {
            "constant": -0.522, "some": 2.457, "many": 0.078, "sided": 0.608, "sided_long": 4.56,
            "very_sided_long": 0.892
        },
        "slow_drift": {"up": 1.228, "up_steep": 0.0, "down": -0.879},
        "not_shutting": {"leap": 3.139, "leap_20": 0.663, "at_bottom": 1.072, "at_bottom_now": 1.069},
        "pressure_level": {
            "constant": 0.046, "lower": 0.144, "much_lower": -0.499, "higher": -0.243, "more_than_leak":
            -1.246, "steady_while_risen": 0.425
        },
        "pressure_scatter": {"constant": 0.063, "wider": -0.331, "much_wider": 0.047},
        "fill_time": {"constant": -0.155, "moved": -0.371, "scatter": -0.197},
        "recovery": {
            "constant": -0.071, "uneven": -2.731, "very_uneven": -1.356, "slower": -0.789, "faster":
            -0.284
        },
        "metering": {"constant": -0.222, "uneven": -0.638, "explains_scatter": -0.922},
        "weight": {
            "constant": 0.239, "heavier": -2.048, "with_stroke": -2.044, "lighter": 1.938,
            "steady_while_risen": 0.871, "uneven": 0.366
        },
        "gate_seal_drift": {"constant": -0.266, "some": 2.65, "much": 1.403},
        "known_change": {"recent": 0.0, "moved": -0.842},
    },
    "few_signals": {"share": 1.0, "cap_log_odds": 3.0},
    "causes": {
        "sealing": {
            "swept_level.up_2": -2.62, "swept_level.up_5": -3.06, "swept_level.up_2_100": -0.38,
            "swept_level.down": -2.82, "swept_scatter.wider": -1.15, "swept_scatter.much_wider": -2.04,
            "swept_scatter.wider_20": -0.51, "low_tail.some": -0.23, "low_tail.sided_long": -1.92,
            "slow_drift.up": -1.95, "slow_drift.up_steep": -0.24, "slow_drift.down": -1.99,
            "pressure_level.lower": -0.11, "pressure_level.higher": -0.43,
            "pressure_level.more_than_leak": -1.42, "pressure_scatter.wider": 0.22,
            "fill_time.constant": 0.23, "fill_time.moved": -1.07, "recovery.constant": 0.38,
            "recovery.uneven": -2.57, "recovery.slower": -4.78, "metering.uneven": -2.96,
            "metering.explains_scatter": -0.15, "weight.heavier": 0.2, "gate_seal_drift.constant": 0.11,
            "known_change.recent": -0.96, "known_change.moved": -1.14, "shape.constant": 3.95,
            "shape.both_moved": -4.08, "shape.size_moved": -2.62, "shape.swept_down": -0.17,
            "shape.lot_moved": -2.73, "shape.setting_moved": -2.08, "shape.cushion_scatter": -1.29
        },
        "erratic_closing": {
            "swept_level.constant": 0.25, "swept_level.up_2": -1.58, "swept_level.up_5": 0.23,
            "swept_level.up_10": -0.12, "swept_level.up_2_100": -0.81, "swept_level.up_5_100": -0.19,
            "swept_level.size_1": -0.9, "swept_level.size_3": -1.12, "swept_scatter.constant": 0.25,
            "swept_scatter.wider": 0.15, "swept_scatter.much_wider": 1.28, "swept_scatter.wider_20":
            -0.33, "swept_scatter.with_rise": 0.26, "swept_scatter.rise_alone": -0.14,
            "low_tail.constant": 0.25, "low_tail.some": 2.6, "low_tail.many": 2.44, "low_tail.sided":
            0.33, "low_tail.sided_long": 1.88, "low_tail.very_sided_long": 0.38, "slow_drift.up": -1.09,
            "pressure_level.lower": 0.37, "pressure_level.higher": -0.23,
            "pressure_level.more_than_leak": 0.17, "pressure_scatter.constant": 0.22,
            "pressure_scatter.wider": 0.67, "pressure_scatter.much_wider": 0.42, "fill_time.scatter":
            0.11, "metering.constant": 0.25, "weight.heavier": 0.34, "weight.lighter": -0.93,
            "weight.uneven": 0.38, "gate_seal_drift.some": -0.55, "shape.constant": 0.25,
            "shape.both_moved": 0.13, "shape.sudden": 0.26, "shape.cushion_scatter": 0.3
        },
        "steady_leak": {
            "swept_level.up_2": 2.31, "swept_level.up_5": 0.54, "swept_level.up_10": -0.57,
            "swept_level.up_2_100": 0.51, "swept_level.up_5_100": -0.18, "swept_level.size_1": 0.23,
            "swept_level.size_3": -0.83, "swept_scatter.wider": 1.0, "swept_scatter.much_wider": 0.59,
            "swept_scatter.wider_20": 0.62, "swept_scatter.with_rise": 0.2, "swept_scatter.rise_alone":
            -0.2, "low_tail.some": -0.49, "low_tail.many": -0.43, "low_tail.sided": -0.34,
            "low_tail.sided_long": -1.86, "low_tail.very_sided_long": -0.38, "slow_drift.up": 1.42,
            "slow_drift.up_steep": -0.31, "not_shutting.leap_20": 0.13, "not_shutting.at_bottom": 0.3,
            "not_shutting.at_bottom_now": 0.2, "pressure_level.lower": -0.58,
            "pressure_level.much_lower": -0.58, "pressure_level.higher": 0.27,
            "pressure_level.more_than_leak": -0.41, "pressure_level.steady_while_risen": -0.13,
            "pressure_scatter.wider": -0.69, "pressure_scatter.much_wider": -0.42, "fill_time.constant":
            0.29, "fill_time.scatter": 0.25, "weight.constant": 0.11, "weight.heavier": -0.31,
            "weight.lighter": 0.41, "weight.steady_while_risen": -0.21, "weight.uneven": 0.44,
            "gate_seal_drift.constant": -0.2, "gate_seal_drift.some": 2.18, "gate_seal_drift.much":
            0.54, "shape.constant": 0.26, "shape.both_moved": -0.1, "shape.size_moved": 0.36,
            "shape.sudden": -0.38, "shape.cushion_scatter": 1.26
        },
        "not_closing": {
            "swept_level.constant": -0.21, "swept_level.up_2": 0.27, "swept_level.up_5": 0.43,
            "swept_level.up_10": 0.69, "swept_level.up_2_100": 0.31, "swept_level.up_5_100": 0.37,
            "swept_level.size_1": 0.47, "swept_level.size_3": 0.95, "swept_scatter.constant": -0.21,
            "swept_scatter.wider": -0.45, "swept_scatter.much_wider": -0.36, "swept_scatter.wider_20":
            -0.29, "swept_scatter.with_rise": -0.46, "swept_scatter.rise_alone": 0.35,
            "low_tail.constant": -0.21, "low_tail.some": -0.11, "slow_drift.up": 0.28,
            "slow_drift.up_steep": 0.38, "not_shutting.leap": 6.97, "not_shutting.leap_20": 1.88,
            "not_shutting.at_bottom": 1.17, "not_shutting.at_bottom_now": 1.29, "pressure_level.lower":
            0.21, "pressure_level.much_lower": 0.51, "pressure_level.more_than_leak": 0.24,
            "pressure_level.steady_while_risen": 0.17, "pressure_scatter.constant": -0.23,
            "fill_time.constant": -0.33, "fill_time.scatter": -0.36, "metering.constant": -0.21,
            "weight.constant": -0.14, "weight.lighter": 0.52, "weight.steady_while_risen": 0.19,
            "weight.uneven": -0.82, "gate_seal_drift.constant": 0.19, "gate_seal_drift.some": -0.63,
            "gate_seal_drift.much": -0.45, "shape.constant": -2.21, "shape.size_moved": -0.36,
            "shape.sudden": 0.12, "shape.cushion_scatter": -1.56
        },
        "uneven_melt": {
            "swept_level.constant": 0.12, "swept_level.up_2": -0.9, "swept_level.up_5": 0.39,
            "swept_level.up_2_100": -0.86, "swept_level.up_5_100": -0.26, "swept_level.size_1": 0.19,
            "swept_level.down": -0.57, "swept_scatter.constant": 0.12, "swept_scatter.wider": 2.84,
            "swept_scatter.much_wider": 0.25, "swept_scatter.wider_20": 1.07, "swept_scatter.with_rise":
            0.47, "swept_scatter.rise_alone": -0.18, "low_tail.constant": 0.12, "low_tail.some": 1.76,
            "low_tail.many": -0.13, "low_tail.sided": 0.21, "low_tail.sided_long": 4.63,
            "slow_drift.up": 0.66, "slow_drift.up_steep": -0.14, "slow_drift.down": -0.62,
            "pressure_level.constant": -0.32, "pressure_level.much_lower": -0.17,
            "pressure_level.higher": -0.47, "pressure_level.more_than_leak": -0.53,
            "pressure_level.steady_while_risen": 0.23, "pressure_scatter.constant": -0.24,
            "pressure_scatter.wider": 0.14, "pressure_scatter.much_wider": 0.11, "fill_time.constant":
            0.34, "fill_time.moved": -0.1, "recovery.constant": 0.16, "recovery.uneven": 2.73,
            "recovery.very_uneven": 2.13, "recovery.slower": -0.46, "metering.constant": 0.12,
            "metering.uneven": -0.37, "metering.explains_scatter": -0.26, "weight.constant": 0.3,
            "weight.heavier": -0.11, "weight.lighter": -0.43, "weight.steady_while_risen": 0.34,
            "weight.uneven": 0.46, "gate_seal_drift.constant": 0.41, "known_change.recent": -0.66,
            "shape.constant": 0.12, "shape.both_moved": -0.33, "shape.size_moved": -0.41,
            "shape.swept_down": -0.17, "shape.lot_moved": -0.21, "shape.setting_moved": -0.29,
            "shape.sudden": 0.19, "shape.cushion_scatter": 0.53
        },
        "metering": {
            "swept_level.up_2": -0.66, "swept_level.up_2_100": -0.59, "swept_level.down": -0.35,
            "swept_scatter.wider": -0.58, "swept_scatter.wider_20": -0.26, "low_tail.some": -0.26,
            "low_tail.sided_long": -0.31, "slow_drift.up": -0.85, "slow_drift.up_steep": -0.1,
            "slow_drift.down": -0.17, "pressure_level.constant": 0.39, "pressure_level.lower": 0.73,
            "pressure_level.much_lower": -0.16, "pressure_level.more_than_leak": -0.23,
            "pressure_scatter.constant": 0.42, "fill_time.constant": -0.37, "fill_time.moved": -0.13,
            "recovery.uneven": 2.17, "recovery.very_uneven": 0.1, "recovery.slower": -0.31,
            "metering.uneven": 5.09, "metering.explains_scatter": 3.05, "weight.heavier": -0.4,
            "weight.lighter": -0.2, "weight.uneven": -0.13, "known_change.recent": -0.42,
            "known_change.moved": -0.13, "shape.both_moved": -0.19, "shape.size_moved": -0.24,
            "shape.setting_moved": -0.13, "shape.cushion_scatter": 2.19
        },
        "worn_screw": {
            "swept_level.constant": 0.42, "swept_level.up_2": -0.9, "swept_level.up_5": -0.15,
            "swept_level.up_2_100": -0.82, "swept_level.up_5_100": -0.12, "swept_level.size_1": -0.12,
            "swept_level.down": -0.82, "swept_scatter.constant": 0.42, "swept_scatter.wider": -0.69,
            "swept_scatter.rise_alone": -0.22, "low_tail.constant": 0.42, "low_tail.some": -0.4,
            "low_tail.sided_long": -0.53, "slow_drift.up": -0.47, "slow_drift.up_steep": -0.25,
            "slow_drift.down": -0.77, "pressure_level.constant": 0.28, "pressure_level.lower": 0.46,
            "pressure_level.higher": -0.27, "pressure_level.more_than_leak": -0.11,
            "pressure_scatter.constant": -0.61, "pressure_scatter.wider": -0.16, "fill_time.constant":
            -0.18, "fill_time.moved": -0.19, "fill_time.scatter": 0.42, "recovery.constant": -1.3,
            "recovery.slower": 7.82, "metering.constant": 0.42, "metering.uneven": 0.1,
            "metering.explains_scatter": 0.1, "weight.constant": 0.12, "weight.heavier": -0.54,
            "weight.lighter": -0.19, "gate_seal_drift.constant": 0.25, "known_change.recent": -0.21,
            "known_change.moved": -0.26, "shape.constant": 0.42, "shape.both_moved": -0.51,
            "shape.size_moved": -0.64, "shape.swept_down": -0.19, "shape.lot_moved": -0.57,
            "shape.setting_moved": -0.4, "shape.cushion_scatter": -0.44
        },
        "viscosity_shift": {
            "swept_level.constant": 0.31, "swept_level.up_2": 0.5, "swept_level.up_5": 0.18,
            "swept_level.up_10": -0.49, "swept_level.size_1": -0.43, "swept_level.size_3": -0.11,
            "swept_level.down": 0.33, "swept_scatter.constant": 0.31, "swept_scatter.wider": -0.83,
            "swept_scatter.much_wider": -0.35, "swept_scatter.wider_20": -0.49,
            "swept_scatter.rise_alone": -0.22, "low_tail.constant": 0.31, "low_tail.some": -0.32,
            "low_tail.sided_long": -0.58, "slow_drift.up": 0.33, "slow_drift.up_steep": 0.33,
            "slow_drift.down": 1.98, "pressure_level.constant": -1.12, "pressure_level.much_lower":
            0.87, "pressure_level.higher": 0.14, "pressure_level.more_than_leak": 3.21,
            "pressure_level.steady_while_risen": -0.22, "pressure_scatter.constant": -0.14,
            "pressure_scatter.wider": -0.31, "fill_time.constant": 0.32, "fill_time.moved": -0.98,
            "fill_time.scatter": 0.14, "recovery.constant": 0.13, "recovery.uneven": -0.6,
            "recovery.faster": 1.12, "metering.constant": 0.31, "metering.uneven": -0.41,
            "metering.explains_scatter": -0.4, "weight.constant": 0.18, "weight.heavier": 0.27,
            "weight.with_stroke": 1.7, "weight.lighter": 0.34, "weight.steady_while_risen": -0.16,
            "known_change.recent": 0.71, "shape.constant": 0.31, "shape.both_moved": -0.4,
            "shape.size_moved": -0.75, "shape.swept_down": -1.71, "shape.lot_moved": 6.52,
            "shape.setting_moved": -0.55, "shape.cushion_scatter": -0.62
        },
        "setting_change": {
            "swept_level.constant": 0.29, "swept_level.up_2": -0.23, "swept_level.up_5": 0.67,
            "swept_level.up_10": -0.13, "swept_level.up_2_100": 0.25, "swept_level.size_1": -0.15,
            "swept_level.down": 1.4, "swept_scatter.constant": 0.29, "swept_scatter.wider": -0.7,
            "swept_scatter.wider_20": -0.3, "swept_scatter.with_rise": -0.12,
            "swept_scatter.rise_alone": 0.1, "low_tail.constant": 0.29, "low_tail.some": -0.34,
            "low_tail.sided_long": -0.5, "slow_drift.up": 0.15, "slow_drift.up_steep": 0.59,
            "slow_drift.down": 0.99, "pressure_level.constant": 0.18, "pressure_level.much_lower": 0.9,
            "pressure_level.higher": 0.44, "pressure_level.more_than_leak": 0.44,
            "pressure_level.steady_while_risen": 0.88, "pressure_scatter.wider": 0.38,
            "fill_time.moved": 3.65, "fill_time.scatter": -0.16, "recovery.constant": 0.14,
            "recovery.uneven": -0.64, "recovery.slower": -1.05, "recovery.faster": -0.16,
            "metering.constant": 0.29, "metering.uneven": -0.37, "metering.explains_scatter": -0.4,
            "weight.constant": -0.23, "weight.heavier": 0.37, "weight.with_stroke": -0.13,
            "weight.lighter": -0.15, "weight.steady_while_risen": 0.85, "gate_seal_drift.constant":
            -0.22, "known_change.recent": 1.48, "known_change.moved": 1.97, "shape.constant": 0.29,
            "shape.both_moved": -0.56, "shape.size_moved": -0.77, "shape.swept_down": -0.82,
            "shape.setting_moved": 6.7, "shape.sudden": 0.56, "shape.cushion_scatter": -0.58
        },
        "position_reference": {
            "swept_level.constant": 0.18, "swept_level.up_2": -0.27, "swept_level.up_5": -0.14,
            "swept_level.up_2_100": -0.28, "swept_level.up_5_100": -0.12, "swept_level.size_1": -0.11,
            "swept_level.down": -0.39, "swept_scatter.constant": 0.18, "swept_scatter.wider_20": 0.11,
            "swept_scatter.rise_alone": -0.16, "low_tail.constant": 0.18, "low_tail.some": -0.33,
            "low_tail.sided_long": -0.22, "slow_drift.up": -0.52, "slow_drift.up_steep": -0.2,
            "slow_drift.down": -0.26, "pressure_level.constant": -0.15, "pressure_level.lower": -0.17,
            "pressure_level.higher": -0.36, "pressure_level.more_than_leak": -0.25,
            "pressure_scatter.constant": 0.23, "pressure_scatter.wider": 0.12, "fill_time.constant":
            -0.15, "fill_time.scatter": 0.33, "recovery.constant": 0.49, "recovery.uneven": -0.21,
            "recovery.slower": -0.33, "metering.constant": 0.18, "metering.uneven": -0.31,
            "metering.explains_scatter": -0.27, "weight.heavier": -0.23, "gate_seal_drift.constant":
            -0.17, "known_change.recent": -0.31, "known_change.moved": -0.18, "shape.constant": -0.32,
            "shape.both_moved": 7.18, "shape.size_moved": 5.66, "shape.swept_down": -0.11,
            "shape.lot_moved": -0.49, "shape.setting_moved": -0.16, "shape.cushion_scatter": -0.24
        },
        "flash": {
            "swept_level.constant": -0.23, "swept_level.up_2": 1.69, "swept_level.up_5": 0.51,
            "swept_level.up_10": 0.7, "swept_level.up_2_100": 1.46, "swept_level.up_5_100": -0.19,
            "swept_level.size_1": 0.94, "swept_level.down": -0.1, "swept_scatter.constant": -0.23,
            "swept_scatter.wider": -0.88, "swept_scatter.much_wider": -0.14, "swept_scatter.wider_20":
            -0.28, "swept_scatter.with_rise": -0.36, "swept_scatter.rise_alone": 1.25,
            "low_tail.constant": -0.23, "low_tail.some": -0.24, "low_tail.sided_long": -0.18,
            "slow_drift.up": 1.4, "slow_drift.up_steep": -0.37, "slow_drift.down": -0.14,
            "pressure_level.constant": 0.74, "pressure_level.lower": -0.16, "pressure_level.much_lower":
            -1.21, "pressure_level.higher": 0.35, "pressure_level.more_than_leak": -1.54,
            "pressure_level.steady_while_risen": -0.63, "pressure_scatter.constant": 0.31,
            "fill_time.constant": -0.38, "fill_time.scatter": -0.26, "recovery.constant": 0.22,
            "recovery.faster": -0.77, "metering.constant": -0.23, "weight.constant": -1.35,
            "weight.heavier": 2.87, "weight.with_stroke": 2.29, "weight.lighter": -0.16,
            "weight.steady_while_risen": -1.46, "weight.uneven": 0.1, "known_change.recent": 0.66,
            "shape.constant": -0.23, "shape.size_moved": -0.16, "shape.lot_moved": 0.2,
            "shape.cushion_scatter": -0.3
        },
        "blocked_cavity": {
            "swept_level.constant": -0.39, "swept_level.down": 2.42, "swept_scatter.constant": -0.39,
            "low_tail.constant": -0.39, "slow_drift.up": -0.11, "slow_drift.down": 1.1,
            "pressure_level.higher": 1.33, "pressure_level.more_than_leak": 0.62, "recovery.constant":
            -0.41, "recovery.slower": -0.23, "metering.constant": -0.39, "weight.constant": -0.55,
            "weight.lighter": 1.06, "gate_seal_drift.constant": -0.12, "known_change.recent": 0.27,
            "known_change.moved": 0.34, "shape.constant": -0.89, "shape.swept_down": 6.31,
            "shape.lot_moved": 0.56, "shape.sudden": 0.19
        },
        "outward_leak": {
            "swept_level.constant": -0.63, "swept_level.up_2": 2.2, "swept_level.up_5": 1.3,
            "swept_level.up_2_100": 1.26, "swept_level.up_5_100": 0.72, "swept_level.size_1": -0.19,
            "swept_level.size_3": 0.18, "swept_scatter.constant": -0.63, "swept_scatter.wider": 2.12,
            "swept_scatter.much_wider": 0.58, "swept_scatter.wider_20": 0.7, "swept_scatter.with_rise":
            0.16, "swept_scatter.rise_alone": -0.39, "low_tail.constant": -0.63, "low_tail.some": 0.38,
            "low_tail.many": 0.19, "low_tail.sided": 0.1, "low_tail.sided_long": -0.4, "slow_drift.up":
            1.35, "slow_drift.up_steep": 0.42, "slow_drift.down": -0.11, "pressure_level.lower": 0.42,
            "pressure_level.much_lower": -0.21, "pressure_level.more_than_leak": -0.18,
            "pressure_level.steady_while_risen": -0.21, "pressure_scatter.wider": -0.35,
            "pressure_scatter.much_wider": -0.1, "fill_time.constant": 0.23, "fill_time.scatter": -0.22,
            "recovery.constant": 0.28, "recovery.uneven": -0.71, "recovery.very_uneven": -0.16,
            "recovery.faster": -0.1, "metering.constant": -0.63, "metering.uneven": -0.25,
            "metering.explains_scatter": -0.19, "weight.constant": 1.52, "weight.heavier": -1.6,
            "weight.with_stroke": -0.54, "weight.lighter": 0.64, "weight.steady_while_risen": 1.26,
            "weight.uneven": -0.35, "gate_seal_drift.constant": -0.11, "known_change.recent": 0.14,
            "known_change.moved": -0.12, "shape.constant": -0.63, "shape.lot_moved": -0.23,
            "shape.sudden": -0.19, "shape.cushion_scatter": 0.75
        },
        "unexplained": {
            "shape.constant": 0.5, "swept_scatter.much_wider": 0.7, "swept_level.up_5": 0.5
        },
    },
}  # fmt: skip
