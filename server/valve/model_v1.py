"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.
"""

from typing import Any, Final

MODEL: Final[dict[str, Any]] = {
    "version": "v2",
    "seed": 41000,
    "presses": 1200,
    "digest": "58d5430d8808a393",
    "terms": {
        "swept_level": {
            "constant": -1.094, "up_1": 1.509, "up_2": 0.005, "up_4": 0.0, "up_8": 0.0, "up_16": 0.0,
            "up_100_1": 0.0, "up_100_2": 0.0, "up_100_4": 0.0, "size_0.15": 2.109, "size_0.4": 0.0,
            "size_0.8": 0.108, "size_1.6": 0.293, "size_3.2": 0.353, "clear": 0.0, "down": -0.232,
            "far_down": -0.87
        },
        "swept_scatter": {
            "constant": -0.513, "wider_0.05": 0.438, "wider_0.25": 0.0, "wider_0.6": 0.0, "wider_20":
            0.383, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "with_rise": 0.0, "rise_alone": -0.79
        },
        "low_tail": {
            "constant": -0.518, "falls_0.9": 0.046, "falls_4": 0.0, "sided": 0.464, "sided_long_1.5":
            1.986, "sided_long_4": 0.641, "leans_4": 0.647, "leans_12": 0.0, "leans_40": 0.116,
            "leans_long_2": 0.0, "leans_long_8": 0.0, "far_0.5": 0.502, "far_1.5": 0.0, "far_long":
            0.757, "leans_one_way": 2.083
        },
        "slow_drift": {
            "up_1.5": 0.359, "up_4": 0.0, "up_gradually": 0.163, "down": -0.493, "up_for_long": 0.398,
            "far_up_for_long": 0.0, "gradually_for_long": 0.769, "long_down": -0.389
        },
        "not_shutting": {
            "leap": 2.87, "leap_20": 0.626, "cushion_gone": 1.973, "at_bottom": 0.749, "at_bottom_now":
            1.512
        },
        "pressure_level": {
            "constant": -0.007, "lower": -0.799, "much_lower": -0.603, "higher": 0.0,
            "more_than_leak_0.5": -0.033, "more_than_leak_1.5": -0.58, "thin_explains": -1.386,
            "steady_while_risen": 0.0, "steady_while_clear": 0.329, "transfer_sags": -0.963
        },
        "pressure_scatter": {"constant": 0.002, "wider": 0.678, "much_wider": -0.874},
        "fill_time": {"constant": -0.088, "moved": -0.474, "scatter": -0.044},
        "recovery": {
            "constant": 0.105, "uneven": -1.339, "very_uneven": -0.693, "slower": -0.598, "faster":
            -0.213
        },
        "metering": {"constant": -0.134, "uneven": -1.152, "explains_scatter": -0.7},
        "weight": {
            "constant": 0.054, "heavier": -1.605, "with_stroke": -1.188, "explains_rise": -1.979,
            "lighter": 0.507, "lighter_while_risen": 0.749, "lighter_not_risen": -0.205,
            "not_in_part_1.5": 0.391, "not_in_part_4": 0.199, "not_in_part_while_clear": 1.1, "uneven":
            0.108
        },
        "gate_seal_drift": {"constant": -0.125, "some": 1.881, "much": 1.086},
        "known_change": {"recent": -0.105, "moved": -1.043},
    },
    "terms_of_two": {
        "swept_level": {
            "constant": -1.158, "up_1": 1.173, "up_2": 0.387, "up_4": 0.0, "up_8": 0.0, "up_16": 0.0,
            "up_100_1": 0.0, "up_100_2": 0.0, "up_100_4": 0.0, "size_0.15": 2.057, "size_0.4": 0.338,
            "size_0.8": 0.0, "size_1.6": 0.007, "size_3.2": 0.4, "clear": 0.034, "down": -0.414,
            "far_down": -0.961
        },
        "swept_scatter": {
            "constant": -0.556, "wider_0.05": 0.678, "wider_0.25": 0.088, "wider_0.6": 0.0, "wider_20":
            0.358, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "with_rise": 0.0, "rise_alone": -1.24
        },
        "low_tail": {
            "constant": -0.558, "falls_0.9": 0.0, "falls_4": 0.0, "sided": 0.409, "sided_long_1.5":
            1.753, "sided_long_4": 0.697, "leans_4": 0.691, "leans_12": 0.0, "leans_40": 0.177,
            "leans_long_2": 0.0, "leans_long_8": 0.0, "far_0.5": 0.659, "far_1.5": 0.0, "far_long":
            0.85, "leans_one_way": 1.992
        },
        "slow_drift": {
            "up_1.5": 0.115, "up_4": 0.0, "up_gradually": 0.043, "down": -0.385, "up_for_long": 0.472,
            "far_up_for_long": 0.0, "gradually_for_long": 0.898, "long_down": -0.473
        },
        "not_shutting": {
            "leap": 2.982, "leap_20": 0.637, "cushion_gone": 2.016, "at_bottom": 0.721, "at_bottom_now":
            1.511
        },
        "metering": {"constant": -0.158, "uneven": -1.349, "explains_scatter": -0.529},
        "known_change": {"recent": -0.119, "moved": -0.979},
    },
    "causes": {
        "sealing": {
            "swept_level.up_1": -0.94, "swept_level.up_2": -0.85, "swept_level.up_4": -3.02,
            "swept_level.up_100_1": 0.23, "swept_level.up_100_2": 0.6, "swept_level.size_0.15": -0.93,
            "swept_level.size_0.4": -0.89, "swept_level.size_0.8": -0.1, "swept_level.clear": 0.24,
            "swept_level.down": -1.11, "swept_level.far_down": -1.19, "swept_scatter.constant": -0.11,
            "swept_scatter.wider_0.05": -0.38, "swept_scatter.wider_0.25": -0.87,
            "swept_scatter.wider_0.6": -1.96, "swept_scatter.wider_20": -0.22,
            "swept_scatter.wider_long_0.05": 0.62, "swept_scatter.wider_long_0.3": 0.72,
            "swept_scatter.with_rise": 0.17, "swept_scatter.rise_alone": 0.39, "low_tail.falls_0.9":
            0.2, "low_tail.falls_4": 0.47, "low_tail.sided_long_1.5": -1.66, "low_tail.leans_4": -0.81,
            "low_tail.leans_12": 0.57, "low_tail.leans_40": 0.14, "low_tail.leans_long_2": 0.36,
            "low_tail.leans_long_8": 1.38, "low_tail.far_0.5": -0.4, "low_tail.far_long": -1.63,
            "low_tail.leans_one_way": 0.4, "slow_drift.up_1.5": -0.18, "slow_drift.up_4": -0.59,
            "slow_drift.up_gradually": 1.06, "slow_drift.up_for_long": 0.11, "slow_drift.long_down":
            -0.68, "pressure_level.constant": 0.12, "pressure_level.lower": 0.74,
            "pressure_level.much_lower": 0.16, "pressure_level.higher": 0.55,
            "pressure_level.more_than_leak_0.5": -0.64, "pressure_level.more_than_leak_1.5": -0.19,
            "pressure_level.thin_explains": 1.1, "pressure_level.steady_while_risen": -0.47,
            "pressure_level.steady_while_clear": -0.39, "pressure_level.transfer_sags": -0.54,
            "pressure_scatter.constant": -0.24, "pressure_scatter.wider": -0.28, "fill_time.moved":
            -1.19, "fill_time.scatter": -0.25, "recovery.constant": 0.32, "recovery.uneven": -1.26,
            "recovery.very_uneven": 1.04, "recovery.slower": -4.13, "metering.uneven": -2.28,
            "metering.explains_scatter": 1.47, "weight.constant": 0.16, "weight.with_stroke": 0.18,
            "weight.explains_rise": 0.71, "weight.lighter": -0.46, "weight.lighter_not_risen": -0.49,
            "weight.not_in_part_1.5": 0.2, "weight.uneven": 0.31, "known_change.recent": -1.04,
            "known_change.moved": -1.01, "shape.constant": 3.96, "shape.size_moved": -0.69,
            "shape.swept_down": -0.62, "shape.lot_moved": -1.82, "shape.setting_moved": -1.82,
            "shape.cushion_scatter": -0.49
        },
        "erratic_closing": {
            "swept_level.constant": 0.29, "swept_level.up_1": -1.43, "swept_level.up_4": -0.22,
            "swept_level.up_16": 0.13, "swept_level.up_100_1": -0.25, "swept_level.up_100_2": -0.18,
            "swept_level.size_0.15": -1.66, "swept_level.size_0.4": -0.63, "swept_level.size_0.8":
            -1.26, "swept_level.size_1.6": -1.36, "swept_level.size_3.2": -0.2, "swept_level.down":
            0.37, "swept_scatter.constant": 0.29, "swept_scatter.wider_0.25": -0.33,
            "swept_scatter.wider_0.6": 1.28, "swept_scatter.wider_20": -0.34,
            "swept_scatter.wider_long_0.3": -0.69, "swept_scatter.with_rise": 0.12,
            "swept_scatter.rise_alone": -0.15, "low_tail.constant": 0.29, "low_tail.falls_0.9": 1.05,
            "low_tail.falls_4": 2.1, "low_tail.sided_long_1.5": 1.22, "low_tail.sided_long_4": 0.22,
            "low_tail.leans_4": 0.72, "low_tail.leans_12": -0.13, "low_tail.leans_40": 0.33,
            "low_tail.leans_long_2": 0.51, "low_tail.leans_long_8": 0.26, "low_tail.far_0.5": 1.2,
            "low_tail.far_1.5": 0.64, "low_tail.far_long": 1.3, "low_tail.leans_one_way": 0.85,
            "slow_drift.up_4": 0.34, "slow_drift.up_gradually": 0.21, "slow_drift.up_for_long": -0.29,
            "slow_drift.far_up_for_long": 0.14, "slow_drift.gradually_for_long": -0.45,
            "not_shutting.at_bottom": 0.33, "pressure_level.constant": 0.11, "pressure_level.higher":
            -0.26, "pressure_level.more_than_leak_0.5": -0.16, "pressure_level.more_than_leak_1.5":
            -0.11, "pressure_level.steady_while_clear": 0.11, "pressure_scatter.constant": -0.19,
            "pressure_scatter.wider": 1.18, "pressure_scatter.much_wider": 0.76, "recovery.uneven":
            -0.41, "recovery.very_uneven": -0.39, "metering.constant": 0.29,
            "metering.explains_scatter": 0.13, "weight.heavier": 0.31, "weight.explains_rise": 0.18,
            "weight.lighter": -0.67, "weight.lighter_not_risen": -0.23, "weight.not_in_part_1.5": -0.31,
            "weight.not_in_part_4": 0.18, "weight.not_in_part_while_clear": 0.12, "weight.uneven": 0.48,
            "gate_seal_drift.some": -0.4, "shape.constant": 0.29, "shape.both_moved": -0.36,
            "shape.size_moved": 0.35, "shape.sudden": 0.71, "shape.cushion_scatter": 0.39
        },
        "steady_leak": {
            "swept_level.up_1": 1.09, "swept_level.up_2": 0.36, "swept_level.up_4": 0.48,
            "swept_level.up_8": -1.01, "swept_level.up_100_1": 0.24, "swept_level.up_100_2": 0.66,
            "swept_level.up_100_4": 0.64, "swept_level.size_0.15": 1.23, "swept_level.size_0.4": -0.31,
            "swept_level.size_0.8": 0.21, "swept_level.size_1.6": -0.89, "swept_level.size_3.2": 0.58,
            "swept_level.down": -0.36, "swept_scatter.wider_0.05": 0.36, "swept_scatter.wider_0.25":
            0.83, "swept_scatter.wider_0.6": 0.61, "swept_scatter.wider_20": -0.21,
            "swept_scatter.wider_long_0.3": -0.15, "swept_scatter.rise_alone": -0.36,
            "low_tail.falls_0.9": 0.56, "low_tail.falls_4": 0.12, "low_tail.sided_long_1.5": -0.78,
            "low_tail.sided_long_4": -0.19, "low_tail.leans_4": -0.12, "low_tail.leans_12": 0.11,
            "low_tail.leans_40": -0.37, "low_tail.leans_long_2": -0.24, "low_tail.leans_long_8": -0.15,
            "low_tail.far_0.5": -0.34, "low_tail.far_1.5": -0.51, "low_tail.far_long": -1.34,
            "low_tail.leans_one_way": -0.79, "slow_drift.up_1.5": 0.53, "slow_drift.up_4": -0.41,
            "slow_drift.up_gradually": 0.41, "slow_drift.down": -0.13, "slow_drift.up_for_long": 0.44,
            "slow_drift.far_up_for_long": 0.27, "slow_drift.gradually_for_long": 1.36,
            "not_shutting.leap": 0.79, "not_shutting.leap_20": 0.58, "not_shutting.cushion_gone": 0.28,
            "not_shutting.at_bottom": -0.23, "not_shutting.at_bottom_now": 0.23, "pressure_level.lower":
            -0.29, "pressure_level.much_lower": -0.23, "pressure_level.higher": 0.43,
            "pressure_level.more_than_leak_0.5": -0.11, "pressure_level.thin_explains": -0.1,
            "pressure_level.steady_while_risen": 0.22, "pressure_level.transfer_sags": -0.22,
            "pressure_scatter.constant": 0.18, "pressure_scatter.wider": -1.78,
            "pressure_scatter.much_wider": -0.91, "recovery.constant": 0.31, "recovery.uneven": -0.94,
            "recovery.very_uneven": -0.54, "recovery.faster": 0.9, "metering.explains_scatter": -0.18,
            "weight.constant": -0.15, "weight.heavier": -0.3, "weight.explains_rise": -0.18,
            "weight.lighter": 0.23, "weight.lighter_while_risen": 0.11, "weight.lighter_not_risen":
            0.19, "weight.not_in_part_1.5": 0.39, "weight.uneven": -0.2, "gate_seal_drift.constant":
            -0.17, "gate_seal_drift.some": 2.17, "gate_seal_drift.much": 0.37, "known_change.recent":
            0.49, "known_change.moved": -0.33, "shape.constant": 0.36, "shape.both_moved": 0.14,
            "shape.size_moved": -0.5, "shape.lot_moved": -0.57, "shape.sudden": -0.5,
            "shape.cushion_scatter": 0.21
        },
        "not_closing": {
            "swept_level.constant": -0.34, "swept_level.up_1": 0.34, "swept_level.up_2": 0.69,
            "swept_level.up_4": 0.94, "swept_level.up_8": 1.1, "swept_level.up_100_2": -0.48,
            "swept_level.up_100_4": -0.61, "swept_level.size_0.15": 0.43, "swept_level.size_0.4": 0.94,
            "swept_level.size_0.8": 0.85, "swept_level.size_1.6": 1.25, "swept_level.size_3.2": -0.38,
            "swept_scatter.constant": -0.34, "swept_scatter.wider_0.05": -0.43,
            "swept_scatter.wider_0.25": 0.2, "swept_scatter.wider_0.6": -0.38, "swept_scatter.wider_20":
            0.55, "swept_scatter.wider_long_0.3": 0.84, "swept_scatter.with_rise": -0.19,
            "swept_scatter.rise_alone": 0.51, "low_tail.constant": -0.34, "low_tail.falls_0.9": 0.39,
            "low_tail.falls_4": -0.23, "low_tail.sided_long_1.5": -0.44, "low_tail.leans_4": -0.6,
            "low_tail.leans_long_2": -0.27, "low_tail.leans_long_8": -0.12, "low_tail.far_0.5": -0.86,
            "low_tail.far_1.5": -0.13, "slow_drift.up_gradually": -0.62, "slow_drift.down": 0.19,
            "slow_drift.up_for_long": -0.15, "slow_drift.far_up_for_long": -0.41,
            "slow_drift.gradually_for_long": -0.92, "not_shutting.leap": 6.21, "not_shutting.leap_20":
            1.46, "not_shutting.cushion_gone": -0.34, "not_shutting.at_bottom": 1.4,
            "not_shutting.at_bottom_now": 1.18, "pressure_level.lower": 0.27,
            "pressure_level.much_lower": 0.24, "pressure_level.higher": -0.17,
            "pressure_level.more_than_leak_0.5": 0.27, "pressure_level.steady_while_risen": -0.19,
            "pressure_level.steady_while_clear": -0.17, "pressure_level.transfer_sags": 0.18,
            "pressure_scatter.wider": 0.61, "pressure_scatter.much_wider": 0.15, "recovery.constant":
            -0.35, "recovery.uneven": 1.35, "recovery.very_uneven": 0.93, "recovery.faster": -0.9,
            "metering.constant": -0.34, "weight.lighter": 0.44, "weight.not_in_part_4": -0.26,
            "weight.uneven": -0.28, "gate_seal_drift.constant": 0.23, "gate_seal_drift.some": -0.76,
            "gate_seal_drift.much": -0.31, "known_change.recent": -0.5, "known_change.moved": 0.29,
            "shape.constant": -2.34, "shape.both_moved": 0.23, "shape.size_moved": 0.15,
            "shape.lot_moved": 0.48, "shape.sudden": -0.21, "shape.cushion_scatter": -0.6
        },
        "uneven_melt": {
            "swept_level.up_1": 0.32, "swept_level.up_2": -0.9, "swept_level.up_4": -0.13,
            "swept_level.up_8": -0.55, "swept_level.up_16": -0.46, "swept_level.up_100_1": -0.34,
            "swept_level.up_100_2": -0.16, "swept_level.up_100_4": -0.32, "swept_level.size_0.15": 0.8,
            "swept_level.size_0.4": -0.59, "swept_level.size_0.8": -0.66, "swept_level.size_1.6": -0.49,
            "swept_level.clear": -0.34, "swept_level.down": -1.58, "swept_level.far_down": -0.23,
            "swept_scatter.wider_0.05": 1.06, "swept_scatter.wider_0.25": 1.91,
            "swept_scatter.wider_0.6": 0.86, "swept_scatter.wider_20": 1.61,
            "swept_scatter.wider_long_0.05": -0.28, "swept_scatter.wider_long_0.3": 0.14,
            "swept_scatter.rise_alone": -0.45, "low_tail.falls_0.9": 0.82, "low_tail.falls_4": -0.64,
            "low_tail.sided": 0.16, "low_tail.sided_long_1.5": 0.94, "low_tail.leans_4": 0.23,
            "low_tail.leans_12": -0.54, "low_tail.leans_40": -0.2, "low_tail.leans_long_2": 0.81,
            "low_tail.far_0.5": 0.12, "low_tail.far_1.5": 0.4, "low_tail.far_long": 2.73,
            "slow_drift.up_1.5": 0.28, "slow_drift.up_gradually": 0.57, "slow_drift.down": -0.32,
            "slow_drift.up_for_long": 0.72, "slow_drift.far_up_for_long": -0.22,
            "slow_drift.gradually_for_long": 0.15, "pressure_level.constant": -0.13,
            "pressure_level.lower": -0.4, "pressure_level.higher": 0.38,
            "pressure_level.more_than_leak_0.5": 0.34, "pressure_level.steady_while_risen": 0.37,
            "pressure_level.steady_while_clear": 0.13, "pressure_level.transfer_sags": -0.28,
            "pressure_scatter.constant": -0.24, "pressure_scatter.wider": 3.23,
            "pressure_scatter.much_wider": 0.41, "fill_time.moved": -0.57, "fill_time.scatter": -0.12,
            "recovery.constant": -0.42, "recovery.uneven": 2.24, "recovery.very_uneven": 1.39,
            "recovery.slower": -0.31, "metering.uneven": 1.28, "metering.explains_scatter": 0.46,
            "weight.constant": 0.15, "weight.heavier": -0.11, "weight.lighter_not_risen": -0.15,
            "weight.not_in_part_1.5": 0.43, "weight.not_in_part_while_clear": 0.14, "weight.uneven":
            -0.29, "known_change.recent": -0.13, "known_change.moved": -0.18, "shape.both_moved": 0.28,
            "shape.size_moved": 0.4, "shape.swept_down": -0.12, "shape.lot_moved": -0.48,
            "shape.setting_moved": -0.23
        },
        "metering": {
            "swept_level.up_1": -0.49, "swept_level.up_100_1": -0.75, "swept_level.size_0.15": -0.22,
            "swept_level.size_0.4": -0.15, "swept_level.far_down": -0.36, "swept_scatter.wider_0.05":
            0.12, "swept_scatter.wider_0.25": -1.52, "swept_scatter.wider_0.6": -0.58,
            "swept_scatter.wider_20": -0.35, "swept_scatter.wider_long_0.05": -0.79,
            "swept_scatter.wider_long_0.3": -0.59, "low_tail.falls_0.9": -0.4, "low_tail.leans_4": -0.2,
            "low_tail.leans_long_2": -0.31, "low_tail.leans_long_8": -0.12, "low_tail.far_long": 0.3,
            "low_tail.leans_one_way": -0.17, "slow_drift.up_1.5": -0.49, "slow_drift.up_gradually":
            -0.13, "slow_drift.down": 0.73, "slow_drift.up_for_long": -0.21, "slow_drift.long_down":
            0.43, "pressure_level.constant": 0.48, "pressure_level.higher": -0.26,
            "pressure_level.more_than_leak_0.5": -0.36, "pressure_level.more_than_leak_1.5": -0.33,
            "pressure_level.thin_explains": 0.12, "pressure_level.steady_while_risen": -0.13,
            "pressure_level.transfer_sags": -0.23, "pressure_scatter.constant": 0.26,
            "pressure_scatter.wider": -1.09, "pressure_scatter.much_wider": -0.15, "fill_time.constant":
            -0.26, "fill_time.moved": 1.27, "recovery.constant": 0.15, "recovery.uneven": 1.84,
            "recovery.very_uneven": 0.17, "recovery.slower": -0.16, "metering.uneven": 3.72,
            "metering.explains_scatter": 1.33, "weight.heavier": -0.26, "weight.lighter": 0.35,
            "weight.lighter_not_risen": 0.36, "weight.uneven": -0.28, "gate_seal_drift.constant": 0.25,
            "known_change.recent": 0.36, "shape.both_moved": -0.92, "shape.size_moved": -1.0,
            "shape.swept_down": -0.2, "shape.setting_moved": -0.18, "shape.cushion_scatter": 3.91
        },
        "worn_screw": {
            "swept_level.constant": 0.33, "swept_level.up_1": -0.41, "swept_level.up_2": -0.21,
            "swept_level.up_4": -0.33, "swept_level.up_100_2": -0.12, "swept_level.up_100_4": -0.21,
            "swept_level.size_0.15": -0.74, "swept_level.size_0.4": -0.49, "swept_level.down": -1.05,
            "swept_level.far_down": -0.4, "swept_scatter.constant": 0.34, "swept_scatter.wider_0.05":
            -0.11, "swept_scatter.wider_0.25": 0.45, "swept_scatter.wider_0.6": -0.2,
            "swept_scatter.wider_20": -0.47, "swept_scatter.wider_long_0.05": 0.19,
            "swept_scatter.wider_long_0.3": 0.11, "swept_scatter.with_rise": -0.13,
            "swept_scatter.rise_alone": 0.23, "low_tail.constant": 0.33, "low_tail.falls_0.9": 0.44,
            "low_tail.sided_long_1.5": 0.46, "low_tail.leans_4": -0.1, "low_tail.leans_12": -0.14,
            "low_tail.leans_long_2": -1.31, "low_tail.leans_long_8": -0.11, "low_tail.far_0.5": -0.42,
            "low_tail.far_long": -0.55, "low_tail.leans_one_way": 0.51, "slow_drift.up_1.5": 0.18,
            "slow_drift.up_4": -0.4, "slow_drift.up_gradually": 1.19, "slow_drift.down": -0.28,
            "slow_drift.up_for_long": -0.26, "slow_drift.gradually_for_long": 0.2,
            "slow_drift.long_down": -0.51, "pressure_level.constant": 0.13, "pressure_level.lower":
            0.74, "pressure_level.higher": -0.55, "pressure_level.more_than_leak_0.5": -0.49,
            "pressure_level.thin_explains": 0.12, "pressure_level.steady_while_risen": -0.17,
            "pressure_level.steady_while_clear": -0.22, "pressure_level.transfer_sags": -0.43,
            "pressure_scatter.constant": -0.33, "pressure_scatter.wider": 0.17, "fill_time.constant":
            0.38, "fill_time.moved": 0.57, "fill_time.scatter": 0.1, "recovery.constant": -0.28,
            "recovery.uneven": 0.72, "recovery.very_uneven": -0.46, "recovery.slower": 6.73,
            "metering.constant": 0.33, "metering.uneven": 0.18, "metering.explains_scatter": 0.55,
            "weight.explains_rise": 0.1, "weight.uneven": 0.26, "gate_seal_drift.constant": -0.52,
            "known_change.recent": -0.34, "known_change.moved": -0.34, "shape.constant": 0.33,
            "shape.both_moved": -0.16, "shape.size_moved": -0.51, "shape.swept_down": -0.18,
            "shape.lot_moved": 0.18, "shape.setting_moved": -0.4, "shape.cushion_scatter": -1.34
        },
        "viscosity_shift": {
            "swept_level.constant": 0.2, "swept_level.up_2": 0.5, "swept_level.up_4": 0.86,
            "swept_level.up_8": 0.5, "swept_level.up_16": -0.36, "swept_level.up_100_1": 0.12,
            "swept_level.up_100_2": 0.29, "swept_level.up_100_4": 0.33, "swept_level.size_0.4": 0.2,
            "swept_level.size_1.6": -0.75, "swept_level.down": 1.61, "swept_level.far_down": 0.86,
            "swept_scatter.constant": 0.23, "swept_scatter.wider_0.05": -0.44,
            "swept_scatter.wider_0.6": -0.41, "swept_scatter.wider_20": -0.29,
            "swept_scatter.wider_long_0.05": -0.32, "swept_scatter.wider_long_0.3": -0.84,
            "swept_scatter.with_rise": -0.47, "low_tail.constant": 0.2, "low_tail.falls_0.9": 0.72,
            "low_tail.falls_4": -0.13, "low_tail.sided": 0.22, "low_tail.leans_4": -0.23,
            "low_tail.leans_12": -0.47, "low_tail.leans_long_8": -0.37, "low_tail.far_0.5": 0.48,
            "low_tail.far_1.5": -0.2, "low_tail.far_long": 0.54, "slow_drift.up_1.5": 0.37,
            "slow_drift.up_4": 0.42, "slow_drift.up_gradually": -1.45, "slow_drift.down": -0.25,
            "slow_drift.up_for_long": 0.67, "slow_drift.far_up_for_long": -0.3,
            "slow_drift.gradually_for_long": -0.23, "slow_drift.long_down": 1.12,
            "not_shutting.cushion_gone": -0.13, "pressure_level.constant": -0.27,
            "pressure_level.lower": 0.4, "pressure_level.much_lower": 0.27, "pressure_level.higher":
            0.12, "pressure_level.more_than_leak_0.5": 0.34, "pressure_level.more_than_leak_1.5": 1.82,
            "pressure_level.thin_explains": 0.28, "pressure_level.steady_while_risen": -0.64,
            "pressure_level.steady_while_clear": -0.5, "pressure_level.transfer_sags": 0.1,
            "pressure_scatter.constant": -0.18, "pressure_scatter.wider": -0.15, "fill_time.moved":
            -1.04, "fill_time.scatter": 0.37, "recovery.constant": 0.28, "recovery.uneven": -0.81,
            "recovery.very_uneven": 0.22, "recovery.slower": -0.28, "recovery.faster": 0.49,
            "metering.constant": 0.2, "metering.uneven": -0.48, "weight.heavier": 0.6,
            "weight.with_stroke": 0.92, "weight.lighter": 0.51, "weight.lighter_not_risen": 0.49,
            "weight.not_in_part_1.5": -1.04, "weight.not_in_part_4": -0.11,
            "weight.not_in_part_while_clear": -0.65, "weight.uneven": 0.43, "gate_seal_drift.constant":
            0.12, "known_change.recent": 1.23, "known_change.moved": -2.69, "shape.constant": 0.2,
            "shape.both_moved": 0.7, "shape.size_moved": -0.25, "shape.swept_down": -1.23,
            "shape.lot_moved": 5.73, "shape.setting_moved": -0.49, "shape.sudden": -0.34,
            "shape.cushion_scatter": 0.11
        },
        "setting_change": {
            "swept_level.constant": 0.16, "swept_level.up_1": -0.22, "swept_level.up_2": 0.17,
            "swept_level.up_4": 0.64, "swept_level.up_8": -0.2, "swept_level.up_100_1": 0.2,
            "swept_level.up_100_2": -0.11, "swept_level.size_0.15": 0.17, "swept_level.size_0.4": -0.17,
            "swept_level.size_0.8": -0.69, "swept_level.clear": 0.54, "swept_level.down": 1.42,
            "swept_level.far_down": -0.16, "swept_scatter.constant": 0.18, "swept_scatter.wider_0.05":
            -0.42, "swept_scatter.wider_0.25": -0.37, "swept_scatter.wider_20": -0.26,
            "swept_scatter.wider_long_0.05": -0.57, "swept_scatter.wider_long_0.3": -0.11,
            "swept_scatter.with_rise": -0.25, "swept_scatter.rise_alone": 0.26, "low_tail.constant":
            0.16, "low_tail.falls_0.9": -0.45, "low_tail.sided": -0.17, "low_tail.leans_4": -0.54,
            "low_tail.leans_long_2": 0.25, "low_tail.leans_long_8": -0.1, "low_tail.far_long": 0.4,
            "low_tail.leans_one_way": -0.38, "slow_drift.up_1.5": 0.49, "slow_drift.up_gradually":
            -0.95, "slow_drift.down": 0.37, "slow_drift.up_for_long": -0.42,
            "slow_drift.far_up_for_long": -0.21, "slow_drift.gradually_for_long": -0.28,
            "slow_drift.long_down": -0.2, "pressure_level.constant": 0.14, "pressure_level.lower": 0.15,
            "pressure_level.much_lower": 0.58, "pressure_level.more_than_leak_1.5": 0.56,
            "pressure_level.thin_explains": -0.59, "pressure_level.steady_while_risen": 0.43,
            "pressure_level.steady_while_clear": 0.59, "pressure_level.transfer_sags": 0.39,
            "pressure_scatter.constant": 0.25, "pressure_scatter.wider": -0.82, "fill_time.moved": 3.27,
            "recovery.constant": -0.39, "recovery.uneven": -1.12, "recovery.slower": -0.37,
            "metering.constant": 0.16, "metering.uneven": -0.48, "metering.explains_scatter": -0.55,
            "weight.constant": 0.17, "weight.heavier": -0.23, "weight.with_stroke": -0.14,
            "weight.explains_rise": -0.36, "weight.uneven": 0.14, "gate_seal_drift.constant": -0.59,
            "known_change.recent": 1.7, "known_change.moved": 4.44, "shape.constant": 0.16,
            "shape.size_moved": -0.25, "shape.swept_down": -0.53, "shape.setting_moved": 6.93,
            "shape.sudden": 0.49, "shape.cushion_scatter": -0.28
        },
        "position_reference": {
            "swept_level.constant": 0.37, "swept_level.up_1": -0.42, "swept_level.up_2": -0.92,
            "swept_level.up_4": -0.17, "swept_level.up_100_1": 0.93, "swept_level.up_100_2": -0.49,
            "swept_level.size_0.15": -1.36, "swept_level.size_0.4": 0.67, "swept_level.clear": 0.11,
            "swept_level.down": -0.16, "swept_level.far_down": -0.77, "swept_scatter.constant": 0.37,
            "swept_scatter.wider_0.05": -0.16, "swept_scatter.wider_0.25": -0.57,
            "swept_scatter.wider_0.6": -0.11, "swept_scatter.wider_20": -0.67,
            "swept_scatter.wider_long_0.05": 0.48, "swept_scatter.rise_alone": -0.21,
            "low_tail.constant": 0.37, "low_tail.falls_0.9": -0.56, "low_tail.sided_long_1.5": 1.09,
            "low_tail.leans_4": 1.0, "low_tail.leans_long_2": -0.57, "low_tail.leans_long_8": -0.34,
            "low_tail.far_0.5": -0.52, "low_tail.far_long": -0.6, "low_tail.leans_one_way": -0.41,
            "slow_drift.up_1.5": -1.08, "slow_drift.up_4": -0.23, "slow_drift.up_gradually": 0.46,
            "slow_drift.up_for_long": -0.79, "slow_drift.gradually_for_long": -0.1,
            "slow_drift.long_down": -0.6, "pressure_level.constant": -0.37, "pressure_level.higher":
            -0.39, "pressure_level.more_than_leak_0.5": 0.92, "pressure_level.more_than_leak_1.5": -1.1,
            "pressure_level.steady_while_risen": -0.13, "pressure_level.transfer_sags": 0.22,
            "pressure_scatter.constant": 0.46, "pressure_scatter.wider": -0.11, "fill_time.constant":
            -0.33, "fill_time.moved": -0.84, "recovery.constant": -0.14, "recovery.uneven": -1.04,
            "recovery.very_uneven": -0.16, "recovery.slower": -0.38, "metering.constant": 0.37,
            "metering.uneven": -0.68, "metering.explains_scatter": -0.55, "weight.constant": 0.35,
            "weight.lighter": -0.11, "gate_seal_drift.constant": -0.14, "known_change.recent": -0.87,
            "known_change.moved": -0.5, "shape.constant": -0.13, "shape.both_moved": 1.08,
            "shape.size_moved": 2.51, "shape.swept_down": -0.28, "shape.lot_moved": -1.8,
            "shape.setting_moved": -0.65, "shape.cushion_scatter": -0.58
        },
        "flash": {
            "swept_level.up_1": 1.15, "swept_level.up_2": 1.29, "swept_level.up_4": 0.84,
            "swept_level.up_8": 0.64, "swept_level.up_16": 1.29, "swept_level.up_100_1": -0.41,
            "swept_level.up_100_2": 0.13, "swept_level.size_0.15": 1.15, "swept_level.size_0.4": 0.41,
            "swept_level.size_0.8": 1.05, "swept_level.size_1.6": 0.54, "swept_level.clear": -0.31,
            "swept_level.down": -1.46, "swept_scatter.wider_0.25": -0.42, "swept_scatter.wider_0.6":
            0.1, "swept_scatter.wider_20": -0.54, "swept_scatter.wider_long_0.05": 0.5,
            "swept_scatter.wider_long_0.3": 0.12, "swept_scatter.rise_alone": 0.43,
            "low_tail.falls_0.9": -0.79, "low_tail.falls_4": 0.44, "low_tail.sided_long_1.5": -0.25,
            "low_tail.leans_12": 0.42, "low_tail.leans_40": 0.11, "low_tail.leans_long_2": 0.45,
            "low_tail.leans_long_8": 0.69, "low_tail.far_0.5": 0.29, "low_tail.far_1.5": 0.31,
            "low_tail.far_long": -0.55, "slow_drift.up_4": 0.68, "slow_drift.up_gradually": -0.36,
            "slow_drift.down": -0.49, "slow_drift.up_for_long": 0.1, "slow_drift.gradually_for_long":
            0.54, "slow_drift.long_down": -0.21, "not_shutting.cushion_gone": -0.26,
            "pressure_level.constant": -0.16, "pressure_level.much_lower": -0.72,
            "pressure_level.more_than_leak_1.5": -0.47, "pressure_level.thin_explains": -0.75,
            "pressure_level.steady_while_risen": 0.57, "pressure_level.steady_while_clear": 0.39,
            "pressure_level.transfer_sags": 0.97, "pressure_scatter.constant": 0.24,
            "pressure_scatter.wider": -0.71, "fill_time.constant": -0.32, "fill_time.moved": -0.38,
            "recovery.constant": 0.31, "recovery.uneven": -0.3, "recovery.very_uneven": -0.1,
            "recovery.slower": -0.26, "recovery.faster": -0.41, "metering.uneven": -1.07,
            "metering.explains_scatter": -0.72, "weight.constant": -0.24, "weight.heavier": 0.97,
            "weight.with_stroke": 2.26, "weight.explains_rise": -0.15, "weight.lighter": -0.19,
            "weight.lighter_while_risen": -0.16, "weight.lighter_not_risen": -0.11,
            "weight.not_in_part_1.5": -0.79, "weight.not_in_part_4": -0.29,
            "weight.not_in_part_while_clear": -0.57, "weight.uneven": -0.44, "gate_seal_drift.constant":
            0.52, "known_change.recent": -0.39, "known_change.moved": 0.81, "shape.both_moved": 0.14,
            "shape.lot_moved": 0.98, "shape.setting_moved": -0.15, "shape.cushion_scatter": -1.21
        },
        "blocked_cavity": {
            "swept_level.constant": -0.62, "swept_level.up_1": -0.14, "swept_level.up_100_1": -0.1,
            "swept_level.down": 1.79, "swept_level.far_down": 2.4, "swept_scatter.constant": -0.62,
            "swept_scatter.wider_0.05": -0.27, "swept_scatter.wider_long_0.05": -0.37,
            "low_tail.constant": -0.62, "low_tail.leans_4": 0.11, "low_tail.leans_long_2": 0.19,
            "low_tail.far_0.5": 0.27, "low_tail.far_long": 0.56, "slow_drift.down": 0.18,
            "slow_drift.long_down": 0.78, "pressure_level.higher": 0.77,
            "pressure_level.more_than_leak_0.5": 0.18, "pressure_scatter.constant": -0.14,
            "recovery.slower": -0.31, "metering.constant": -0.62, "weight.constant": -0.31,
            "weight.lighter": 1.11, "weight.lighter_not_risen": 0.11, "gate_seal_drift.constant": 0.24,
            "known_change.recent": 0.3, "shape.constant": -1.12, "shape.both_moved": 0.21,
            "shape.size_moved": 0.2, "shape.swept_down": 6.23, "shape.lot_moved": 0.25, "shape.sudden":
            0.69
        },
        "outward_leak": {
            "swept_level.constant": -0.43, "swept_level.up_1": 1.07, "swept_level.up_2": 0.23,
            "swept_level.up_4": 0.96, "swept_level.up_8": -0.27, "swept_level.up_16": -0.42,
            "swept_level.up_100_2": -0.1, "swept_level.up_100_4": 0.29, "swept_level.size_0.15": 1.22,
            "swept_level.size_0.4": 1.03, "swept_level.size_0.8": 0.51, "swept_level.size_1.6": 0.76,
            "swept_level.clear": -0.14, "swept_level.down": -0.46, "swept_scatter.constant": -0.43,
            "swept_scatter.wider_0.05": 0.57, "swept_scatter.wider_0.25": 1.36,
            "swept_scatter.wider_0.6": 0.33, "swept_scatter.wider_20": 1.24,
            "swept_scatter.wider_long_0.05": 0.54, "swept_scatter.wider_long_0.3": 0.44,
            "swept_scatter.with_rise": 0.66, "swept_scatter.rise_alone": -0.52, "low_tail.constant":
            -0.43, "low_tail.sided": -0.27, "low_tail.sided_long_1.5": -0.56, "low_tail.leans_4": 0.49,
            "low_tail.leans_12": 0.3, "low_tail.leans_long_8": -0.95, "low_tail.far_0.5": 0.14,
            "low_tail.far_1.5": -0.56, "low_tail.far_long": -1.19, "slow_drift.up_1.5": 0.48,
            "slow_drift.up_4": 0.31, "slow_drift.up_gradually": -0.37, "slow_drift.down": -0.14,
            "slow_drift.far_up_for_long": 0.74, "slow_drift.gradually_for_long": -0.32,
            "not_shutting.cushion_gone": 0.39, "pressure_level.constant": 0.1, "pressure_level.lower":
            -0.49, "pressure_level.more_than_leak_0.5": -0.35, "pressure_level.more_than_leak_1.5":
            -0.17, "pressure_level.thin_explains": -0.25, "pressure_level.steady_while_risen": 0.18,
            "pressure_level.steady_while_clear": 0.15, "pressure_level.transfer_sags": -0.24,
            "pressure_scatter.wider": -0.24, "fill_time.constant": 0.41, "recovery.constant": 0.13,
            "recovery.uneven": -0.2, "metering.constant": -0.43, "metering.uneven": 0.33,
            "metering.explains_scatter": -0.49, "weight.constant": -0.3, "weight.explains_rise": -0.29,
            "weight.not_in_part_1.5": 1.32, "weight.not_in_part_4": 0.46,
            "weight.not_in_part_while_clear": 1.15, "weight.uneven": -0.12, "gate_seal_drift.constant":
            0.11, "known_change.recent": -0.12, "shape.constant": -0.43, "shape.both_moved": -0.43,
            "shape.size_moved": -0.37, "shape.cushion_scatter": -0.21
        },
        "unexplained": {"shape.constant": 0.5, "swept_scatter.wider_0.6": 0.7, "swept_level.up_4": 0.5},
    },
    "few_signals": {"cap_log_odds": 3.0},
}  # fmt: skip
