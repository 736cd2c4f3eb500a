"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.
"""

from typing import Any, Final

from server.valve.model_causes import CAUSES

MODEL: Final[dict[str, Any]] = {
    "version": "v4",
    "seed": 41000,
    "presses": 2500,
    "digest": "04b6c8b30b20df41",
    "terms": {
        "swept_level": {
            "constant": -1.2, "up_0.5": 0.013, "up_1": 0.378, "up_2": 0.854, "up_4": 0.131, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.095, "up_100_4": 0.0, "size_0.08": 1.189,
            "size_0.15": 1.073, "size_0.25": 0.67, "size_0.4": 0.132, "size_0.8": 0.0, "size_1.6": 0.0,
            "size_3.2": 0.498, "clear": 0.0, "down": -0.777, "far_down": -1.826, "far_out_and_up":
            -0.511, "far_out_and_risen": -0.385, "far_out_now_and_risen": -0.388, "skewed_and_up":
            -0.32, "skewed_and_up_100": -0.123, "skewed_and_risen": -0.352, "skewed_and_clear": -0.151
        },
        "swept_scatter": {
            "constant": -0.624, "wider_0.05": 0.504, "wider_0.25": 0.33, "wider_0.6": 0.057, "wider_20":
            0.667, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.372, "between_0.1":
            -0.18, "between_0.4": -0.326, "between_0.9": -0.314, "between_alone": 0.184, "bursts_0.3":
            0.36, "bursts_0.8": 0.376, "bursts_1.6": -0.28, "with_rise": 0.42, "rise_alone": -0.93,
            "wider_for_long_and_up": -0.667
        },
        "low_tail": {
            "constant": -0.624, "falls_0.9": 0.11, "falls_4": 0.375, "sided": 0.132, "sided_long_1.5":
            0.603, "sided_long_4": 0.644, "far_0.5": 0.031, "far_1.5": 0.374, "far_long_0.05": 1.839,
            "far_long_0.2": 0.241, "far_long_0.8": -0.092, "skew_0.2": 0.213, "skew_0.5": 0.585,
            "skew_1": 0.946, "skew_long_0.1": 0.348, "skew_long_0.3": 0.431, "skew_long_0.7": 0.805,
            "skew_high": -0.166, "loses_pressure_long_0.03": 0.277, "loses_pressure_long_0.1": 0.234,
            "loses_pressure_long_0.3": 0.239, "gains_pressure_long_0.03": -0.398,
            "gains_pressure_long_0.1": -1.625, "loses_pressure": 0.629, "gains_pressure": -1.288,
            "skew_wide": 0.066, "far_out_and_up": -0.511, "far_out_and_risen": -0.385,
            "far_out_now_and_risen": -0.388, "skewed_and_up": -0.32, "skewed_and_up_100": -0.123,
            "skewed_and_risen": -0.352, "skewed_and_clear": -0.151, "far_out_while_down": -1.034,
            "far_out_and_skewed": 0.348, "sided_and_skewed": 0.718, "sided_losing_pressure": 0.62,
            "far_out_losing_pressure": 0.503
        },
        "slow_drift": {
            "up_0.7": -0.145, "up_1.5": 0.0, "up_4": 0.0, "up_gradually": 0.986, "down": -0.008,
            "whole_0.5": 0.325, "whole_1": 0.349, "whole_2": -0.047, "whole_5": -0.301, "up_for_long":
            0.136, "far_up_for_long": 0.039, "gradually_for_long": 0.683, "long_down": -0.33
        },
        "not_shutting": {
            "leapt_just_now": 0.0, "gone_just_now": 0.007, "leaps_by_2.5": 0.0, "leaps_by_4": 0.327,
            "leaps_by_6": 0.129, "new_by_2": 0.0, "new_by_3": 0.695, "new_by_4": 0.772, "new_by_5":
            0.481, "new_out_of_scatter": 0.706, "leap": 2.951, "leap_20": 0.778, "cushion_gone": 1.564,
            "at_bottom": 0.486, "at_bottom_now": 1.381
        },
        "pressure_level": {
            "constant": 0.166, "lower": 0.006, "much_lower": -0.718, "above_0.2": 0.103, "above_0.6":
            0.426, "above_1.5": 0.365, "below_0.2": 0.162, "below_0.6": -0.366, "below_1.5": -0.252,
            "below_4": -0.543, "higher": -0.003, "more_than_leak_0.5": -0.29, "more_than_leak_1.5":
            -0.642, "thin_explains": -0.76, "fell_by_rise_0.15": 0.277, "fell_by_rise_0.5": -0.205,
            "fell_by_rise_1": -0.091, "steady_while_risen": 0.0, "steady_while_clear": 0.181,
            "transfer_sags": -1.466, "moved_and_wider": 0.359, "sags_with_a_rise_alone": -0.905,
            "fell_and_not_in_part": 0.613, "fell_and_far_out": 0.634
        },
        "pressure_scatter": {
            "constant": -0.162, "wider": 2.266, "much_wider": -0.027, "wider_and_up": -0.824,
            "wider_and_risen": -0.63, "wider_from_block_to_block": -0.925
        },
        "fill_time": {"constant": -0.006, "moved": -0.561, "scatter": -0.056},
        "recovery": {
            "constant": 0.008, "uneven": -1.342, "very_uneven": -0.817, "uneven_with_scatter": -1.136,
            "even_with_scatter": 0.659, "slow_0.2": -0.145, "slow_0.7": -0.373, "slower": -0.643,
            "fast_0.2": 0.245, "fast_0.7": 0.103, "faster": -0.321, "uneven_by_0.05": -0.125,
            "uneven_by_0.12": 0.179, "even_and_risen": -0.447, "even_and_up": -0.362, "slow_and_risen":
            -0.236, "even_and_not_in_part": -0.49
        },
        "metering": {
            "constant": -0.24, "uneven": -0.698, "explains_scatter": -0.639, "moves_along": -0.162,
            "moves_along_wide": -1.107, "uneven_and_far_out": -0.51
        },
        "weight": {
            "constant": -0.218, "heavier": -1.072, "with_stroke": -1.009, "explains_rise": -1.489,
            "explains_part": -0.19, "light_0.5": 0.534, "light_1": 0.705, "light_2": 0.432, "light_4":
            -0.157, "arrived_0.05": -0.386, "arrived_0.2": -0.453, "arrived_0.4": -0.328, "lighter":
            0.366, "lighter_while_risen": 0.558, "lighter_not_risen": -0.323, "not_in_part_1.5": 0.0,
            "not_in_part_4": 0.0, "not_in_part_while_clear": 0.143, "uneven": 0.549,
            "light_and_far_out": -1.043, "light_and_moved": -0.599, "not_in_part_while_all_is_steady":
            1.677, "much_not_in_part": 0.658, "arrived_and_grown": -0.176
        },
        "gate_seal_drift": {
            "constant": -0.096, "rises_0.3": 1.294, "rises_1": 0.776, "rises_2": 0.745, "rises_4": 0.6,
            "rises_8": 0.504, "still_while_risen": -0.251, "still_while_clear": -0.31, "risen_both":
            0.392, "still_and_skewed": 0.148
        },
        "known_change": {"recent": -0.186, "moved": -1.333},
    },
    "terms_of_two": {
        "swept_level": {
            "constant": -1.206, "up_0.5": 0.03, "up_1": 0.383, "up_2": 0.451, "up_4": 0.0, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.0, "up_100_4": 0.114, "size_0.08": 1.137,
            "size_0.15": 1.086, "size_0.25": 1.043, "size_0.4": 0.073, "size_0.8": 0.242, "size_1.6":
            0.171, "size_3.2": 0.426, "clear": 0.048, "down": -0.68, "far_down": -1.682,
            "far_out_and_up": -0.631, "far_out_and_risen": -0.419, "far_out_now_and_risen": -0.532,
            "skewed_and_up": -0.17, "skewed_and_up_100": -0.089, "skewed_and_risen": -0.51,
            "skewed_and_clear": -0.388
        },
        "swept_scatter": {
            "constant": -0.624, "wider_0.05": 0.695, "wider_0.25": 0.199, "wider_0.6": 0.0, "wider_20":
            0.797, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.337, "between_0.1":
            -0.12, "between_0.4": -0.132, "between_0.9": -0.277, "between_alone": 0.128, "bursts_0.3":
            0.315, "bursts_0.8": 0.485, "bursts_1.6": -0.194, "with_rise": 0.727, "rise_alone": -1.036,
            "wider_for_long_and_up": -0.71
        },
        "low_tail": {
            "constant": -0.624, "falls_0.9": 0.057, "falls_4": 0.538, "sided": 0.398, "sided_long_1.5":
            0.549, "sided_long_4": 0.762, "far_0.5": 0.213, "far_1.5": 0.243, "far_long_0.05": 1.621,
            "far_long_0.2": 0.128, "far_long_0.8": 0.106, "skew_0.2": 0.056, "skew_0.5": 0.962,
            "skew_1": 0.717, "skew_long_0.1": 0.345, "skew_long_0.3": 0.668, "skew_long_0.7": 0.864,
            "skew_high": -0.193, "loses_pressure_long_0.03": 0.0, "loses_pressure_long_0.1": 0.0,
            "loses_pressure_long_0.3": 0.0, "gains_pressure_long_0.03": 0.0, "gains_pressure_long_0.1":
            0.0, "loses_pressure": 0.0, "gains_pressure": 0.0, "skew_wide": 0.066, "far_out_and_up":
            -0.631, "far_out_and_risen": -0.419, "far_out_now_and_risen": -0.532, "skewed_and_up":
            -0.17, "skewed_and_up_100": -0.089, "skewed_and_risen": -0.51, "skewed_and_clear": -0.388,
            "far_out_while_down": -0.984, "far_out_and_skewed": 0.789, "sided_and_skewed": 0.765,
            "sided_losing_pressure": 0.0, "far_out_losing_pressure": 0.0
        },
        "slow_drift": {
            "up_0.7": -0.47, "up_1.5": 0.0, "up_4": 0.0, "up_gradually": 0.147, "down": -0.343,
            "whole_0.5": 0.545, "whole_1": 0.34, "whole_2": 0.231, "whole_5": -0.306, "up_for_long":
            0.0, "far_up_for_long": 0.0, "gradually_for_long": 0.781, "long_down": -0.165
        },
        "not_shutting": {
            "leapt_just_now": 0.0, "gone_just_now": 0.0, "leaps_by_2.5": 0.0, "leaps_by_4": 0.184,
            "leaps_by_6": 0.02, "new_by_2": 0.0, "new_by_3": 0.705, "new_by_4": 0.79, "new_by_5": 0.491,
            "new_out_of_scatter": 0.742, "leap": 2.945, "leap_20": 0.671, "cushion_gone": 1.597,
            "at_bottom": 0.477, "at_bottom_now": 1.33
        },
        "metering": {
            "constant": -0.232, "uneven": -0.726, "explains_scatter": -0.23, "moves_along": -0.348,
            "moves_along_wide": -1.383, "uneven_and_far_out": -0.635
        },
        "known_change": {"recent": 0.0, "moved": -1.347},
    },
    "few_signals": {"cap_log_odds": 3.0},
    "causes": CAUSES,
}  # fmt: skip
