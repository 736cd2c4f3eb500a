"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.
"""

from typing import Any, Final

from server.valve.model_causes import CAUSES

MODEL: Final[dict[str, Any]] = {
    "version": "v5",
    "seed": 41000,
    "presses": 5000,
    "digest": "cb983c10ab51a679",
    "terms": {
        "swept_level": {
            "constant": -1.232, "up_0.5": 0.138, "up_1": 0.454, "up_2": 0.834, "up_4": 0.0, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.009, "up_100_4": 0.0, "size_0.08": 1.038,
            "size_0.15": 1.06, "size_0.25": 0.615, "size_0.4": 0.087, "size_0.8": 0.0, "size_1.6": 0.0,
            "size_3.2": 0.453, "clear": 0.07, "down": -0.903, "far_down": -1.769, "far_out_and_up":
            -0.648, "far_out_and_risen": -0.309, "far_out_now_and_risen": -0.371, "skewed_and_up":
            -0.39, "skewed_and_up_100": -0.006, "skewed_and_risen": -0.363, "skewed_and_clear": -0.275
        },
        "swept_scatter": {
            "constant": -0.644, "wider_0.05": 0.605, "wider_0.25": 0.452, "wider_0.6": 0.055,
            "wider_20": 0.68, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.327,
            "between_0.1": -0.179, "between_0.4": -0.214, "between_0.9": -0.42, "between_alone": 0.162,
            "bursts_0.3": 0.259, "bursts_0.8": 0.299, "bursts_1.6": -0.194, "with_rise": 0.62,
            "rise_alone": -0.828, "wider_for_long_and_up": -0.597, "alone_in_a_leap": 0.0
        },
        "low_tail": {
            "constant": -0.644, "falls_0.9": 0.047, "falls_4": 0.31, "sided": 0.175, "sided_long_1.5":
            0.505, "sided_long_4": 0.57, "far_0.5": 0.218, "far_1.5": 0.249, "far_long_0.05": 1.763,
            "far_long_0.2": 0.263, "far_long_0.8": 0.046, "skew_0.2": 0.138, "skew_0.5": 0.663,
            "skew_1": 1.052, "skew_long_0.1": 0.346, "skew_long_0.3": 0.476, "skew_long_0.7": 0.635,
            "skew_high": -0.174, "loses_pressure_long_0.03": 0.297, "loses_pressure_long_0.1": 0.279,
            "loses_pressure_long_0.3": 0.166, "gains_pressure_long_0.03": -0.385,
            "gains_pressure_long_0.1": -1.662, "loses_pressure": 0.499, "gains_pressure": -1.221,
            "skew_wide": 0.111, "far_out_and_up": -0.648, "far_out_and_risen": -0.309,
            "far_out_now_and_risen": -0.371, "skewed_and_up": -0.39, "skewed_and_up_100": -0.006,
            "skewed_and_risen": -0.363, "skewed_and_clear": -0.275, "far_out_while_down": -0.907,
            "far_out_and_skewed": 0.573, "sided_and_skewed": 0.801, "sided_losing_pressure": 0.667,
            "far_out_losing_pressure": 0.467
        },
        "slow_drift": {
            "up_0.7": -0.008, "up_1.5": 0.0, "up_4": 0.108, "up_gradually": 0.771, "down": -0.019,
            "whole_0.5": 0.239, "whole_1": 0.17, "whole_2": -0.068, "whole_5": -0.146, "up_for_long":
            0.0, "far_up_for_long": 0.035, "gradually_for_long": 0.517, "long_down": -0.301
        },
        "not_shutting": {
            "leapt_just_now": 0.0, "gone_just_now": 0.003, "leaps_by_2.5": 0.0, "leaps_by_4": 0.202,
            "leaps_by_6": 0.021, "new_by_2": 0.0, "new_by_3": 0.701, "new_by_4": 0.787, "new_by_5":
            0.49, "new_out_of_scatter": 0.765, "leap": 3.212, "leap_20": 0.688, "cushion_gone": 1.585,
            "at_bottom": 0.561, "at_bottom_now": 1.399
        },
        "pressure_level": {
            "constant": 0.172, "lower": -0.087, "much_lower": -0.567, "above_0.2": -0.036, "above_0.6":
            0.379, "above_1.5": 0.603, "below_0.2": 0.017, "below_0.6": -0.321, "below_1.5": -0.334,
            "below_4": -0.28, "higher": 0.0, "more_than_leak_0.5": -0.198, "more_than_leak_1.5": -0.534,
            "thin_explains": -0.761, "fell_by_rise_0.15": 0.34, "fell_by_rise_0.5": -0.237,
            "fell_by_rise_1": -0.202, "steady_while_risen": 0.0, "steady_while_clear": 0.033,
            "transfer_sags": -1.26, "moved_and_wider": 0.365, "sags_with_a_rise_alone": -0.747,
            "fell_and_not_in_part": 0.78, "fell_and_far_out": 0.472, "lost_at_bottom": 1.437,
            "lost_in_a_leap": 1.128
        },
        "pressure_scatter": {
            "constant": -0.104, "wider": 2.186, "much_wider": 0.061, "wider_and_up": -0.821,
            "wider_and_risen": -0.73, "wider_from_block_to_block": -0.79
        },
        "fill_time": {"constant": -0.029, "moved": -0.669, "scatter": 0.002},
        "recovery": {
            "constant": -0.005, "uneven": -1.229, "very_uneven": -0.585, "uneven_with_scatter": -1.15,
            "even_with_scatter": 0.787, "slow_0.2": -0.135, "slow_0.7": -0.234, "slower": -0.535,
            "fast_0.2": 0.385, "fast_0.7": 0.112, "faster": -0.144, "uneven_by_0.05": 0.014,
            "uneven_by_0.12": 0.004, "uneven_at_bottom": 1.506, "uneven_in_a_leap": 1.195,
            "even_and_risen": -0.423, "even_and_up": -0.371, "slow_and_risen": -0.375,
            "even_and_not_in_part": -0.429
        },
        "metering": {
            "constant": -0.252, "uneven": -0.872, "explains_scatter": -0.485, "moves_along": -0.037,
            "moves_along_wide": -1.194, "uneven_and_far_out": -0.398
        },
        "weight": {
            "constant": -0.196, "heavier": -1.169, "with_stroke": -1.163, "explains_rise": -1.385,
            "explains_part": -0.465, "light_0.5": 0.562, "light_1": 0.724, "light_2": 0.505, "light_4":
            -0.104, "arrived_0.05": -0.713, "arrived_0.2": -0.614, "arrived_0.4": -0.165, "lighter":
            0.395, "lighter_while_risen": 0.703, "lighter_not_risen": -0.392, "not_in_part_1.5": 0.0,
            "not_in_part_4": 0.0, "not_in_part_while_clear": 0.284, "uneven": 0.81, "light_and_far_out":
            -1.12, "light_and_moved": -0.411, "not_in_part_while_all_is_steady": 1.7,
            "much_not_in_part": 0.637, "arrived_and_grown": -0.118
        },
        "gate_seal_drift": {
            "constant": -0.061, "rises_0.3": 1.128, "rises_1": 0.764, "rises_2": 0.654, "rises_4": 0.53,
            "rises_8": 0.47, "still_while_risen": -0.302, "still_while_clear": -0.307, "risen_both":
            0.239, "still_and_skewed": 0.033
        },
        "known_change": {"recent": -0.14, "moved": -1.1},
    },
    "terms_of_two": {
        "swept_level": {
            "constant": -1.213, "up_0.5": 0.196, "up_1": 0.414, "up_2": 0.422, "up_4": 0.0, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.0, "up_100_4": 0.0, "size_0.08": 0.962,
            "size_0.15": 1.053, "size_0.25": 0.801, "size_0.4": 0.259, "size_0.8": 0.055, "size_1.6":
            0.138, "size_3.2": 0.473, "clear": 0.0, "down": -0.519, "far_down": -1.684,
            "far_out_and_up": -0.594, "far_out_and_risen": -0.43, "far_out_now_and_risen": -0.479,
            "skewed_and_up": -0.247, "skewed_and_up_100": 0.008, "skewed_and_risen": -0.544,
            "skewed_and_clear": -0.424
        },
        "swept_scatter": {
            "constant": -0.624, "wider_0.05": 0.7, "wider_0.25": 0.5, "wider_0.6": 0.0, "wider_20":
            0.891, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.357, "between_0.1":
            -0.108, "between_0.4": -0.239, "between_0.9": -0.468, "between_alone": 0.185, "bursts_0.3":
            0.146, "bursts_0.8": 0.377, "bursts_1.6": -0.124, "with_rise": 0.856, "rise_alone": -0.991,
            "wider_for_long_and_up": -0.537, "alone_in_a_leap": 0.0
        },
        "low_tail": {
            "constant": -0.627, "falls_0.9": 0.0, "falls_4": 0.368, "sided": 0.248, "sided_long_1.5":
            0.537, "sided_long_4": 0.773, "far_0.5": 0.25, "far_1.5": 0.179, "far_long_0.05": 1.725,
            "far_long_0.2": 0.108, "far_long_0.8": 0.014, "skew_0.2": 0.043, "skew_0.5": 0.89, "skew_1":
            1.004, "skew_long_0.1": 0.365, "skew_long_0.3": 0.671, "skew_long_0.7": 0.732, "skew_high":
            -0.174, "loses_pressure_long_0.03": 0.0, "loses_pressure_long_0.1": 0.0,
            "loses_pressure_long_0.3": 0.0, "gains_pressure_long_0.03": 0.0, "gains_pressure_long_0.1":
            0.0, "loses_pressure": 0.0, "gains_pressure": 0.0, "skew_wide": 0.0, "far_out_and_up":
            -0.594, "far_out_and_risen": -0.43, "far_out_now_and_risen": -0.479, "skewed_and_up":
            -0.247, "skewed_and_up_100": 0.008, "skewed_and_risen": -0.544, "skewed_and_clear": -0.424,
            "far_out_while_down": -1.015, "far_out_and_skewed": 0.889, "sided_and_skewed": 0.751,
            "sided_losing_pressure": 0.0, "far_out_losing_pressure": 0.0
        },
        "slow_drift": {
            "up_0.7": -0.304, "up_1.5": 0.0, "up_4": 0.02, "up_gradually": 0.1, "down": -0.136,
            "whole_0.5": 0.429, "whole_1": 0.291, "whole_2": 0.095, "whole_5": -0.373, "up_for_long":
            0.0, "far_up_for_long": 0.087, "gradually_for_long": 0.476, "long_down": -0.224
        },
        "not_shutting": {
            "leapt_just_now": 0.012, "gone_just_now": 0.004, "leaps_by_2.5": 0.0, "leaps_by_4": 0.212,
            "leaps_by_6": 0.015, "new_by_2": 0.014, "new_by_3": 0.711, "new_by_4": 0.789, "new_by_5":
            0.491, "new_out_of_scatter": 0.791, "leap": 3.271, "leap_20": 0.674, "cushion_gone": 1.69,
            "at_bottom": 0.616, "at_bottom_now": 1.438
        },
        "metering": {
            "constant": -0.235, "uneven": -0.811, "explains_scatter": -0.388, "moves_along": 0.0,
            "moves_along_wide": -1.573, "uneven_and_far_out": -0.663
        },
        "known_change": {"recent": 0.0, "moved": -1.25},
    },
    "few_signals": {"cap_log_odds": 3.0},
    "causes": CAUSES,
}  # fmt: skip
