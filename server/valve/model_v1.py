"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how, and for the proof.
"""

from typing import Any, Final

MODEL: Final[dict[str, Any]] = {
    "version": "v1",
    "seed": 41000,
    "presses": 4000,
    "terms": {
        "swept_level": {
            "constant": -1.201, "up_2": 2.572, "up_5": 0.0, "up_10": 0.652, "up_2_100": 0.216,
            "up_5_100": 0.0, "size_1": 0.063, "size_3": 1.054, "down": -1.078
        },
        "swept_scatter": {
            "constant": -0.701, "wider": 1.372, "much_wider": 0.0, "wider_20": 0.594, "with_rise":
            0.109, "rise_alone": -0.764
        },
        "low_tail": {
            "constant": -0.501, "some": 2.299, "many": 0.314, "sided": 0.632, "sided_long": 4.2,
            "very_sided_long": 0.89
        },
        "slow_drift": {"up": 1.341, "up_steep": 0.0, "up_gradually": 1.536, "down": -0.851},
        "not_shutting": {"leap": 3.138, "leap_20": 0.662, "at_bottom": 1.073, "at_bottom_now": 1.07},
        "pressure_level": {
            "constant": 0.07, "lower": -0.058, "much_lower": -0.412, "higher": -0.114, "more_than_leak":
            -1.346, "steady_while_risen": 0.547
        },
        "pressure_scatter": {"constant": 0.015, "wider": -0.35, "much_wider": 0.052},
        "fill_time": {"constant": -0.101, "moved": -0.35, "scatter": -0.168},
        "recovery": {
            "constant": -0.021, "uneven": -2.572, "very_uneven": -1.343, "slower": -0.741, "faster":
            -0.255
        },
        "metering": {"constant": -0.201, "uneven": -0.653, "explains_scatter": -0.913},
        "weight": {
            "constant": 0.151, "heavier": -2.064, "with_stroke": -1.839, "lighter": 1.806,
            "steady_while_risen": 0.884, "uneven": 0.42
        },
        "gate_seal_drift": {"constant": -0.221, "some": 2.799, "much": 1.363},
        "known_change": {"recent": 0.0, "moved": -0.773},
    },
    "few_signals": {"share": 1.0, "cap_log_odds": 3.0},
    "causes": {
        "sealing": {
            "swept_level.up_2": -2.65, "swept_level.up_5": -3.06, "swept_level.up_2_100": -0.49,
            "swept_level.down": -2.74, "swept_scatter.wider": -1.27, "swept_scatter.much_wider": -2.03,
            "swept_scatter.wider_20": -0.45, "low_tail.some": -0.26, "low_tail.sided": -0.12,
            "low_tail.sided_long": -1.76, "slow_drift.up": -1.98, "slow_drift.up_steep": -0.2,
            "slow_drift.up_gradually": 0.68, "slow_drift.down": -1.86, "pressure_level.constant": 0.11,
            "pressure_level.lower": -0.15, "pressure_level.higher": -0.38,
            "pressure_level.more_than_leak": -1.63, "fill_time.constant": 0.26, "fill_time.moved":
            -1.01, "recovery.constant": 0.27, "recovery.uneven": -2.3, "recovery.slower": -4.57,
            "metering.uneven": -2.95, "metering.explains_scatter": -0.13, "weight.heavier": 0.33,
            "known_change.recent": -0.94, "known_change.moved": -1.13, "shape.constant": 3.94,
            "shape.both_moved": -3.89, "shape.size_moved": -2.45, "shape.swept_down": -0.16,
            "shape.lot_moved": -2.42, "shape.setting_moved": -1.96, "shape.cushion_scatter": -1.16
        },
        "erratic_closing": {
            "swept_level.constant": 0.21, "swept_level.up_2": -1.35, "swept_level.up_5": 0.22,
            "swept_level.up_2_100": -0.7, "swept_level.up_5_100": -0.22, "swept_level.size_1": -0.91,
            "swept_level.size_3": -1.07, "swept_scatter.constant": 0.21, "swept_scatter.wider": 0.15,
            "swept_scatter.much_wider": 1.12, "swept_scatter.wider_20": -0.26,
            "swept_scatter.with_rise": 0.24, "swept_scatter.rise_alone": -0.14, "low_tail.constant":
            0.21, "low_tail.some": 2.48, "low_tail.many": 2.4, "low_tail.sided": 0.21,
            "low_tail.sided_long": 1.84, "low_tail.very_sided_long": 0.4, "slow_drift.up": -1.15,
            "pressure_level.lower": 0.35, "pressure_level.higher": -0.18,
            "pressure_level.more_than_leak": 0.12, "pressure_scatter.constant": 0.19,
            "pressure_scatter.wider": 0.64, "pressure_scatter.much_wider": 0.39, "recovery.constant":
            0.12, "metering.constant": 0.21, "weight.heavier": 0.19, "weight.lighter": -0.84,
            "weight.uneven": 0.52, "gate_seal_drift.constant": 0.14, "gate_seal_drift.some": -0.61,
            "shape.constant": 0.21, "shape.both_moved": 0.12, "shape.size_moved": -0.1,
            "shape.lot_moved": -0.18, "shape.sudden": 0.29, "shape.cushion_scatter": 0.14
        },
        "steady_leak": {
            "swept_level.up_2": 2.08, "swept_level.up_5": 0.59, "swept_level.up_10": -0.55,
            "swept_level.up_2_100": 0.41, "swept_level.up_5_100": -0.16, "swept_level.size_1": 0.28,
            "swept_level.size_3": -0.79, "swept_scatter.wider": 0.93, "swept_scatter.much_wider": 0.85,
            "swept_scatter.wider_20": 0.61, "swept_scatter.with_rise": 0.14, "swept_scatter.rise_alone":
            -0.37, "low_tail.some": -0.42, "low_tail.many": -0.41, "low_tail.sided": -0.22,
            "low_tail.sided_long": -1.81, "low_tail.very_sided_long": -0.4, "slow_drift.up": 1.45,
            "slow_drift.up_steep": -0.35, "slow_drift.up_gradually": 0.58, "not_shutting.at_bottom":
            0.28, "not_shutting.at_bottom_now": 0.18, "pressure_level.constant": 0.11,
            "pressure_level.lower": -0.46, "pressure_level.much_lower": -0.46, "pressure_level.higher":
            0.24, "pressure_level.more_than_leak": -0.33, "pressure_scatter.constant": -0.23,
            "pressure_scatter.wider": -0.64, "pressure_scatter.much_wider": -0.39, "fill_time.constant":
            0.27, "weight.constant": 0.16, "weight.heavier": -0.17, "weight.lighter": 0.33,
            "weight.steady_while_risen": -0.23, "weight.uneven": -0.14, "gate_seal_drift.some": 2.16,
            "gate_seal_drift.much": 0.45, "shape.constant": 0.29, "shape.size_moved": 0.39,
            "shape.lot_moved": 0.22, "shape.sudden": -0.32, "shape.cushion_scatter": 1.19
        },
        "not_closing": {
            "swept_level.constant": -0.2, "swept_level.up_2": 0.27, "swept_level.up_5": 0.4,
            "swept_level.up_10": 0.64, "swept_level.up_2_100": 0.29, "swept_level.up_5_100": 0.38,
            "swept_level.size_1": 0.44, "swept_level.size_3": 0.86, "swept_scatter.constant": -0.2,
            "swept_scatter.wider": -0.39, "swept_scatter.much_wider": -0.46, "swept_scatter.wider_20":
            -0.35, "swept_scatter.with_rise": -0.37, "swept_scatter.rise_alone": 0.51,
            "low_tail.constant": -0.2, "slow_drift.up": 0.3, "slow_drift.up_steep": 0.42,
            "slow_drift.up_gradually": -0.56, "not_shutting.leap": 7.07, "not_shutting.leap_20": 1.96,
            "not_shutting.at_bottom": 1.19, "not_shutting.at_bottom_now": 1.31,
            "pressure_level.constant": -0.1, "pressure_level.lower": 0.11, "pressure_level.much_lower":
            0.42, "pressure_level.more_than_leak": 0.21, "fill_time.constant": -0.24,
            "recovery.constant": -0.2, "metering.constant": -0.2, "weight.constant": -0.12,
            "weight.lighter": 0.51, "weight.steady_while_risen": 0.17, "weight.uneven": -0.39,
            "gate_seal_drift.some": -0.55, "gate_seal_drift.much": -0.38, "known_change.recent": -0.1,
            "shape.constant": -2.2, "shape.size_moved": -0.29, "shape.cushion_scatter": -1.33
        },
        "uneven_melt": {
            "swept_level.up_2": -0.86, "swept_level.up_5": 0.39, "swept_level.up_2_100": -0.71,
            "swept_level.up_5_100": -0.13, "swept_level.size_1": 0.19, "swept_level.down": -0.53,
            "swept_scatter.wider": 2.87, "swept_scatter.much_wider": 0.22, "swept_scatter.wider_20":
            1.04, "swept_scatter.with_rise": 0.48, "swept_scatter.rise_alone": -0.2, "low_tail.some":
            1.73, "low_tail.sided": 0.29, "low_tail.sided_long": 4.05, "slow_drift.up": 0.43,
            "slow_drift.down": -0.6, "pressure_level.constant": -0.73, "pressure_level.much_lower":
            -0.18, "pressure_level.higher": -0.56, "pressure_level.more_than_leak": -0.58,
            "pressure_level.steady_while_risen": 0.24, "pressure_scatter.constant": 0.12,
            "pressure_scatter.wider": 0.15, "pressure_scatter.much_wider": 0.11, "fill_time.constant":
            0.47, "fill_time.moved": -0.11, "recovery.constant": 0.27, "recovery.uneven": 2.74,
            "recovery.very_uneven": 2.1, "recovery.slower": -0.4, "metering.uneven": -0.29,
            "metering.explains_scatter": -0.2, "weight.constant": 0.28, "weight.lighter": -0.54,
            "weight.steady_while_risen": 0.31, "weight.uneven": 0.45, "gate_seal_drift.constant": 0.51,
            "known_change.recent": -0.46, "shape.both_moved": -0.3, "shape.size_moved": -0.38,
            "shape.swept_down": -0.16, "shape.lot_moved": -0.12, "shape.setting_moved": -0.31,
            "shape.sudden": 0.18, "shape.cushion_scatter": 0.27
        },
        "metering": {
            "swept_level.up_2": -0.62, "swept_level.up_2_100": -0.57, "swept_level.down": -0.33,
            "swept_scatter.wider": -0.53, "swept_scatter.much_wider": -0.11, "swept_scatter.wider_20":
            -0.24, "low_tail.some": -0.21, "low_tail.sided_long": -0.28, "slow_drift.up": -0.78,
            "slow_drift.up_gradually": -0.11, "slow_drift.down": -0.17, "pressure_level.constant": 0.44,
            "pressure_level.lower": 0.91, "pressure_level.much_lower": -0.17,
            "pressure_level.more_than_leak": -0.17, "pressure_scatter.constant": 0.28,
            "fill_time.constant": -0.45, "fill_time.moved": -0.14, "recovery.constant": -0.31,
            "recovery.uneven": 1.7, "recovery.very_uneven": 0.12, "recovery.slower": -0.27,
            "metering.uneven": 4.81, "metering.explains_scatter": 2.76, "weight.heavier": -0.37,
            "weight.lighter": -0.18, "weight.uneven": -0.11, "gate_seal_drift.constant": -0.12,
            "known_change.recent": -0.29, "known_change.moved": -0.13, "shape.both_moved": -0.18,
            "shape.size_moved": -0.24, "shape.setting_moved": -0.13, "shape.cushion_scatter": 2.24
        },
        "worn_screw": {
            "swept_level.constant": 0.4, "swept_level.up_2": -0.86, "swept_level.up_5": -0.16,
            "swept_level.up_2_100": -0.74, "swept_level.up_5_100": -0.13, "swept_level.size_1": -0.13,
            "swept_level.down": -0.72, "swept_scatter.constant": 0.4, "swept_scatter.wider": -0.68,
            "swept_scatter.rise_alone": -0.21, "low_tail.constant": 0.4, "low_tail.some": -0.41,
            "low_tail.sided_long": -0.47, "slow_drift.up": -0.42, "slow_drift.up_steep": -0.25,
            "slow_drift.down": -0.67, "pressure_level.constant": 0.32, "pressure_level.lower": 0.36,
            "pressure_level.higher": -0.49, "pressure_level.more_than_leak": -0.11,
            "pressure_scatter.constant": -0.45, "pressure_scatter.wider": -0.12, "fill_time.moved":
            -0.21, "fill_time.scatter": 0.5, "recovery.constant": -1.22, "recovery.uneven": -0.14,
            "recovery.slower": 7.11, "metering.constant": 0.4, "metering.uneven": 0.13,
            "metering.explains_scatter": 0.15, "weight.heavier": -0.54, "weight.lighter": -0.16,
            "gate_seal_drift.constant": 0.33, "known_change.recent": -0.45, "known_change.moved": -0.24,
            "shape.constant": 0.4, "shape.both_moved": -0.52, "shape.size_moved": -0.66,
            "shape.swept_down": -0.17, "shape.lot_moved": -0.48, "shape.setting_moved": -0.39,
            "shape.cushion_scatter": -0.44
        },
        "viscosity_shift": {
            "swept_level.constant": 0.3, "swept_level.up_2": 0.59, "swept_level.up_10": -0.44,
            "swept_level.up_2_100": 0.18, "swept_level.up_5_100": -0.12, "swept_level.size_1": -0.44,
            "swept_level.down": 0.16, "swept_scatter.constant": 0.3, "swept_scatter.wider": -0.68,
            "swept_scatter.much_wider": -0.46, "swept_scatter.wider_20": -0.55,
            "swept_scatter.with_rise": -0.1, "swept_scatter.rise_alone": -0.22, "low_tail.constant":
            0.3, "low_tail.some": -0.27, "low_tail.sided_long": -0.46, "slow_drift.up": 0.4,
            "slow_drift.up_steep": 0.28, "slow_drift.up_gradually": -0.61, "slow_drift.down": 1.82,
            "pressure_level.constant": -0.9, "pressure_level.lower": 0.12, "pressure_level.much_lower":
            0.74, "pressure_level.higher": 0.21, "pressure_level.more_than_leak": 3.18,
            "pressure_level.steady_while_risen": -0.19, "pressure_scatter.constant": -0.39,
            "pressure_scatter.wider": -0.13, "fill_time.constant": 0.37, "fill_time.moved": -0.94,
            "fill_time.scatter": 0.11, "recovery.uneven": -0.49, "recovery.faster": 0.96,
            "metering.constant": 0.3, "metering.uneven": -0.33, "metering.explains_scatter": -0.34,
            "weight.constant": 0.13, "weight.heavier": 0.23, "weight.with_stroke": 1.47,
            "weight.lighter": 0.46, "weight.steady_while_risen": -0.17, "weight.uneven": 0.13,
            "gate_seal_drift.constant": -0.19, "known_change.recent": 0.81, "known_change.moved": 0.18,
            "shape.constant": 0.3, "shape.both_moved": -0.35, "shape.size_moved": -0.69,
            "shape.swept_down": -1.42, "shape.lot_moved": 6.18, "shape.setting_moved": -0.51,
            "shape.cushion_scatter": -0.67
        },
        "setting_change": {
            "swept_level.constant": 0.28, "swept_level.up_2": -0.23, "swept_level.up_5": 0.88,
            "swept_level.up_10": -0.31, "swept_level.up_2_100": 0.14, "swept_level.up_5_100": 0.3,
            "swept_level.size_1": -0.23, "swept_level.down": 1.29, "swept_scatter.constant": 0.28,
            "swept_scatter.wider": -0.5, "swept_scatter.much_wider": -0.12, "swept_scatter.wider_20":
            -0.24, "swept_scatter.rise_alone": -0.1, "low_tail.constant": 0.28, "low_tail.some": -0.36,
            "low_tail.sided_long": -0.41, "slow_drift.up": 0.14, "slow_drift.up_steep": 0.35,
            "slow_drift.up_gradually": 0.4, "slow_drift.down": 1.0, "pressure_level.constant": 0.43,
            "pressure_level.much_lower": 0.93, "pressure_level.higher": 0.44,
            "pressure_level.more_than_leak": 0.36, "pressure_level.steady_while_risen": 0.45,
            "pressure_scatter.constant": 0.14, "pressure_scatter.wider": 0.21, "fill_time.moved": 3.56,
            "fill_time.scatter": -0.24, "recovery.uneven": -0.56, "recovery.slower": -0.83,
            "recovery.faster": -0.12, "metering.constant": 0.28, "metering.uneven": -0.35,
            "metering.explains_scatter": -0.36, "weight.constant": -0.3, "weight.heavier": 0.23,
            "weight.lighter": -0.18, "weight.steady_while_risen": 0.23, "weight.uneven": -0.13,
            "gate_seal_drift.constant": -0.46, "known_change.recent": 1.54, "known_change.moved": 2.0,
            "shape.constant": 0.28, "shape.both_moved": -0.48, "shape.size_moved": -0.7,
            "shape.swept_down": -0.75, "shape.setting_moved": 6.55, "shape.sudden": 0.56,
            "shape.cushion_scatter": -0.54
        },
        "position_reference": {
            "swept_level.constant": 0.16, "swept_level.up_2": -0.23, "swept_level.up_5": -0.14,
            "swept_level.up_2_100": -0.25, "swept_level.up_5_100": -0.12, "swept_level.size_1": -0.11,
            "swept_level.down": -0.37, "swept_scatter.constant": 0.16, "swept_scatter.wider": -0.22,
            "swept_scatter.rise_alone": -0.15, "low_tail.constant": 0.16, "low_tail.some": -0.37,
            "low_tail.sided_long": -0.22, "slow_drift.up": -0.48, "slow_drift.up_steep": -0.19,
            "slow_drift.up_gradually": 0.33, "slow_drift.down": -0.24, "pressure_level.higher": -0.31,
            "pressure_level.more_than_leak": -0.21, "pressure_scatter.constant": 0.17,
            "pressure_scatter.wider": 0.1, "fill_time.constant": -0.2, "fill_time.scatter": -0.13,
            "recovery.constant": 0.33, "recovery.uneven": -0.17, "recovery.slower": -0.29,
            "metering.constant": 0.16, "metering.uneven": -0.26, "metering.explains_scatter": -0.23,
            "weight.heavier": -0.3, "known_change.recent": -0.49, "known_change.moved": -0.17,
            "shape.constant": -0.34, "shape.both_moved": 6.82, "shape.size_moved": 5.34,
            "shape.swept_down": -0.11, "shape.lot_moved": -0.4, "shape.setting_moved": -0.15,
            "shape.cushion_scatter": -0.19
        },
        "flash": {
            "swept_level.constant": -0.22, "swept_level.up_2": 1.53, "swept_level.up_5": 0.6,
            "swept_level.up_10": 0.64, "swept_level.up_2_100": 1.36, "swept_level.up_5_100": -0.17,
            "swept_level.size_1": 0.84, "swept_level.down": -0.1, "swept_scatter.constant": -0.22,
            "swept_scatter.wider": -0.8, "swept_scatter.much_wider": -0.14, "swept_scatter.wider_20":
            -0.23, "swept_scatter.with_rise": -0.37, "swept_scatter.rise_alone": 1.3,
            "low_tail.constant": -0.22, "low_tail.some": -0.16, "slow_drift.up": 1.42,
            "slow_drift.up_steep": -0.27, "slow_drift.up_gradually": -0.59, "slow_drift.down": -0.14,
            "pressure_level.constant": 0.48, "pressure_level.lower": -0.31, "pressure_level.much_lower":
            -1.19, "pressure_level.higher": 0.26, "pressure_level.more_than_leak": -1.44,
            "pressure_level.steady_while_risen": -0.54, "pressure_scatter.constant": 0.27,
            "pressure_scatter.wider": 0.1, "fill_time.constant": -0.36, "recovery.constant": 0.55,
            "recovery.faster": -0.69, "metering.constant": -0.22, "weight.constant": -1.36,
            "weight.heavier": 2.7, "weight.with_stroke": 2.38, "weight.lighter": -0.18,
            "weight.steady_while_risen": -0.85, "known_change.recent": 0.65, "known_change.moved": 0.15,
            "shape.constant": -0.22, "shape.size_moved": -0.15, "shape.lot_moved": 0.39,
            "shape.cushion_scatter": -0.26
        },
        "blocked_cavity": {
            "swept_level.constant": -0.34, "swept_level.down": 2.46, "swept_scatter.constant": -0.34,
            "low_tail.constant": -0.34, "slow_drift.up": -0.1, "slow_drift.down": 1.0,
            "pressure_level.constant": -0.18, "pressure_level.higher": 1.44,
            "pressure_level.more_than_leak": 0.71, "pressure_scatter.constant": -0.23,
            "fill_time.constant": -0.17, "recovery.constant": -0.38, "recovery.slower": -0.15,
            "metering.constant": -0.34, "weight.constant": -0.43, "weight.lighter": 1.12,
            "gate_seal_drift.constant": -0.13, "known_change.recent": 0.13, "shape.constant": -0.84,
            "shape.swept_down": 5.92, "shape.sudden": 0.19
        },
        "outward_leak": {
            "swept_level.constant": -0.62, "swept_level.up_2": 2.12, "swept_level.up_5": 1.19,
            "swept_level.up_10": 0.18, "swept_level.up_2_100": 1.18, "swept_level.up_5_100": 0.49,
            "swept_level.size_3": 0.19, "swept_level.down": -0.12, "swept_scatter.constant": -0.62,
            "swept_scatter.wider": 1.86, "swept_scatter.much_wider": 0.73, "swept_scatter.wider_20":
            0.76, "swept_scatter.rise_alone": -0.28, "low_tail.constant": -0.62, "low_tail.some": 0.33,
            "low_tail.many": 0.19, "low_tail.sided": 0.12, "low_tail.sided_long": -0.38,
            "slow_drift.up": 1.37, "slow_drift.up_steep": 0.42, "slow_drift.up_gradually": -0.2,
            "slow_drift.down": -0.14, "pressure_level.lower": 0.24, "pressure_level.much_lower": -0.15,
            "pressure_level.more_than_leak": -0.12, "pressure_scatter.wider": -0.35,
            "pressure_scatter.much_wider": -0.11, "fill_time.constant": 0.25, "fill_time.scatter":
            -0.27, "recovery.constant": 0.55, "recovery.uneven": -0.68, "recovery.very_uneven": -0.15,
            "metering.constant": -0.62, "metering.uneven": -0.25, "metering.explains_scatter": -0.19,
            "weight.constant": 1.4, "weight.heavier": -1.47, "weight.with_stroke": -0.51,
            "weight.lighter": 0.59, "weight.steady_while_risen": 1.31, "weight.uneven": -0.27,
            "known_change.recent": 0.21, "known_change.moved": -0.11, "shape.constant": -0.62,
            "shape.lot_moved": -0.19, "shape.sudden": -0.2, "shape.cushion_scatter": 0.76
        },
        "unexplained": {
            "shape.constant": 0.5, "swept_scatter.much_wider": 0.7, "swept_level.up_5": 0.5
        },
    },
}  # fmt: skip
