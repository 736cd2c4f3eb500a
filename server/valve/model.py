"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.
"""

from typing import Any, Final

from server.valve.model_causes import CAUSES

MODEL: Final[dict[str, Any]] = {
    "version": "v3",
    "seed": 41000,
    "presses": 2500,
    "digest": "8250767530fd1415",
    "terms": {
        "swept_level": {
            "constant": -1.189, "up_0.5": 0.0, "up_1": 0.364, "up_2": 0.867, "up_4": 0.151, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.074, "up_100_4": 0.0, "size_0.08": 1.152,
            "size_0.15": 1.096, "size_0.25": 0.666, "size_0.4": 0.073, "size_0.8": 0.0, "size_1.6": 0.0,
            "size_3.2": 0.504, "clear": 0.0, "down": -0.786, "far_down": -1.817, "far_out_and_up":
            -0.554, "far_out_and_risen": -0.397, "far_out_now_and_risen": -0.425, "skewed_and_up":
            -0.33, "skewed_and_up_100": -0.081, "skewed_and_risen": -0.339, "skewed_and_clear": -0.144
        },
        "swept_scatter": {
            "constant": -0.613, "wider_0.05": 0.536, "wider_0.25": 0.309, "wider_0.6": 0.0, "wider_20":
            0.62, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.403, "between_0.1":
            -0.156, "between_0.4": -0.356, "between_0.9": -0.365, "between_alone": 0.187, "bursts_0.3":
            0.359, "bursts_0.8": 0.356, "bursts_1.6": -0.251, "with_rise": 0.361, "rise_alone": -0.948
        },
        "low_tail": {
            "constant": -0.613, "falls_0.9": 0.159, "falls_4": 0.411, "sided": 0.081, "sided_long_1.5":
            0.712, "sided_long_4": 0.633, "leans_4": 0.0, "leans_12": 0.0, "leans_40": 0.358,
            "leans_long_2": 0.0, "leans_long_8": 0.0, "far_0.5": 0.061, "far_1.5": 0.418,
            "far_long_0.05": 1.682, "far_long_0.2": 0.255, "far_long_0.8": -0.017, "leans_one_way":
            0.152, "skew_0.2": 0.196, "skew_0.5": 0.565, "skew_1": 0.904, "skew_long_0.1": 0.345,
            "skew_long_0.3": 0.416, "skew_long_0.7": 0.816, "skew_high": -0.128,
            "loses_pressure_long_0.03": 0.268, "loses_pressure_long_0.1": 0.271,
            "loses_pressure_long_0.3": 0.225, "gains_pressure_long_0.03": -0.408,
            "gains_pressure_long_0.1": -1.598, "far_long_alone": 0.452, "loses_pressure": 0.597,
            "gains_pressure": -1.27, "skew_wide": 0.105, "far_out_and_up": -0.554, "far_out_and_risen":
            -0.397, "far_out_now_and_risen": -0.425, "skewed_and_up": -0.33, "skewed_and_up_100":
            -0.081, "skewed_and_risen": -0.339, "skewed_and_clear": -0.144, "far_out_while_down":
            -1.031, "far_out_and_skewed": 0.334, "sided_and_skewed": 0.727, "sided_losing_pressure":
            0.609, "far_out_losing_pressure": 0.484
        },
        "slow_drift": {
            "up_0.7": -0.134, "up_1.5": 0.0, "up_4": 0.0, "up_gradually": 0.646, "down": -0.03,
            "whole_0.5": 0.352, "whole_1": 0.354, "whole_2": -0.04, "whole_5": -0.307, "up_for_long":
            0.119, "far_up_for_long": 0.099, "gradually_for_long": 0.416, "long_down": -0.317
        },
        "not_shutting": {
            "leapt_just_now": 0.002, "gone_just_now": 0.022, "leaps_by_2.5": 0.0, "leaps_by_4": 0.297,
            "leaps_by_6": 0.109, "leap": 2.892, "leap_20": 0.792, "cushion_gone": 1.534, "at_bottom":
            0.526, "at_bottom_now": 1.362
        },
        "pressure_level": {
            "constant": 0.134, "lower": -0.015, "much_lower": -0.665, "above_0.2": 0.059, "above_0.6":
            0.41, "above_1.5": 0.353, "below_0.2": 0.177, "below_0.6": -0.38, "below_1.5": -0.204,
            "below_4": -0.504, "higher": -0.016, "more_than_leak_0.5": -0.297, "more_than_leak_1.5":
            -0.649, "thin_explains": -0.76, "fell_by_rise_0.15": 0.309, "fell_by_rise_0.5": -0.153,
            "fell_by_rise_1": -0.124, "steady_while_risen": 0.0, "steady_while_clear": 0.154,
            "transfer_sags": -1.447, "moved_and_wider": 0.334, "sags_with_a_rise_alone": -0.905,
            "fell_and_not_in_part": 0.68, "fell_and_far_out": 0.6
        },
        "pressure_scatter": {
            "constant": -0.175, "wider": 2.228, "much_wider": 0.029, "wider_and_up": -0.732,
            "wider_and_risen": -0.569, "wider_from_block_to_block": -0.925
        },
        "fill_time": {"constant": -0.044, "moved": -0.564, "scatter": -0.047},
        "recovery": {
            "constant": 0.023, "uneven": -1.304, "very_uneven": -0.835, "uneven_with_scatter": -1.227,
            "even_with_scatter": 0.61, "slow_0.2": -0.049, "slow_0.7": -0.321, "slower": -0.65,
            "fast_0.2": 0.273, "fast_0.7": -0.006, "faster": -0.322, "uneven_by_0.05": -0.082,
            "uneven_by_0.12": 0.149, "even_and_risen": -0.477, "even_and_up": -0.387, "slow_and_risen":
            -0.302, "even_and_not_in_part": -0.508
        },
        "metering": {
            "constant": -0.229, "uneven": -0.707, "explains_scatter": -0.693, "moves_along_long_0.03":
            0.064, "moves_along_long_0.1": 0.186, "moves_against_long": -0.772, "moves_along": -0.379,
            "moves_along_wide": -0.935, "along_and_wide": -0.638, "along_and_leaning": -0.715,
            "along_and_risen": 0.099, "uneven_and_far_out": -0.479
        },
        "weight": {
            "constant": -0.24, "heavier": -1.032, "with_stroke": -0.976, "explains_rise": -1.476,
            "explains_part": -0.19, "light_0.5": 0.532, "light_1": 0.669, "light_2": 0.438, "light_4":
            -0.116, "arrived_0.05": -0.397, "arrived_0.2": -0.472, "arrived_0.4": -0.301, "lighter":
            0.376, "lighter_while_risen": 0.596, "lighter_not_risen": -0.378, "not_in_part_1.5": 0.0,
            "not_in_part_4": 0.0, "not_in_part_while_clear": 0.155, "uneven": 0.622,
            "light_and_far_out": -1.017, "light_and_moved": -0.573, "not_in_part_while_all_is_steady":
            1.694, "much_not_in_part": 0.65, "arrived_and_grown": -0.204
        },
        "gate_seal_drift": {
            "constant": -0.057, "rises_0.3": 1.239, "rises_1": 0.833, "rises_2": 0.769, "rises_4":
            0.613, "rises_8": 0.503, "still_while_risen": -0.257, "still_while_clear": -0.284,
            "risen_both": 0.382, "still_and_skewed": 0.214
        },
        "known_change": {"recent": -0.192, "moved": -1.351},
    },
    "terms_of_two": {
        "swept_level": {
            "constant": -1.177, "up_0.5": 0.007, "up_1": 0.38, "up_2": 0.46, "up_4": 0.0, "up_8": 0.0,
            "up_16": 0.0, "up_100_1": 0.0, "up_100_2": 0.0, "up_100_4": 0.093, "size_0.08": 1.105,
            "size_0.15": 1.085, "size_0.25": 1.012, "size_0.4": 0.082, "size_0.8": 0.197, "size_1.6":
            0.03, "size_3.2": 0.403, "clear": 0.07, "down": -0.658, "far_down": -1.683,
            "far_out_and_up": -0.703, "far_out_and_risen": -0.397, "far_out_now_and_risen": -0.559,
            "skewed_and_up": -0.123, "skewed_and_up_100": -0.091, "skewed_and_risen": -0.506,
            "skewed_and_clear": -0.359
        },
        "swept_scatter": {
            "constant": -0.608, "wider_0.05": 0.694, "wider_0.25": 0.197, "wider_0.6": 0.0, "wider_20":
            0.71, "wider_long_0.05": 0.0, "wider_long_0.3": 0.0, "narrower": -0.393, "between_0.1":
            -0.136, "between_0.4": -0.139, "between_0.9": -0.388, "between_alone": 0.158, "bursts_0.3":
            0.329, "bursts_0.8": 0.468, "bursts_1.6": -0.149, "with_rise": 0.581, "rise_alone": -1.046
        },
        "low_tail": {
            "constant": -0.608, "falls_0.9": 0.132, "falls_4": 0.509, "sided": 0.365, "sided_long_1.5":
            0.644, "sided_long_4": 0.678, "leans_4": 0.0, "leans_12": 0.0, "leans_40": 0.511,
            "leans_long_2": 0.0, "leans_long_8": 0.0, "far_0.5": 0.177, "far_1.5": 0.254,
            "far_long_0.05": 1.416, "far_long_0.2": 0.133, "far_long_0.8": 0.219, "leans_one_way":
            0.009, "skew_0.2": 0.058, "skew_0.5": 0.904, "skew_1": 0.692, "skew_long_0.1": 0.32,
            "skew_long_0.3": 0.677, "skew_long_0.7": 0.83, "skew_high": -0.175,
            "loses_pressure_long_0.03": 0.0, "loses_pressure_long_0.1": 0.0, "loses_pressure_long_0.3":
            0.0, "gains_pressure_long_0.03": 0.0, "gains_pressure_long_0.1": 0.0, "far_long_alone":
            0.622, "loses_pressure": 0.0, "gains_pressure": 0.0, "skew_wide": 0.081, "far_out_and_up":
            -0.703, "far_out_and_risen": -0.397, "far_out_now_and_risen": -0.559, "skewed_and_up":
            -0.123, "skewed_and_up_100": -0.091, "skewed_and_risen": -0.506, "skewed_and_clear": -0.359,
            "far_out_while_down": -1.004, "far_out_and_skewed": 0.809, "sided_and_skewed": 0.785,
            "sided_losing_pressure": 0.0, "far_out_losing_pressure": 0.0
        },
        "slow_drift": {
            "up_0.7": -0.45, "up_1.5": 0.0, "up_4": 0.0, "up_gradually": 0.0, "down": -0.355,
            "whole_0.5": 0.518, "whole_1": 0.364, "whole_2": 0.226, "whole_5": -0.344, "up_for_long":
            0.0, "far_up_for_long": 0.019, "gradually_for_long": 0.65, "long_down": -0.171
        },
        "not_shutting": {
            "leapt_just_now": 0.036, "gone_just_now": 0.01, "leaps_by_2.5": 0.0, "leaps_by_4": 0.203,
            "leaps_by_6": 0.024, "leap": 2.889, "leap_20": 0.655, "cushion_gone": 1.561, "at_bottom":
            0.482, "at_bottom_now": 1.323
        },
        "metering": {
            "constant": -0.224, "uneven": -0.68, "explains_scatter": -0.252, "moves_along_long_0.03":
            -0.042, "moves_along_long_0.1": 0.28, "moves_against_long": -0.653, "moves_along": -0.596,
            "moves_along_wide": -1.139, "along_and_wide": -0.48, "along_and_leaning": -0.525,
            "along_and_risen": 0.481, "uneven_and_far_out": -0.589
        },
        "known_change": {"recent": 0.0, "moved": -1.338},
    },
    "few_signals": {"cap_log_odds": 3.0},
    "causes": CAUSES,
}  # fmt: skip
