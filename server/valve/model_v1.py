"""Coefficients of the judgement, fitted on simulated presses; written by a command.

Made by `python -m server.valve.calibrate fit`; see there for how; proven by `server.valve.prove`.
"""

from typing import Any, Final

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
    "causes": {
        "sealing": {
            "swept_level.up_0.5": -0.33, "swept_level.up_1": -0.23, "swept_level.up_2": -1.08,
            "swept_level.up_4": -2.25, "swept_level.up_8": -0.2, "swept_level.up_100_2": 0.2,
            "swept_level.up_100_4": 0.89, "swept_level.size_0.08": -0.48, "swept_level.size_0.25":
            -0.65, "swept_level.size_0.4": -0.9, "swept_level.size_0.8": -0.31, "swept_level.clear":
            0.8, "swept_level.down": -0.55, "swept_level.far_down": -2.63, "swept_scatter.wider_0.05":
            -0.42, "swept_scatter.wider_0.25": -0.59, "swept_scatter.wider_0.6": -1.62,
            "swept_scatter.wider_20": -0.25, "swept_scatter.wider_long_0.05": 0.6,
            "swept_scatter.wider_long_0.3": 0.49, "swept_scatter.narrower": 0.15,
            "swept_scatter.between_0.1": -0.17, "swept_scatter.between_0.9": 0.78,
            "swept_scatter.between_alone": 0.29, "swept_scatter.bursts_0.3": -0.6,
            "swept_scatter.bursts_0.8": 0.3, "swept_scatter.bursts_1.6": 0.88,
            "swept_scatter.with_rise": -0.52, "swept_scatter.rise_alone": 0.74, "low_tail.falls_0.9":
            0.44, "low_tail.falls_4": 0.28, "low_tail.sided": -0.12, "low_tail.sided_long_1.5": -1.02,
            "low_tail.leans_4": -0.3, "low_tail.leans_12": -0.22, "low_tail.leans_long_2": 1.16,
            "low_tail.leans_long_8": 0.25, "low_tail.far_0.5": 0.45, "low_tail.far_1.5": -0.17,
            "low_tail.far_long_0.05": -0.64, "low_tail.far_long_0.2": -1.2, "low_tail.far_long_0.8":
            -0.31, "low_tail.leans_one_way": -0.52, "low_tail.skew_1": 0.27, "low_tail.skew_long_0.3":
            -0.43, "low_tail.skew_long_0.7": 0.45, "low_tail.skew_high": -0.16,
            "low_tail.loses_pressure_long_0.03": 0.22, "low_tail.loses_pressure_long_0.1": 0.98,
            "low_tail.gains_pressure_long_0.03": 0.16, "low_tail.gains_pressure_long_0.1": 0.88,
            "low_tail.far_long_alone": 0.77, "low_tail.gains_pressure": -0.6, "low_tail.skew_wide":
            0.31, "slow_drift.up_0.7": 0.23, "slow_drift.up_1.5": 0.23, "slow_drift.up_4": -0.37,
            "slow_drift.up_gradually": 1.52, "slow_drift.down": 0.57, "slow_drift.whole_1": -0.45,
            "slow_drift.whole_2": -0.46, "slow_drift.far_up_for_long": 0.15,
            "slow_drift.gradually_for_long": 0.4, "slow_drift.long_down": -0.38,
            "pressure_level.constant": 0.18, "pressure_level.much_lower": -0.22,
            "pressure_level.above_0.2": -0.29, "pressure_level.above_0.6": -0.1,
            "pressure_level.above_1.5": 0.69, "pressure_level.below_0.2": -0.35,
            "pressure_level.below_0.6": -0.16, "pressure_level.below_1.5": 0.9,
            "pressure_level.below_4": -0.76, "pressure_level.higher": 0.48,
            "pressure_level.more_than_leak_0.5": 0.2, "pressure_level.more_than_leak_1.5": -1.04,
            "pressure_level.thin_explains": 0.8, "pressure_level.fell_by_rise_0.5": 0.13,
            "pressure_level.fell_by_rise_1": 0.6, "pressure_level.steady_while_risen": -0.45,
            "pressure_level.steady_while_clear": -0.21, "pressure_level.transfer_sags": -0.29,
            "pressure_scatter.constant": -0.1, "pressure_scatter.wider": -0.57,
            "pressure_scatter.much_wider": -0.19, "fill_time.moved": -0.83, "recovery.constant": 0.41,
            "recovery.uneven": -1.31, "recovery.very_uneven": 1.04, "recovery.uneven_with_scatter":
            0.45, "recovery.even_with_scatter": 0.29, "recovery.slow_0.2": -0.5, "recovery.slow_0.7":
            -0.63, "recovery.slower": -3.3, "recovery.fast_0.7": 0.4, "recovery.uneven_by_0.05": -0.17,
            "recovery.uneven_by_0.12": 0.16, "metering.uneven": -1.44, "metering.explains_scatter":
            1.17, "metering.moves_along_long_0.1": -0.14, "metering.moves_against_long": 1.66,
            "metering.moves_along_wide": 0.25, "weight.heavier": -0.78, "weight.with_stroke": 0.28,
            "weight.explains_part": 0.29, "weight.light_4": 0.19, "weight.arrived_0.2": 0.3,
            "weight.arrived_0.4": 0.11, "weight.lighter": 0.32, "weight.lighter_not_risen": 0.33,
            "weight.not_in_part_1.5": 0.64, "gate_seal_drift.rises_0.3": 0.54,
            "gate_seal_drift.rises_1": -0.11, "gate_seal_drift.still_while_risen": 0.13,
            "gate_seal_drift.still_while_clear": 0.24, "gate_seal_drift.risen_both": 0.19,
            "known_change.recent": -0.77, "known_change.moved": -0.69, "shape.constant": 3.93,
            "shape.both_moved": 0.14, "shape.size_moved": -1.36, "shape.swept_down": -1.21,
            "shape.lot_moved": -0.96, "shape.setting_moved": -2.88, "shape.sudden": -0.25,
            "shape.cushion_scatter": -0.7, "swept_level.far_out_and_risen": 0.25,
            "swept_level.far_out_now_and_risen": 0.13, "swept_level.skewed_and_up": 0.11,
            "swept_level.skewed_and_up_100": 0.3, "swept_level.skewed_and_risen": 0.21,
            "swept_level.skewed_and_clear": -0.3, "low_tail.far_out_and_risen": 0.25,
            "low_tail.far_out_now_and_risen": 0.13, "low_tail.skewed_and_up": 0.11,
            "low_tail.skewed_and_up_100": 0.3, "low_tail.skewed_and_risen": 0.21,
            "low_tail.skewed_and_clear": -0.3, "low_tail.far_out_while_down": -0.42,
            "low_tail.far_out_and_skewed": 0.18, "low_tail.sided_and_skewed": 0.14,
            "low_tail.far_out_losing_pressure": 0.25, "pressure_scatter.wider_and_up": 0.22,
            "pressure_scatter.wider_from_block_to_block": -0.28,
            "pressure_level.sags_with_a_rise_alone": -0.11, "weight.light_and_far_out": 0.18,
            "weight.arrived_and_grown": 0.64, "metering.along_and_wide": 1.58,
            "metering.along_and_leaning": 0.48, "metering.uneven_and_far_out": 1.08
        },
        "erratic_closing": {
            "swept_level.constant": 0.38, "swept_level.up_0.5": -0.49, "swept_level.up_1": -0.57,
            "swept_level.up_4": -0.3, "swept_level.up_8": -0.41, "swept_level.up_16": -0.38,
            "swept_level.up_100_1": 0.17, "swept_level.up_100_2": 0.21, "swept_level.up_100_4": -0.37,
            "swept_level.size_0.08": -0.77, "swept_level.size_0.15": -0.26, "swept_level.size_0.25":
            -0.64, "swept_level.size_0.4": -0.55, "swept_level.size_0.8": -0.77, "swept_level.size_1.6":
            -1.4, "swept_level.size_3.2": -0.41, "swept_level.clear": -0.61, "swept_level.down": 0.65,
            "swept_scatter.constant": 0.38, "swept_scatter.wider_0.05": 0.13, "swept_scatter.wider_0.6":
            1.03, "swept_scatter.wider_20": -0.55, "swept_scatter.wider_long_0.05": 0.61,
            "swept_scatter.wider_long_0.3": 0.25, "swept_scatter.narrower": -0.86,
            "swept_scatter.between_0.1": -0.44, "swept_scatter.between_0.9": 0.36,
            "swept_scatter.between_alone": 0.31, "swept_scatter.bursts_0.3": 0.73,
            "swept_scatter.bursts_0.8": 0.43, "swept_scatter.bursts_1.6": -0.58,
            "swept_scatter.rise_alone": 0.2, "low_tail.constant": 0.38, "low_tail.falls_0.9": 1.35,
            "low_tail.falls_4": 1.65, "low_tail.sided": -0.34, "low_tail.sided_long_1.5": 1.35,
            "low_tail.leans_4": -0.29, "low_tail.leans_12": -0.34, "low_tail.leans_40": 0.13,
            "low_tail.leans_long_2": -0.15, "low_tail.leans_long_8": 0.29, "low_tail.far_0.5": -0.28,
            "low_tail.far_1.5": 0.37, "low_tail.far_long_0.05": 0.12, "low_tail.far_long_0.2": 0.31,
            "low_tail.far_long_0.8": 1.08, "low_tail.leans_one_way": -0.61, "low_tail.skew_0.5": 0.11,
            "low_tail.skew_1": 0.21, "low_tail.skew_long_0.1": 0.62, "low_tail.skew_long_0.3": 0.36,
            "low_tail.skew_long_0.7": 0.73, "low_tail.skew_high": -0.35,
            "low_tail.loses_pressure_long_0.03": 0.13, "low_tail.loses_pressure_long_0.1": 0.15,
            "low_tail.loses_pressure_long_0.3": 0.18, "low_tail.far_long_alone": -0.43,
            "low_tail.loses_pressure": 0.16, "low_tail.gains_pressure": 0.17, "low_tail.skew_wide":
            1.03, "slow_drift.up_0.7": 0.29, "slow_drift.up_1.5": 0.56, "slow_drift.up_4": 0.15,
            "slow_drift.up_gradually": 0.81, "slow_drift.down": -0.12, "slow_drift.whole_0.5": -0.78,
            "slow_drift.whole_1": -0.42, "slow_drift.whole_2": -0.44, "slow_drift.whole_5": -0.22,
            "slow_drift.up_for_long": 0.57, "slow_drift.far_up_for_long": -0.27,
            "slow_drift.gradually_for_long": 0.48, "not_shutting.leapt_just_now": 0.11,
            "not_shutting.gone_just_now": 0.2, "not_shutting.leaps_by_2.5": -0.22,
            "not_shutting.leaps_by_4": 0.12, "not_shutting.leaps_by_6": 0.25,
            "not_shutting.cushion_gone": 0.12, "not_shutting.at_bottom_now": -0.22,
            "pressure_level.constant": 0.15, "pressure_level.lower": 0.55, "pressure_level.much_lower":
            -0.13, "pressure_level.above_0.2": 0.34, "pressure_level.above_0.6": -0.58,
            "pressure_level.above_1.5": -0.1, "pressure_level.below_0.2": -0.19,
            "pressure_level.below_0.6": 0.63, "pressure_level.below_1.5": -0.16,
            "pressure_level.higher": -0.23, "pressure_level.more_than_leak_0.5": 0.23,
            "pressure_level.more_than_leak_1.5": -0.16, "pressure_level.fell_by_rise_0.15": -0.24,
            "pressure_level.fell_by_rise_1": 0.11, "pressure_level.steady_while_risen": -0.11,
            "pressure_level.steady_while_clear": -0.19, "pressure_level.transfer_sags": 0.11,
            "pressure_scatter.wider": 1.37, "pressure_scatter.much_wider": 0.16, "recovery.uneven":
            -0.29, "recovery.uneven_with_scatter": -0.21, "recovery.even_with_scatter": -0.15,
            "recovery.slow_0.2": -0.11, "recovery.slow_0.7": 0.1, "recovery.fast_0.2": 0.39,
            "recovery.fast_0.7": 0.11, "recovery.uneven_by_0.05": 0.12, "metering.constant": 0.38,
            "metering.uneven": -0.27, "metering.explains_scatter": -0.16,
            "metering.moves_along_long_0.1": -0.55, "metering.moves_against_long": -0.5,
            "metering.moves_along": 0.11, "metering.moves_along_wide": -0.32, "weight.heavier": 0.4,
            "weight.explains_rise": 0.13, "weight.light_0.5": -0.5, "weight.light_1": -0.26,
            "weight.light_2": -0.33, "weight.light_4": -0.12, "weight.arrived_0.05": 0.11,
            "weight.arrived_0.4": 0.15, "weight.lighter": -0.21, "weight.not_in_part_1.5": -0.22,
            "weight.not_in_part_while_clear": -0.2, "weight.uneven": 0.67, "gate_seal_drift.constant":
            0.11, "gate_seal_drift.rises_0.3": -0.75, "gate_seal_drift.rises_1": -0.28,
            "gate_seal_drift.rises_2": -0.12, "gate_seal_drift.still_while_risen": 0.41,
            "gate_seal_drift.still_while_clear": 0.2, "known_change.recent": -0.11, "shape.constant":
            0.38, "shape.both_moved": -0.16, "shape.lot_moved": -0.22, "shape.sudden": 0.91,
            "shape.cushion_scatter": 0.7, "swept_level.far_out_and_up": 0.4,
            "swept_level.far_out_and_risen": 0.26, "swept_level.skewed_and_up": -0.56,
            "swept_level.skewed_and_up_100": 0.18, "low_tail.far_out_and_up": 0.4,
            "low_tail.far_out_and_risen": 0.26, "low_tail.skewed_and_up": -0.56,
            "low_tail.skewed_and_up_100": 0.18, "low_tail.far_out_and_skewed": 0.42,
            "low_tail.sided_and_skewed": 0.45, "low_tail.sided_losing_pressure": 0.14,
            "low_tail.far_out_losing_pressure": -0.49, "pressure_scatter.wider_and_up": 0.18,
            "pressure_scatter.wider_and_risen": 0.45, "pressure_scatter.wider_from_block_to_block": 0.2,
            "pressure_level.moved_and_wider": -0.25, "pressure_level.fell_and_not_in_part": -0.23,
            "pressure_level.fell_and_far_out": -0.27, "recovery.even_and_risen": 0.4,
            "recovery.even_and_up": 0.28, "recovery.slow_and_risen": 0.27, "weight.light_and_far_out":
            0.1, "weight.light_and_moved": 0.11, "weight.arrived_and_grown": 0.16,
            "metering.along_and_wide": -0.38, "metering.along_and_leaning": 0.13
        },
        "steady_leak": {
            "swept_level.up_0.5": 0.76, "swept_level.up_1": 0.59, "swept_level.up_2": 0.48,
            "swept_level.up_4": 0.72, "swept_level.up_8": -0.55, "swept_level.up_100_2": 0.48,
            "swept_level.up_100_4": 0.6, "swept_level.size_0.08": 0.95, "swept_level.size_0.15": 0.11,
            "swept_level.size_0.25": 0.37, "swept_level.size_0.4": -0.26, "swept_level.size_0.8": -0.1,
            "swept_level.size_1.6": -0.13, "swept_level.size_3.2": 0.35, "swept_level.clear": 0.25,
            "swept_level.down": -0.84, "swept_scatter.wider_0.05": 0.35, "swept_scatter.wider_0.25":
            0.64, "swept_scatter.wider_20": -0.42, "swept_scatter.wider_long_0.3": -0.66,
            "swept_scatter.narrower": 0.5, "swept_scatter.between_0.4": 0.27,
            "swept_scatter.between_0.9": 0.62, "swept_scatter.between_alone": 0.1,
            "swept_scatter.bursts_0.3": -0.31, "swept_scatter.bursts_0.8": -0.32,
            "swept_scatter.with_rise": 0.13, "swept_scatter.rise_alone": -0.51, "low_tail.falls_0.9":
            0.33, "low_tail.falls_4": 0.33, "low_tail.sided": 0.61, "low_tail.sided_long_1.5": -0.6,
            "low_tail.leans_4": 0.22, "low_tail.leans_12": 0.24, "low_tail.leans_40": -0.14,
            "low_tail.leans_long_2": 0.17, "low_tail.leans_long_8": -0.53, "low_tail.far_0.5": -0.23,
            "low_tail.far_1.5": -0.25, "low_tail.far_long_0.05": -0.71, "low_tail.far_long_0.2": -0.49,
            "low_tail.far_long_0.8": -1.17, "low_tail.leans_one_way": 0.23, "low_tail.skew_0.2": 0.27,
            "low_tail.skew_0.5": -0.48, "low_tail.skew_long_0.1": -0.39, "low_tail.skew_long_0.3":
            -0.51, "low_tail.skew_high": -0.23, "low_tail.loses_pressure_long_0.03": -0.58,
            "low_tail.loses_pressure_long_0.1": -0.52, "low_tail.loses_pressure_long_0.3": -0.46,
            "low_tail.gains_pressure_long_0.03": 0.31, "low_tail.far_long_alone": 0.42,
            "low_tail.loses_pressure": -0.92, "low_tail.gains_pressure": -0.12, "low_tail.skew_wide":
            -0.96, "slow_drift.up_0.7": -0.15, "slow_drift.up_1.5": 0.26, "slow_drift.up_gradually":
            0.33, "slow_drift.whole_0.5": 0.15, "slow_drift.whole_2": 0.21,
            "slow_drift.far_up_for_long": 0.36, "slow_drift.gradually_for_long": 0.84,
            "not_shutting.leapt_just_now": -0.3, "not_shutting.leaps_by_2.5": -1.16,
            "not_shutting.leaps_by_4": 0.57, "not_shutting.leaps_by_6": -0.23, "not_shutting.leap":
            1.64, "not_shutting.leap_20": 0.21, "not_shutting.cushion_gone": -0.22,
            "not_shutting.at_bottom": 0.31, "not_shutting.at_bottom_now": 0.48, "pressure_level.lower":
            -0.34, "pressure_level.much_lower": -0.33, "pressure_level.above_0.2": -0.35,
            "pressure_level.above_0.6": 0.65, "pressure_level.above_1.5": 0.14,
            "pressure_level.below_0.2": -0.12, "pressure_level.below_0.6": -0.36,
            "pressure_level.below_1.5": 0.19, "pressure_level.below_4": -0.69, "pressure_level.higher":
            0.28, "pressure_level.more_than_leak_0.5": 0.11, "pressure_level.more_than_leak_1.5": -0.11,
            "pressure_level.fell_by_rise_0.15": -0.13, "pressure_level.fell_by_rise_0.5": 0.58,
            "pressure_level.fell_by_rise_1": -0.21, "pressure_level.steady_while_risen": 0.39,
            "pressure_level.steady_while_clear": 0.33, "pressure_level.transfer_sags": 0.48,
            "pressure_scatter.constant": 0.49, "pressure_scatter.wider": -1.38,
            "pressure_scatter.much_wider": -0.23, "fill_time.constant": 0.12, "fill_time.moved": 0.11,
            "recovery.constant": -0.21, "recovery.uneven": -0.51, "recovery.very_uneven": -0.16,
            "recovery.uneven_with_scatter": -0.32, "recovery.even_with_scatter": 0.39,
            "recovery.slow_0.7": -0.35, "recovery.fast_0.2": 0.47, "recovery.fast_0.7": 1.31,
            "recovery.faster": 0.28, "recovery.uneven_by_0.12": 0.16, "metering.uneven": -0.13,
            "metering.explains_scatter": 0.5, "metering.moves_along_long_0.1": 0.43,
            "metering.moves_against_long": 0.18, "metering.moves_along": -0.36,
            "metering.moves_along_wide": -0.45, "weight.constant": -0.31, "weight.heavier": -0.39,
            "weight.explains_rise": -0.12, "weight.light_0.5": 0.72, "weight.light_1": 0.33,
            "weight.light_2": 0.27, "weight.light_4": -0.56, "weight.arrived_0.4": -0.15,
            "weight.not_in_part_4": 0.17, "weight.uneven": -0.28, "gate_seal_drift.constant": -0.13,
            "gate_seal_drift.rises_0.3": 1.39, "gate_seal_drift.rises_1": 0.99,
            "gate_seal_drift.rises_2": 0.75, "gate_seal_drift.rises_4": 0.16, "gate_seal_drift.rises_8":
            0.11, "gate_seal_drift.still_while_risen": -0.71, "gate_seal_drift.still_while_clear":
            -0.54, "gate_seal_drift.risen_both": 0.38, "shape.constant": 0.21, "shape.both_moved": 0.15,
            "shape.lot_moved": 0.21, "shape.sudden": -0.83, "shape.cushion_scatter": -0.3,
            "swept_level.far_out_now_and_risen": 0.25, "swept_level.skewed_and_up": 0.46,
            "swept_level.skewed_and_risen": -0.25, "swept_level.skewed_and_clear": 0.12,
            "low_tail.far_out_now_and_risen": 0.25, "low_tail.skewed_and_up": 0.46,
            "low_tail.skewed_and_risen": -0.25, "low_tail.skewed_and_clear": 0.12,
            "low_tail.far_out_and_skewed": -0.26, "low_tail.sided_and_skewed": -0.43,
            "low_tail.far_out_losing_pressure": 0.34, "pressure_scatter.wider_and_up": -0.16,
            "pressure_scatter.wider_and_risen": -0.43, "pressure_scatter.wider_from_block_to_block":
            -0.28, "pressure_level.sags_with_a_rise_alone": 0.68, "pressure_level.fell_and_far_out":
            0.51, "recovery.slow_and_risen": -0.45, "recovery.even_and_not_in_part": 0.25,
            "weight.not_in_part_while_all_is_steady": 0.24, "weight.much_not_in_part": 0.14,
            "weight.arrived_and_grown": -0.15, "metering.along_and_wide": 0.4,
            "metering.along_and_leaning": -0.18
        },
        "not_closing": {
            "swept_level.constant": -0.29, "swept_level.up_0.5": -0.27, "swept_level.up_2": 0.44,
            "swept_level.up_4": 0.78, "swept_level.up_8": 0.96, "swept_level.up_16": 0.29,
            "swept_level.up_100_1": -0.24, "swept_level.up_100_2": -0.69, "swept_level.up_100_4": -0.24,
            "swept_level.size_0.08": -0.18, "swept_level.size_0.15": 0.15, "swept_level.size_0.25":
            0.28, "swept_level.size_0.4": 0.81, "swept_level.size_0.8": 0.68, "swept_level.size_1.6":
            0.53, "swept_level.clear": 0.37, "swept_level.down": 0.19, "swept_scatter.constant": -0.29,
            "swept_scatter.wider_0.05": -0.48, "swept_scatter.wider_0.6": 0.54,
            "swept_scatter.wider_20": 0.97, "swept_scatter.wider_long_0.05": -0.52,
            "swept_scatter.wider_long_0.3": 0.41, "swept_scatter.narrower": 0.35,
            "swept_scatter.between_0.1": 0.41, "swept_scatter.between_0.4": -0.21,
            "swept_scatter.between_0.9": -0.98, "swept_scatter.between_alone": -0.41,
            "swept_scatter.bursts_0.3": -0.43, "swept_scatter.bursts_0.8": -0.11,
            "swept_scatter.bursts_1.6": 0.5, "swept_scatter.with_rise": -0.16,
            "swept_scatter.rise_alone": 0.31, "low_tail.constant": -0.29, "low_tail.falls_0.9": 0.32,
            "low_tail.sided": -0.27, "low_tail.sided_long_1.5": -0.76, "low_tail.leans_long_8": 0.24,
            "low_tail.far_0.5": 0.51, "low_tail.far_1.5": -0.13, "low_tail.far_long_0.05": 0.59,
            "low_tail.far_long_0.2": 0.18, "low_tail.leans_one_way": 0.38, "low_tail.skew_0.2": -0.37,
            "low_tail.skew_0.5": 0.37, "low_tail.skew_1": -0.18, "low_tail.skew_long_0.1": -0.23,
            "low_tail.skew_long_0.3": 0.15, "low_tail.skew_long_0.7": -0.83, "low_tail.skew_high": 0.57,
            "low_tail.loses_pressure_long_0.03": 0.45, "low_tail.loses_pressure_long_0.1": 0.37,
            "low_tail.loses_pressure_long_0.3": 0.28, "low_tail.gains_pressure_long_0.03": -0.28,
            "low_tail.loses_pressure": 0.76, "slow_drift.up_0.7": -0.13, "slow_drift.up_1.5": -0.22,
            "slow_drift.up_4": -0.21, "slow_drift.up_gradually": -1.14, "slow_drift.down": 0.21,
            "slow_drift.whole_0.5": 0.63, "slow_drift.whole_1": 0.38, "slow_drift.whole_2": 0.22,
            "slow_drift.whole_5": 0.28, "slow_drift.up_for_long": -0.61,
            "slow_drift.gradually_for_long": -1.32, "not_shutting.leapt_just_now": 0.19,
            "not_shutting.gone_just_now": -0.21, "not_shutting.leaps_by_2.5": 1.38,
            "not_shutting.leaps_by_4": -0.68, "not_shutting.leap": 5.32, "not_shutting.leap_20": 1.87,
            "not_shutting.cushion_gone": 0.11, "not_shutting.at_bottom": 1.25,
            "not_shutting.at_bottom_now": 1.25, "pressure_level.constant": -0.18,
            "pressure_level.lower": -0.21, "pressure_level.much_lower": 0.46,
            "pressure_level.below_0.2": 0.31, "pressure_level.below_0.6": -0.27,
            "pressure_level.below_4": 0.72, "pressure_level.more_than_leak_0.5": -0.33,
            "pressure_level.more_than_leak_1.5": 0.27, "pressure_level.fell_by_rise_0.15": 0.37,
            "pressure_level.fell_by_rise_0.5": -0.62, "pressure_level.steady_while_risen": -0.28,
            "pressure_level.steady_while_clear": -0.14, "pressure_level.transfer_sags": -0.59,
            "pressure_scatter.constant": -0.43, "fill_time.constant": -0.16, "fill_time.moved": -0.11,
            "recovery.constant": 0.28, "recovery.uneven": 0.8, "recovery.very_uneven": 0.22,
            "recovery.uneven_with_scatter": 0.53, "recovery.even_with_scatter": -0.24,
            "recovery.slow_0.2": 0.16, "recovery.slow_0.7": 0.25, "recovery.fast_0.2": -0.85,
            "recovery.fast_0.7": -1.42, "recovery.faster": -0.28, "recovery.uneven_by_0.12": -0.15,
            "metering.constant": -0.29, "metering.uneven": 0.4, "metering.explains_scatter": -0.34,
            "metering.moves_along_long_0.1": 0.12, "metering.moves_against_long": 0.32,
            "metering.moves_along": 0.25, "metering.moves_along_wide": 0.77, "weight.constant": 0.29,
            "weight.light_0.5": -0.22, "weight.light_4": 0.67, "weight.lighter": 0.19,
            "weight.not_in_part_1.5": 0.19, "weight.not_in_part_4": -0.18,
            "weight.not_in_part_while_clear": 0.3, "weight.uneven": -0.39, "gate_seal_drift.rises_0.3":
            -0.64, "gate_seal_drift.rises_1": -0.21, "gate_seal_drift.rises_2": -0.13,
            "gate_seal_drift.rises_4": -0.12, "gate_seal_drift.rises_8": -0.1,
            "gate_seal_drift.still_while_risen": 0.3, "gate_seal_drift.still_while_clear": 0.34,
            "gate_seal_drift.risen_both": -0.3, "shape.constant": -2.29, "shape.cushion_scatter": -0.4,
            "swept_level.far_out_and_up": -0.44, "swept_level.far_out_and_risen": -0.18,
            "swept_level.far_out_now_and_risen": -0.22, "swept_level.skewed_and_up_100": -0.17,
            "swept_level.skewed_and_risen": 0.26, "swept_level.skewed_and_clear": -0.15,
            "low_tail.far_out_and_up": -0.44, "low_tail.far_out_and_risen": -0.18,
            "low_tail.far_out_now_and_risen": -0.22, "low_tail.skewed_and_up_100": -0.17,
            "low_tail.skewed_and_risen": 0.26, "low_tail.skewed_and_clear": -0.15,
            "low_tail.far_out_and_skewed": -0.16, "low_tail.sided_losing_pressure": -0.16,
            "low_tail.far_out_losing_pressure": 0.15, "pressure_level.moved_and_wider": 0.35,
            "pressure_level.sags_with_a_rise_alone": -0.68, "pressure_level.fell_and_not_in_part": 0.19,
            "pressure_level.fell_and_far_out": -0.24, "recovery.even_and_risen": -0.33,
            "recovery.even_and_up": -0.31, "recovery.slow_and_risen": 0.18,
            "recovery.even_and_not_in_part": -0.3, "weight.light_and_far_out": -0.19,
            "weight.not_in_part_while_all_is_steady": -0.25, "weight.much_not_in_part": -0.15
        },
        "uneven_melt": {
            "swept_level.up_1": -0.39, "swept_level.up_2": -0.55, "swept_level.up_8": -0.45,
            "swept_level.up_16": -0.41, "swept_level.up_100_1": -0.33, "swept_level.up_100_2": -0.52,
            "swept_level.up_100_4": -0.6, "swept_level.size_0.08": 0.62, "swept_level.size_0.15": -0.13,
            "swept_level.size_0.25": 0.32, "swept_level.size_0.4": 0.49, "swept_level.size_0.8": -0.65,
            "swept_level.size_1.6": -0.24, "swept_level.clear": -0.94, "swept_level.down": -1.12,
            "swept_level.far_down": -1.0, "swept_scatter.wider_0.05": 0.7, "swept_scatter.wider_0.25":
            1.82, "swept_scatter.wider_0.6": 0.45, "swept_scatter.wider_20": 0.99,
            "swept_scatter.wider_long_0.3": 0.45, "swept_scatter.narrower": -1.63,
            "swept_scatter.between_0.1": 0.57, "swept_scatter.between_0.4": -0.42,
            "swept_scatter.between_0.9": 0.5, "swept_scatter.between_alone": -1.08,
            "swept_scatter.bursts_0.3": 1.27, "swept_scatter.bursts_0.8": -0.36,
            "swept_scatter.bursts_1.6": 0.14, "swept_scatter.with_rise": 0.56,
            "swept_scatter.rise_alone": -0.78, "low_tail.falls_0.9": 0.72, "low_tail.falls_4": -0.6,
            "low_tail.sided": 0.14, "low_tail.sided_long_1.5": 1.12, "low_tail.sided_long_4": 0.16,
            "low_tail.leans_4": 0.19, "low_tail.leans_12": -1.05, "low_tail.leans_40": -0.35,
            "low_tail.leans_long_2": -0.48, "low_tail.leans_long_8": -1.21, "low_tail.far_0.5": -1.2,
            "low_tail.far_1.5": 0.55, "low_tail.far_long_0.05": 1.88, "low_tail.far_long_0.2": 1.6,
            "low_tail.far_long_0.8": 1.3, "low_tail.leans_one_way": -0.11, "low_tail.skew_0.2": -0.14,
            "low_tail.skew_0.5": 0.4, "low_tail.skew_1": -0.17, "low_tail.skew_long_0.1": 0.99,
            "low_tail.skew_long_0.3": 0.21, "low_tail.skew_long_0.7": -0.2,
            "low_tail.loses_pressure_long_0.1": -0.31, "low_tail.gains_pressure_long_0.03": 0.78,
            "low_tail.gains_pressure_long_0.1": 1.19, "low_tail.far_long_alone": -1.73,
            "low_tail.loses_pressure": -0.36, "low_tail.gains_pressure": 0.86, "low_tail.skew_wide":
            0.38, "slow_drift.up_0.7": 0.57, "slow_drift.up_1.5": -0.22, "slow_drift.up_gradually":
            -0.49, "slow_drift.whole_0.5": 0.17, "slow_drift.whole_1": 0.13, "slow_drift.whole_2":
            -0.28, "slow_drift.whole_5": -0.32, "slow_drift.far_up_for_long": -0.26,
            "slow_drift.gradually_for_long": -0.14, "slow_drift.long_down": -0.45,
            "pressure_level.much_lower": 0.23, "pressure_level.above_0.6": 0.29,
            "pressure_level.above_1.5": -0.35, "pressure_level.below_0.6": -0.37,
            "pressure_level.below_1.5": 0.55, "pressure_level.higher": -0.18,
            "pressure_level.more_than_leak_0.5": -0.15, "pressure_level.more_than_leak_1.5": 0.16,
            "pressure_level.thin_explains": 0.15, "pressure_level.fell_by_rise_0.15": -0.21,
            "pressure_level.fell_by_rise_1": 0.12, "pressure_level.steady_while_risen": -0.23,
            "pressure_level.steady_while_clear": -0.24, "pressure_level.transfer_sags": -0.4,
            "pressure_scatter.constant": -0.65, "pressure_scatter.wider": 2.85,
            "pressure_scatter.much_wider": 0.48, "fill_time.constant": 0.33, "fill_time.moved": -0.39,
            "fill_time.scatter": 0.16, "recovery.constant": -0.28, "recovery.uneven": 1.76,
            "recovery.very_uneven": 0.89, "recovery.uneven_with_scatter": 0.43,
            "recovery.even_with_scatter": -0.92, "recovery.slow_0.2": 0.11, "recovery.slow_0.7": -0.75,
            "recovery.fast_0.2": 0.48, "recovery.fast_0.7": 0.48, "recovery.uneven_by_0.12": 0.24,
            "metering.uneven": 0.28, "metering.explains_scatter": -0.13,
            "metering.moves_along_long_0.03": 0.24, "metering.moves_along_long_0.1": 0.45,
            "metering.moves_along": 0.88, "metering.moves_along_wide": 0.17, "weight.constant": 0.3,
            "weight.heavier": -0.73, "weight.light_1": 0.11, "weight.light_2": 0.25,
            "weight.arrived_0.05": -0.26, "weight.uneven": 0.53, "gate_seal_drift.constant": -0.13,
            "gate_seal_drift.rises_0.3": -0.25, "known_change.recent": -0.67, "shape.both_moved": -0.31,
            "shape.size_moved": -0.44, "shape.swept_down": -0.54, "shape.lot_moved": 0.17,
            "shape.setting_moved": -0.36, "shape.sudden": 0.23, "shape.cushion_scatter": 1.03,
            "swept_level.far_out_now_and_risen": -0.13, "swept_level.skewed_and_clear": -0.12,
            "low_tail.far_out_now_and_risen": -0.13, "low_tail.skewed_and_clear": -0.12,
            "low_tail.far_out_while_down": -0.55, "low_tail.far_out_losing_pressure": -0.5,
            "pressure_scatter.wider_and_up": 0.18, "pressure_scatter.wider_and_risen": 0.49,
            "pressure_scatter.wider_from_block_to_block": 0.21, "pressure_level.moved_and_wider": -0.14,
            "recovery.even_and_up": -0.19, "metering.along_and_wide": -0.72,
            "metering.along_and_leaning": -1.23, "metering.uneven_and_far_out": 0.48,
            "gate_seal_drift.still_and_skewed": 0.17
        },
        "metering": {
            "swept_level.constant": 0.15, "swept_level.up_0.5": 0.16, "swept_level.up_1": -0.44,
            "swept_level.up_2": -0.75, "swept_level.up_4": -0.19, "swept_level.up_100_1": 0.53,
            "swept_level.up_100_2": -0.48, "swept_level.up_100_4": -0.12, "swept_level.size_0.08":
            -0.54, "swept_level.size_0.15": 0.23, "swept_level.size_0.25": -0.79,
            "swept_level.size_0.4": -0.32, "swept_level.clear": -0.12, "swept_level.down": -1.02,
            "swept_level.far_down": -0.31, "swept_scatter.constant": 0.15, "swept_scatter.wider_0.25":
            0.35, "swept_scatter.wider_long_0.3": 0.14, "swept_scatter.narrower": 0.99,
            "swept_scatter.between_0.1": -0.66, "swept_scatter.between_0.4": -0.75,
            "swept_scatter.between_0.9": -0.8, "swept_scatter.between_alone": 0.67,
            "swept_scatter.bursts_0.3": 0.24, "swept_scatter.bursts_0.8": -0.87,
            "swept_scatter.bursts_1.6": -0.2, "swept_scatter.with_rise": -0.13, "low_tail.constant":
            0.15, "low_tail.falls_0.9": 0.34, "low_tail.falls_4": 0.88, "low_tail.sided": 0.43,
            "low_tail.sided_long_1.5": 0.89, "low_tail.leans_12": 0.86, "low_tail.leans_40": 0.36,
            "low_tail.leans_long_2": 0.13, "low_tail.leans_long_8": 1.42, "low_tail.far_0.5": -0.32,
            "low_tail.far_1.5": -0.13, "low_tail.far_long_0.05": -0.76, "low_tail.far_long_0.2": -0.29,
            "low_tail.far_long_0.8": -0.11, "low_tail.leans_one_way": 0.11, "low_tail.skew_0.2": -0.52,
            "low_tail.skew_1": 0.2, "low_tail.skew_long_0.1": -0.43, "low_tail.skew_long_0.3": -0.16,
            "low_tail.skew_long_0.7": 0.26, "low_tail.skew_high": 0.49,
            "low_tail.loses_pressure_long_0.03": -0.28, "low_tail.loses_pressure_long_0.1": -0.44,
            "low_tail.far_long_alone": -0.23, "low_tail.skew_wide": -0.25, "slow_drift.up_0.7": -0.3,
            "slow_drift.up_1.5": -0.68, "slow_drift.down": -1.24, "slow_drift.whole_0.5": -0.68,
            "slow_drift.whole_1": -0.21, "slow_drift.long_down": -0.38, "pressure_level.constant": 0.14,
            "pressure_level.much_lower": -0.21, "pressure_level.above_0.2": 0.18,
            "pressure_level.above_0.6": -0.27, "pressure_level.above_1.5": 0.75,
            "pressure_level.below_0.6": 0.22, "pressure_level.below_1.5": -0.38,
            "pressure_level.higher": 0.48, "pressure_level.more_than_leak_0.5": -0.26,
            "pressure_level.more_than_leak_1.5": 0.35, "pressure_level.thin_explains": 0.23,
            "pressure_level.fell_by_rise_0.15": 0.23, "pressure_level.fell_by_rise_0.5": 0.23,
            "pressure_level.fell_by_rise_1": 0.27, "pressure_level.transfer_sags": -0.13,
            "pressure_scatter.constant": 0.19, "pressure_scatter.wider": -0.49, "fill_time.constant":
            0.12, "fill_time.moved": -0.43, "recovery.constant": -0.82, "recovery.uneven": 1.69,
            "recovery.very_uneven": -0.67, "recovery.uneven_with_scatter": 0.15,
            "recovery.even_with_scatter": -0.13, "recovery.slow_0.2": 0.12, "recovery.slow_0.7": 0.48,
            "recovery.slower": -0.26, "recovery.fast_0.2": 0.35, "recovery.fast_0.7": -0.28,
            "recovery.uneven_by_0.05": 0.73, "recovery.uneven_by_0.12": -0.15, "metering.constant":
            0.15, "metering.uneven": 5.57, "metering.explains_scatter": 0.77,
            "metering.moves_along_long_0.1": 1.03, "metering.moves_against_long": -0.22,
            "metering.moves_along": -1.81, "metering.moves_along_wide": -0.32, "weight.explains_rise":
            0.2, "weight.explains_part": 0.28, "weight.light_0.5": -0.18, "weight.light_1": -0.35,
            "weight.light_2": 0.5, "weight.light_4": -0.19, "weight.arrived_0.05": 0.26,
            "weight.arrived_0.2": 0.28, "weight.arrived_0.4": 0.25, "weight.lighter": 0.16,
            "weight.lighter_not_risen": 0.19, "weight.uneven": -0.5, "gate_seal_drift.constant": 0.14,
            "gate_seal_drift.rises_0.3": -0.54, "known_change.recent": -1.11, "known_change.moved":
            -0.12, "shape.constant": 0.15, "shape.both_moved": -0.15, "shape.size_moved": -0.45,
            "shape.swept_down": -0.31, "shape.lot_moved": -0.5, "shape.setting_moved": -0.25,
            "shape.sudden": -0.1, "shape.cushion_scatter": 2.09,
            "pressure_scatter.wider_from_block_to_block": -0.17, "metering.along_and_wide": -1.14,
            "metering.along_and_leaning": -0.22, "metering.uneven_and_far_out": -0.38
        },
        "worn_screw": {
            "swept_level.constant": 0.49, "swept_level.up_0.5": -0.25, "swept_level.up_1": 0.4,
            "swept_level.up_2": -0.47, "swept_level.up_4": -0.71, "swept_level.up_8": -0.18,
            "swept_level.up_100_1": 0.25, "swept_level.up_100_2": 0.73, "swept_level.up_100_4": -0.54,
            "swept_level.size_0.08": -0.59, "swept_level.size_0.15": -0.43, "swept_level.size_0.25":
            -0.35, "swept_level.size_0.4": -0.99, "swept_level.size_0.8": -0.21, "swept_level.clear":
            0.51, "swept_level.down": -1.11, "swept_level.far_down": -1.17, "swept_scatter.constant":
            0.48, "swept_scatter.wider_0.25": -0.29, "swept_scatter.wider_0.6": -0.37,
            "swept_scatter.wider_20": -0.31, "swept_scatter.wider_long_0.05": -0.17,
            "swept_scatter.narrower": -0.58, "swept_scatter.between_0.1": 0.13,
            "swept_scatter.between_0.4": 0.94, "swept_scatter.between_alone": -0.38,
            "swept_scatter.bursts_0.3": 0.15, "swept_scatter.bursts_1.6": 0.17,
            "swept_scatter.rise_alone": 0.11, "low_tail.constant": 0.48, "low_tail.falls_0.9": -1.14,
            "low_tail.sided": -0.37, "low_tail.sided_long_1.5": -1.6, "low_tail.leans_4": 0.28,
            "low_tail.leans_12": 0.47, "low_tail.leans_long_2": 0.3, "low_tail.leans_long_8": -0.15,
            "low_tail.far_long_0.05": -1.18, "low_tail.far_long_0.2": -0.29, "low_tail.leans_one_way":
            0.27, "low_tail.skew_0.2": 0.42, "low_tail.skew_0.5": -0.23, "low_tail.skew_1": 0.29,
            "low_tail.skew_long_0.1": -0.41, "low_tail.skew_long_0.3": -0.38, "low_tail.skew_long_0.7":
            -0.78, "low_tail.skew_high": -0.32, "low_tail.loses_pressure_long_0.03": -0.72,
            "low_tail.loses_pressure_long_0.1": -0.13, "low_tail.far_long_alone": -0.49,
            "low_tail.skew_wide": 0.51, "slow_drift.up_0.7": -0.2, "slow_drift.up_1.5": 0.58,
            "slow_drift.up_4": -0.28, "slow_drift.up_gradually": 0.47, "slow_drift.down": 0.39,
            "slow_drift.whole_1": -0.31, "slow_drift.whole_2": -0.52, "slow_drift.up_for_long": 0.19,
            "slow_drift.far_up_for_long": -0.11, "slow_drift.long_down": -0.83,
            "pressure_level.constant": -0.22, "pressure_level.lower": 0.14, "pressure_level.much_lower":
            -0.12, "pressure_level.above_0.2": -0.24, "pressure_level.above_0.6": -0.23,
            "pressure_level.above_1.5": -0.5, "pressure_level.below_0.6": 0.91,
            "pressure_level.below_1.5": -0.15, "pressure_level.below_4": -0.22, "pressure_level.higher":
            -0.43, "pressure_level.more_than_leak_0.5": 0.28, "pressure_level.more_than_leak_1.5": -0.6,
            "pressure_level.fell_by_rise_1": 0.25, "pressure_level.steady_while_risen": -0.27,
            "pressure_level.steady_while_clear": -0.21, "pressure_level.transfer_sags": -0.31,
            "pressure_scatter.constant": 0.21, "pressure_scatter.wider": -0.76, "fill_time.constant":
            0.18, "recovery.constant": -1.64, "recovery.uneven": 0.17, "recovery.very_uneven": 0.92,
            "recovery.uneven_with_scatter": -0.5, "recovery.even_with_scatter": -0.54,
            "recovery.slow_0.2": 1.69, "recovery.slow_0.7": 2.68, "recovery.slower": 3.97,
            "recovery.fast_0.2": -0.44, "recovery.fast_0.7": -0.17, "recovery.uneven_by_0.05": 0.37,
            "recovery.uneven_by_0.12": 0.12, "metering.constant": 0.48, "metering.uneven": -1.08,
            "metering.explains_scatter": -0.73, "metering.moves_along_long_0.03": -0.14,
            "metering.moves_against_long": -1.95, "metering.moves_along": -0.23, "weight.with_stroke":
            0.11, "weight.light_0.5": 0.18, "weight.light_1": -0.59, "weight.light_2": -0.19,
            "weight.light_4": -0.43, "weight.arrived_0.05": 0.45, "weight.lighter": -0.38,
            "weight.lighter_not_risen": -0.34, "weight.uneven": 0.64, "gate_seal_drift.constant": -0.19,
            "gate_seal_drift.still_while_risen": -0.2, "gate_seal_drift.still_while_clear": -0.17,
            "known_change.recent": -0.66, "known_change.moved": -0.56, "shape.constant": 0.49,
            "shape.both_moved": -0.55, "shape.size_moved": -0.95, "shape.swept_down": -0.53,
            "shape.lot_moved": -2.5, "shape.setting_moved": -0.75, "shape.sudden": -0.11,
            "swept_level.far_out_and_up": -0.17, "swept_level.far_out_and_risen": -0.11,
            "swept_level.skewed_and_up": -0.16, "swept_level.skewed_and_up_100": -0.1,
            "swept_level.skewed_and_risen": -0.54, "swept_level.skewed_and_clear": 0.18,
            "low_tail.far_out_and_up": -0.17, "low_tail.far_out_and_risen": -0.11,
            "low_tail.skewed_and_up": -0.16, "low_tail.skewed_and_up_100": -0.1,
            "low_tail.skewed_and_risen": -0.54, "low_tail.skewed_and_clear": 0.18,
            "pressure_scatter.wider_and_up": -0.16, "pressure_scatter.wider_and_risen": -0.14,
            "pressure_level.moved_and_wider": 0.37, "pressure_level.fell_and_not_in_part": 0.19,
            "weight.arrived_and_grown": -0.24, "metering.along_and_wide": -0.3
        },
        "viscosity_shift": {
            "swept_level.constant": 0.23, "swept_level.up_1": 0.14, "swept_level.up_2": 1.52,
            "swept_level.up_4": 0.44, "swept_level.up_16": -0.94, "swept_level.up_100_1": -0.36,
            "swept_level.up_100_2": -0.52, "swept_level.up_100_4": 0.61, "swept_level.size_0.15": -0.11,
            "swept_level.size_0.25": -0.31, "swept_level.size_0.8": -0.27, "swept_level.size_1.6":
            -0.17, "swept_level.clear": 0.19, "swept_level.down": 2.28, "swept_level.far_down": 0.16,
            "swept_scatter.constant": 0.19, "swept_scatter.wider_0.05": -0.53,
            "swept_scatter.wider_0.25": -0.24, "swept_scatter.wider_0.6": -0.5,
            "swept_scatter.wider_long_0.05": 0.86, "swept_scatter.wider_long_0.3": -0.73,
            "swept_scatter.narrower": 0.48, "swept_scatter.between_0.4": -0.24,
            "swept_scatter.between_0.9": -0.5, "swept_scatter.between_alone": 0.41,
            "swept_scatter.bursts_0.3": -0.22, "swept_scatter.bursts_1.6": -0.7,
            "swept_scatter.with_rise": -0.39, "low_tail.constant": 0.19, "low_tail.falls_0.9": -0.43,
            "low_tail.falls_4": -0.16, "low_tail.sided": -0.17, "low_tail.leans_4": 0.44,
            "low_tail.leans_12": -0.44, "low_tail.leans_long_8": -0.34, "low_tail.far_0.5": 0.43,
            "low_tail.far_1.5": -0.29, "low_tail.far_long_0.2": -1.1, "low_tail.far_long_0.8": -0.25,
            "low_tail.leans_one_way": 0.32, "low_tail.skew_0.2": 0.11, "low_tail.skew_0.5": 0.44,
            "low_tail.skew_1": 0.19, "low_tail.skew_long_0.3": 0.13, "low_tail.skew_long_0.7": -0.31,
            "low_tail.skew_high": -0.16, "low_tail.loses_pressure_long_0.03": 0.46,
            "low_tail.loses_pressure_long_0.1": 0.32, "low_tail.gains_pressure_long_0.03": -0.24,
            "low_tail.gains_pressure_long_0.1": -0.38, "low_tail.far_long_alone": -0.15,
            "low_tail.loses_pressure": 0.21, "low_tail.skew_wide": -0.29, "slow_drift.up_0.7": 0.34,
            "slow_drift.up_1.5": -0.11, "slow_drift.up_4": 0.15, "slow_drift.up_gradually": -0.58,
            "slow_drift.down": -0.4, "slow_drift.whole_1": 0.24, "slow_drift.whole_2": 0.34,
            "slow_drift.whole_5": -0.25, "slow_drift.far_up_for_long": 0.39,
            "slow_drift.gradually_for_long": -0.13, "slow_drift.long_down": 1.15,
            "not_shutting.leaps_by_2.5": 0.44, "not_shutting.cushion_gone": 0.98,
            "not_shutting.at_bottom": 0.54, "not_shutting.at_bottom_now": 0.12,
            "pressure_level.constant": -0.63, "pressure_level.lower": 0.86, "pressure_level.much_lower":
            0.55, "pressure_level.above_0.2": 0.33, "pressure_level.above_0.6": 0.32,
            "pressure_level.above_1.5": -0.46, "pressure_level.below_0.2": 0.3,
            "pressure_level.below_0.6": -0.15, "pressure_level.below_1.5": -0.66,
            "pressure_level.below_4": 1.15, "pressure_level.higher": -0.26,
            "pressure_level.more_than_leak_0.5": 0.34, "pressure_level.more_than_leak_1.5": 1.86,
            "pressure_level.fell_by_rise_0.15": -0.56, "pressure_level.fell_by_rise_0.5": -0.66,
            "pressure_level.fell_by_rise_1": -0.44, "pressure_level.steady_while_risen": -0.27,
            "pressure_level.steady_while_clear": -0.21, "pressure_level.transfer_sags": 0.29,
            "pressure_scatter.constant": -0.16, "fill_time.moved": -0.57, "fill_time.scatter": -0.12,
            "recovery.constant": 0.23, "recovery.uneven": -0.35, "recovery.very_uneven": 0.54,
            "recovery.uneven_with_scatter": -0.22, "recovery.even_with_scatter": 0.31,
            "recovery.slow_0.7": -0.12, "recovery.slower": 1.15, "recovery.fast_0.2": 0.3,
            "recovery.fast_0.7": 1.2, "recovery.faster": 0.4, "recovery.uneven_by_0.05": -0.41,
            "recovery.uneven_by_0.12": -0.17, "metering.constant": 0.19, "metering.uneven": -0.95,
            "metering.explains_scatter": 0.19, "metering.moves_along_long_0.1": -0.37,
            "metering.moves_along": 0.38, "metering.moves_along_wide": -0.61, "weight.constant": 0.18,
            "weight.heavier": 0.8, "weight.with_stroke": 0.54, "weight.light_1": 0.51, "weight.light_4":
            0.65, "weight.arrived_0.05": -0.2, "weight.arrived_0.2": -0.18, "weight.arrived_0.4": -0.12,
            "weight.lighter": 0.16, "weight.uneven": 0.36, "gate_seal_drift.constant": 0.25,
            "gate_seal_drift.rises_0.3": 0.78, "gate_seal_drift.still_while_risen": -0.33,
            "gate_seal_drift.still_while_clear": -0.61, "gate_seal_drift.risen_both": -0.18,
            "known_change.recent": 1.67, "known_change.moved": -1.29, "shape.constant": 0.23,
            "shape.both_moved": 0.15, "shape.size_moved": -0.28, "shape.swept_down": -1.7,
            "shape.lot_moved": 5.15, "shape.setting_moved": -1.17, "shape.cushion_scatter": -1.36,
            "swept_level.far_out_and_up": 0.56, "swept_level.far_out_and_risen": -0.11,
            "swept_level.far_out_now_and_risen": 0.13, "swept_level.skewed_and_up": 0.55,
            "swept_level.skewed_and_up_100": 0.86, "swept_level.skewed_and_risen": -0.54,
            "swept_level.skewed_and_clear": -0.11, "low_tail.far_out_and_up": 0.56,
            "low_tail.far_out_and_risen": -0.11, "low_tail.far_out_now_and_risen": 0.13,
            "low_tail.skewed_and_up": 0.55, "low_tail.skewed_and_up_100": 0.86,
            "low_tail.skewed_and_risen": -0.54, "low_tail.skewed_and_clear": -0.11,
            "low_tail.far_out_and_skewed": 0.28, "low_tail.sided_and_skewed": -0.12,
            "low_tail.far_out_losing_pressure": -0.22, "pressure_scatter.wider_and_up": 0.18,
            "pressure_scatter.wider_and_risen": 0.37, "recovery.even_and_up": -0.1,
            "weight.light_and_moved": -0.64, "weight.not_in_part_while_all_is_steady": 0.17,
            "weight.arrived_and_grown": -0.14, "metering.along_and_wide": -0.27,
            "metering.along_and_leaning": -0.24, "metering.along_and_risen": -0.71,
            "metering.uneven_and_far_out": -0.54
        },
        "setting_change": {
            "swept_level.constant": 0.23, "swept_level.up_0.5": -0.3, "swept_level.up_1": -0.87,
            "swept_level.up_2": -0.27, "swept_level.up_4": 1.03, "swept_level.up_8": 0.91,
            "swept_level.up_16": 0.74, "swept_level.up_100_2": 0.25, "swept_level.up_100_4": 0.18,
            "swept_level.size_0.08": 0.34, "swept_level.size_0.25": -0.19, "swept_level.size_0.4":
            -0.64, "swept_level.size_0.8": -0.15, "swept_level.down": 1.04, "swept_level.far_down":
            0.74, "swept_scatter.constant": 0.19, "swept_scatter.wider_0.25": -1.11,
            "swept_scatter.wider_20": -0.52, "swept_scatter.wider_long_0.05": -0.42,
            "swept_scatter.wider_long_0.3": -0.32, "swept_scatter.narrower": 0.22,
            "swept_scatter.between_0.1": 0.17, "swept_scatter.between_0.9": -0.26,
            "swept_scatter.between_alone": 0.16, "swept_scatter.bursts_0.3": -0.54,
            "swept_scatter.bursts_1.6": 0.73, "swept_scatter.with_rise": -0.2,
            "swept_scatter.rise_alone": 0.4, "low_tail.constant": 0.19, "low_tail.sided": 0.3,
            "low_tail.sided_long_1.5": 0.18, "low_tail.leans_4": -0.11, "low_tail.leans_12": 0.17,
            "low_tail.leans_long_2": -1.93, "low_tail.far_0.5": 0.7, "low_tail.far_1.5": 0.17,
            "low_tail.far_long_0.05": -0.17, "low_tail.leans_one_way": 0.56, "low_tail.skew_0.5": -0.13,
            "low_tail.skew_1": -0.2, "low_tail.skew_long_0.1": 0.19, "low_tail.skew_long_0.3": 0.64,
            "low_tail.skew_long_0.7": 0.88, "low_tail.skew_high": -0.27,
            "low_tail.loses_pressure_long_0.03": 0.3, "low_tail.loses_pressure_long_0.1": -0.32,
            "low_tail.gains_pressure_long_0.03": -0.25, "low_tail.gains_pressure_long_0.1": -0.38,
            "low_tail.far_long_alone": -0.15, "low_tail.skew_wide": -0.25, "slow_drift.up_0.7": 0.23,
            "slow_drift.up_gradually": 0.17, "slow_drift.down": 0.41, "slow_drift.whole_0.5": 0.44,
            "slow_drift.whole_2": -0.45, "slow_drift.whole_5": 0.39, "slow_drift.up_for_long": -0.14,
            "slow_drift.far_up_for_long": 0.16, "slow_drift.gradually_for_long": -0.26,
            "slow_drift.long_down": 0.11, "not_shutting.leaps_by_2.5": -0.31, "pressure_level.constant":
            -0.22, "pressure_level.lower": 0.42, "pressure_level.much_lower": 0.7,
            "pressure_level.above_0.2": -0.22, "pressure_level.above_0.6": 0.14,
            "pressure_level.below_0.6": 0.37, "pressure_level.below_1.5": 0.35,
            "pressure_level.below_4": 0.67, "pressure_level.more_than_leak_0.5": -0.18,
            "pressure_level.more_than_leak_1.5": 0.5, "pressure_level.thin_explains": 0.46,
            "pressure_level.fell_by_rise_0.15": -0.6, "pressure_level.fell_by_rise_0.5": -0.39,
            "pressure_level.fell_by_rise_1": -0.22, "pressure_level.steady_while_risen": 0.52,
            "pressure_level.steady_while_clear": 0.41, "pressure_level.transfer_sags": -0.35,
            "pressure_scatter.wider": -0.33, "fill_time.constant": -0.1, "fill_time.moved": 3.94,
            "fill_time.scatter": -0.16, "recovery.constant": 0.36, "recovery.uneven": -0.42,
            "recovery.uneven_with_scatter": 0.18, "recovery.even_with_scatter": -0.48,
            "recovery.slow_0.7": -0.73, "recovery.slower": -0.35, "recovery.fast_0.2": 0.48,
            "recovery.fast_0.7": -0.39, "recovery.faster": -0.14, "metering.constant": 0.19,
            "metering.uneven": -0.88, "metering.explains_scatter": -0.8,
            "metering.moves_along_long_0.1": -0.43, "metering.moves_against_long": -0.68,
            "metering.moves_along": -0.16, "metering.moves_along_wide": -0.35, "weight.heavier": 0.58,
            "weight.explains_rise": -0.28, "weight.light_1": 1.02, "weight.arrived_0.05": 0.74,
            "weight.arrived_0.2": -0.26, "weight.arrived_0.4": -0.27, "weight.not_in_part_1.5": 0.61,
            "weight.not_in_part_while_clear": 0.14, "weight.uneven": -0.38, "gate_seal_drift.constant":
            0.21, "gate_seal_drift.rises_0.3": -0.8, "gate_seal_drift.rises_1": -0.19,
            "gate_seal_drift.still_while_risen": -0.11, "known_change.recent": 1.94,
            "known_change.moved": 4.09, "shape.constant": 0.23, "shape.both_moved": 0.28,
            "shape.size_moved": -0.35, "shape.swept_down": -0.77, "shape.lot_moved": 0.89,
            "shape.setting_moved": 9.95, "shape.sudden": 0.26, "shape.cushion_scatter": -0.72,
            "swept_level.far_out_and_up": 0.13, "swept_level.far_out_and_risen": 0.19,
            "swept_level.far_out_now_and_risen": 0.21, "swept_level.skewed_and_up": -0.37,
            "swept_level.skewed_and_up_100": -0.32, "swept_level.skewed_and_risen": -0.31,
            "swept_level.skewed_and_clear": -0.12, "low_tail.far_out_and_up": 0.13,
            "low_tail.far_out_and_risen": 0.19, "low_tail.far_out_now_and_risen": 0.21,
            "low_tail.skewed_and_up": -0.37, "low_tail.skewed_and_up_100": -0.32,
            "low_tail.skewed_and_risen": -0.31, "low_tail.skewed_and_clear": -0.12,
            "low_tail.far_out_while_down": 1.16, "low_tail.far_out_losing_pressure": -0.28,
            "pressure_scatter.wider_and_up": -0.14, "pressure_scatter.wider_from_block_to_block": 0.36,
            "pressure_level.moved_and_wider": -0.11, "pressure_level.fell_and_not_in_part": 0.14,
            "recovery.slow_and_risen": 0.62, "weight.light_and_far_out": 0.27, "weight.light_and_moved":
            -0.41, "weight.arrived_and_grown": -0.31, "metering.along_and_risen": 0.58,
            "metering.uneven_and_far_out": 0.18, "gate_seal_drift.still_and_skewed": 0.28
        },
        "position_reference": {
            "swept_level.constant": 0.36, "swept_level.up_0.5": -0.53, "swept_level.up_1": -0.2,
            "swept_level.up_2": -0.8, "swept_level.up_4": 0.45, "swept_level.up_8": 0.58,
            "swept_level.up_16": -0.33, "swept_level.up_100_1": 0.84, "swept_level.up_100_2": 0.45,
            "swept_level.size_0.08": -0.15, "swept_level.size_0.15": -0.46, "swept_level.size_0.25":
            0.94, "swept_level.size_0.4": 0.27, "swept_level.size_1.6": -0.58, "swept_level.down":
            -0.76, "swept_level.far_down": 2.51, "swept_scatter.constant": 0.36,
            "swept_scatter.wider_0.05": 0.13, "swept_scatter.wider_0.25": -0.47,
            "swept_scatter.wider_0.6": 0.18, "swept_scatter.wider_20": 0.3,
            "swept_scatter.wider_long_0.05": -0.76, "swept_scatter.wider_long_0.3": 0.17,
            "swept_scatter.between_0.1": -0.19, "swept_scatter.between_0.9": 0.15,
            "swept_scatter.between_alone": 0.42, "swept_scatter.bursts_1.6": -0.59,
            "swept_scatter.with_rise": -0.34, "swept_scatter.rise_alone": -0.24, "low_tail.constant":
            0.36, "low_tail.falls_4": -0.28, "low_tail.sided": -0.27, "low_tail.sided_long_1.5": 1.21,
            "low_tail.sided_long_4": -0.13, "low_tail.leans_12": 0.49, "low_tail.leans_long_2": 0.14,
            "low_tail.leans_long_8": 0.53, "low_tail.far_0.5": -0.14, "low_tail.far_long_0.05": 0.64,
            "low_tail.far_long_0.2": 0.29, "low_tail.far_long_0.8": -0.3, "low_tail.skew_0.2": 0.33,
            "low_tail.skew_1": -0.31, "low_tail.skew_long_0.1": -0.36, "low_tail.skew_long_0.3": 0.25,
            "low_tail.skew_long_0.7": -0.82, "low_tail.skew_high": 0.29,
            "low_tail.loses_pressure_long_0.03": -0.29, "low_tail.gains_pressure_long_0.03": -0.51,
            "low_tail.gains_pressure_long_0.1": -0.63, "low_tail.far_long_alone": 1.6,
            "low_tail.gains_pressure": -0.17, "low_tail.skew_wide": 0.2, "slow_drift.up_0.7": -0.27,
            "slow_drift.up_1.5": -0.16, "slow_drift.up_4": 0.14, "slow_drift.down": 0.7,
            "slow_drift.whole_0.5": 0.38, "slow_drift.whole_1": -0.55, "slow_drift.whole_2": 0.18,
            "slow_drift.whole_5": -0.23, "slow_drift.up_for_long": 0.18, "slow_drift.far_up_for_long":
            -0.19, "slow_drift.gradually_for_long": -0.22, "not_shutting.leaps_by_2.5": -0.18,
            "pressure_level.constant": 0.14, "pressure_level.lower": -0.27, "pressure_level.much_lower":
            -0.21, "pressure_level.above_0.2": 0.17, "pressure_level.above_0.6": -0.64,
            "pressure_level.above_1.5": -0.35, "pressure_level.below_0.2": 0.26,
            "pressure_level.below_0.6": -0.3, "pressure_level.below_4": -0.25, "pressure_level.higher":
            -0.43, "pressure_level.more_than_leak_1.5": -0.34, "pressure_level.thin_explains": 0.35,
            "pressure_level.fell_by_rise_0.15": -0.12, "pressure_level.fell_by_rise_0.5": -0.28,
            "pressure_level.steady_while_risen": -0.13, "pressure_level.transfer_sags": -0.43,
            "pressure_scatter.constant": 0.35, "pressure_scatter.wider": -0.18,
            "pressure_scatter.much_wider": -0.17, "fill_time.moved": -0.4, "recovery.constant": 0.18,
            "recovery.uneven": -0.93, "recovery.very_uneven": -0.66, "recovery.uneven_with_scatter":
            -0.24, "recovery.even_with_scatter": 0.66, "recovery.slower": -0.38, "recovery.fast_0.7":
            0.27, "recovery.uneven_by_0.05": -0.26, "metering.constant": 0.36,
            "metering.explains_scatter": 1.63, "metering.moves_along_long_0.03": -0.56,
            "metering.moves_along_long_0.1": 0.42, "metering.moves_against_long": 1.29,
            "metering.moves_along_wide": 1.1, "weight.constant": 0.28, "weight.heavier": -0.7,
            "weight.explains_rise": 0.34, "weight.light_0.5": 0.61, "weight.light_1": -0.38,
            "weight.light_2": -0.53, "weight.light_4": -0.39, "weight.arrived_0.05": -0.26,
            "weight.arrived_0.4": 0.35, "weight.lighter": -0.46, "weight.lighter_not_risen": -0.34,
            "weight.not_in_part_1.5": -0.11, "weight.not_in_part_4": 0.67,
            "weight.not_in_part_while_clear": 0.43, "weight.uneven": -0.58, "gate_seal_drift.rises_0.3":
            0.51, "gate_seal_drift.rises_1": 0.22, "known_change.recent": -0.32, "known_change.moved":
            -1.0, "shape.constant": -0.14, "shape.size_moved": 3.39, "shape.swept_down": 0.3,
            "shape.lot_moved": -1.22, "shape.setting_moved": -0.91, "shape.cushion_scatter": -0.41,
            "swept_level.far_out_and_up": -0.31, "swept_level.far_out_and_risen": -0.42,
            "swept_level.far_out_now_and_risen": -0.19, "swept_level.skewed_and_up": -0.34,
            "swept_level.skewed_and_up_100": -0.5, "swept_level.skewed_and_risen": 0.8,
            "swept_level.skewed_and_clear": 0.42, "low_tail.far_out_and_up": -0.31,
            "low_tail.far_out_and_risen": -0.42, "low_tail.far_out_now_and_risen": -0.19,
            "low_tail.skewed_and_up": -0.34, "low_tail.skewed_and_up_100": -0.5,
            "low_tail.skewed_and_risen": 0.8, "low_tail.skewed_and_clear": 0.42,
            "low_tail.far_out_while_down": -0.96, "low_tail.far_out_and_skewed": -0.26,
            "low_tail.sided_losing_pressure": 0.16, "low_tail.far_out_losing_pressure": 0.5,
            "pressure_scatter.wider_and_risen": -0.36, "pressure_level.moved_and_wider": -0.35,
            "pressure_level.fell_and_not_in_part": -0.25, "recovery.slow_and_risen": -0.23,
            "weight.light_and_far_out": -0.13, "weight.light_and_moved": 0.81,
            "weight.not_in_part_while_all_is_steady": 0.66, "weight.much_not_in_part": 0.48,
            "weight.arrived_and_grown": 0.36, "metering.along_and_wide": 1.06,
            "metering.along_and_leaning": 1.1, "metering.along_and_risen": -0.16,
            "metering.uneven_and_far_out": -1.14, "gate_seal_drift.still_and_skewed": -0.28
        },
        "flash": {
            "swept_level.up_0.5": 0.97, "swept_level.up_1": 1.32, "swept_level.up_2": 1.02,
            "swept_level.up_4": 0.5, "swept_level.up_16": 1.27, "swept_level.up_100_1": -0.72,
            "swept_level.up_100_2": -0.16, "swept_level.up_100_4": -0.29, "swept_level.size_0.08": 0.21,
            "swept_level.size_0.15": 0.45, "swept_level.size_0.25": 0.37, "swept_level.size_0.4": 0.76,
            "swept_level.size_0.8": 1.4, "swept_level.size_1.6": 0.18, "swept_level.clear": -0.22,
            "swept_level.down": -0.77, "swept_level.far_down": -0.21, "swept_scatter.wider_0.05": -0.31,
            "swept_scatter.wider_0.25": -0.61, "swept_scatter.wider_0.6": -0.18,
            "swept_scatter.wider_20": -1.12, "swept_scatter.wider_long_0.05": -0.19,
            "swept_scatter.wider_long_0.3": -0.42, "swept_scatter.between_0.1": 0.23,
            "swept_scatter.between_0.9": 0.5, "swept_scatter.between_alone": -0.4,
            "swept_scatter.bursts_0.8": 0.71, "swept_scatter.bursts_1.6": -0.56,
            "swept_scatter.with_rise": 0.33, "swept_scatter.rise_alone": 0.36, "low_tail.falls_0.9":
            -0.11, "low_tail.falls_4": 0.17, "low_tail.sided": 0.2, "low_tail.sided_long_1.5": -0.24,
            "low_tail.leans_4": -0.53, "low_tail.leans_12": -0.11, "low_tail.leans_long_2": -0.14,
            "low_tail.leans_long_8": 0.37, "low_tail.far_0.5": 0.21, "low_tail.far_1.5": -0.12,
            "low_tail.far_long_0.05": -0.42, "low_tail.far_long_0.2": 0.24, "low_tail.leans_one_way":
            -0.46, "low_tail.skew_0.5": -0.34, "low_tail.skew_long_0.1": 0.19, "low_tail.skew_long_0.3":
            -0.32, "low_tail.skew_high": 0.31, "low_tail.loses_pressure_long_0.03": 0.26,
            "low_tail.loses_pressure_long_0.1": -0.48, "low_tail.gains_pressure_long_0.1": -0.46,
            "low_tail.far_long_alone": 0.1, "low_tail.gains_pressure": -0.11, "low_tail.skew_wide":
            -0.32, "slow_drift.up_0.7": -0.42, "slow_drift.up_4": 0.31, "slow_drift.up_gradually":
            -0.88, "slow_drift.down": -0.47, "slow_drift.whole_1": 0.83, "slow_drift.whole_2": 0.52,
            "slow_drift.whole_5": 0.16, "slow_drift.up_for_long": -0.23, "slow_drift.far_up_for_long":
            -0.27, "slow_drift.gradually_for_long": 0.33, "slow_drift.long_down": -0.18,
            "not_shutting.leap": 0.15, "not_shutting.cushion_gone": -0.97, "not_shutting.at_bottom":
            -0.4, "pressure_level.constant": 0.76, "pressure_level.lower": 0.12,
            "pressure_level.much_lower": -0.55, "pressure_level.above_0.2": -0.45,
            "pressure_level.above_0.6": -0.27, "pressure_level.above_1.5": 0.21,
            "pressure_level.below_0.6": -0.24, "pressure_level.below_1.5": -0.32,
            "pressure_level.below_4": -0.43, "pressure_level.more_than_leak_0.5": -0.37,
            "pressure_level.more_than_leak_1.5": -0.5, "pressure_level.thin_explains": -1.83,
            "pressure_level.fell_by_rise_0.15": 0.54, "pressure_level.fell_by_rise_0.5": 1.03,
            "pressure_level.fell_by_rise_1": -0.41, "pressure_level.steady_while_risen": 0.27,
            "pressure_level.steady_while_clear": 0.13, "pressure_level.transfer_sags": 1.82,
            "pressure_scatter.wider": -0.54, "fill_time.constant": -0.27, "fill_time.moved": -0.27,
            "fill_time.scatter": 0.17, "recovery.constant": 0.77, "recovery.uneven": -0.5,
            "recovery.very_uneven": -0.1, "recovery.uneven_with_scatter": -0.25,
            "recovery.even_with_scatter": 0.49, "recovery.slow_0.2": -0.55, "recovery.slow_0.7": -0.28,
            "recovery.fast_0.2": -0.91, "recovery.fast_0.7": -1.37, "recovery.faster": -0.18,
            "recovery.uneven_by_0.05": -0.2, "recovery.uneven_by_0.12": -0.11, "metering.uneven": -0.42,
            "metering.explains_scatter": -0.43, "metering.moves_along_long_0.03": 0.13,
            "metering.moves_along_long_0.1": -0.69, "metering.moves_against_long": 0.19,
            "metering.moves_along": 1.06, "weight.constant": -0.42, "weight.heavier": 2.05,
            "weight.with_stroke": 2.28, "weight.explains_rise": -0.1, "weight.explains_part": -0.24,
            "weight.light_0.5": -0.71, "weight.light_1": -0.46, "weight.arrived_0.05": -0.4,
            "weight.arrived_0.2": 0.24, "weight.arrived_0.4": -0.15, "weight.not_in_part_1.5": -1.98,
            "weight.not_in_part_4": -0.47, "weight.not_in_part_while_clear": -0.98,
            "gate_seal_drift.constant": -0.22, "gate_seal_drift.rises_0.3": -0.43,
            "gate_seal_drift.still_while_risen": 0.13, "gate_seal_drift.still_while_clear": 0.2,
            "known_change.moved": -0.67, "shape.both_moved": 0.62, "shape.swept_down": -0.12,
            "shape.lot_moved": 0.69, "shape.setting_moved": -0.54, "shape.cushion_scatter": -0.44,
            "swept_level.far_out_and_up": -0.28, "swept_level.far_out_and_risen": 0.25,
            "swept_level.far_out_now_and_risen": 0.31, "swept_level.skewed_and_up": 0.43,
            "swept_level.skewed_and_risen": 0.28, "swept_level.skewed_and_clear": 0.1,
            "low_tail.far_out_and_up": -0.28, "low_tail.far_out_and_risen": 0.25,
            "low_tail.far_out_now_and_risen": 0.31, "low_tail.skewed_and_up": 0.43,
            "low_tail.skewed_and_risen": 0.28, "low_tail.skewed_and_clear": 0.1,
            "low_tail.far_out_and_skewed": -0.35, "pressure_scatter.wider_and_up": -0.2,
            "pressure_scatter.wider_and_risen": -0.33, "pressure_scatter.wider_from_block_to_block":
            -0.11, "pressure_level.moved_and_wider": 0.52, "pressure_level.sags_with_a_rise_alone":
            0.26, "pressure_level.fell_and_not_in_part": -0.25, "recovery.even_and_up": 0.21,
            "recovery.slow_and_risen": -0.4, "weight.not_in_part_while_all_is_steady": -0.57,
            "weight.much_not_in_part": -0.43, "metering.along_and_wide": 0.23,
            "metering.along_and_leaning": 0.48, "metering.along_and_risen": 0.1,
            "metering.uneven_and_far_out": 0.49
        },
        "blocked_cavity": {
            "swept_level.constant": -0.83, "swept_level.up_0.5": -0.21, "swept_level.size_0.08": -0.17,
            "swept_level.down": 1.32, "swept_level.far_down": 1.97, "swept_scatter.constant": -0.83,
            "swept_scatter.wider_0.05": -0.14, "swept_scatter.wider_long_0.05": 0.36,
            "swept_scatter.narrower": 0.5, "swept_scatter.between_0.1": -0.35,
            "swept_scatter.between_alone": 0.33, "swept_scatter.bursts_0.3": 0.17,
            "swept_scatter.bursts_0.8": 0.2, "swept_scatter.bursts_1.6": 0.12, "low_tail.constant":
            -0.83, "low_tail.leans_long_2": 0.22, "low_tail.far_long_0.05": 0.41,
            "low_tail.far_long_0.2": 0.25, "low_tail.skew_1": -0.16, "low_tail.skew_long_0.3": -0.16,
            "low_tail.skew_long_0.7": 0.34, "low_tail.loses_pressure_long_0.1": 0.34,
            "low_tail.far_long_alone": 0.26, "slow_drift.down": 0.13, "slow_drift.long_down": 1.02,
            "pressure_level.constant": -0.61, "pressure_level.above_0.2": 0.73,
            "pressure_level.above_0.6": 0.32, "pressure_level.above_1.5": -0.11,
            "pressure_level.higher": 0.7, "pressure_level.more_than_leak_0.5": 0.38,
            "pressure_level.more_than_leak_1.5": -0.12, "pressure_level.transfer_sags": 0.11,
            "pressure_scatter.constant": -0.11, "fill_time.constant": -0.19, "recovery.constant": 0.38,
            "recovery.slow_0.2": -0.64, "recovery.slow_0.7": -0.68, "recovery.slower": -0.18,
            "recovery.fast_0.2": 0.15, "recovery.uneven_by_0.05": 0.12, "metering.constant": -0.83,
            "metering.uneven": -0.37, "metering.explains_scatter": -0.23,
            "metering.moves_along_long_0.03": 0.45, "metering.moves_against_long": -0.29,
            "weight.constant": -0.31, "weight.light_4": 0.24, "weight.lighter": 1.15,
            "weight.lighter_not_risen": 0.15, "gate_seal_drift.constant": -0.19,
            "gate_seal_drift.rises_0.3": 0.16, "known_change.recent": 0.53, "known_change.moved": 0.43,
            "shape.constant": -1.33, "shape.both_moved": 0.93, "shape.size_moved": 0.92,
            "shape.swept_down": 7.9, "shape.lot_moved": 0.76, "shape.sudden": 1.2,
            "low_tail.far_out_while_down": 0.95, "low_tail.far_out_losing_pressure": 0.18,
            "weight.light_and_far_out": -0.21
        },
        "outward_leak": {
            "swept_level.constant": -0.54, "swept_level.up_0.5": 0.62, "swept_level.up_1": 0.37,
            "swept_level.up_2": 0.61, "swept_level.up_4": 0.39, "swept_level.up_8": -0.5,
            "swept_level.up_16": -0.28, "swept_level.up_100_1": -0.11, "swept_level.up_100_4": -0.15,
            "swept_level.size_0.08": 0.69, "swept_level.size_0.15": 0.54, "swept_level.size_0.25": 0.7,
            "swept_level.size_0.4": 1.29, "swept_level.size_0.8": 0.38, "swept_level.size_1.6": 0.94,
            "swept_level.clear": -0.29, "swept_level.down": -0.32, "swept_scatter.constant": -0.54,
            "swept_scatter.wider_0.05": 0.35, "swept_scatter.wider_0.25": 1.12,
            "swept_scatter.wider_0.6": 0.13, "swept_scatter.wider_20": 0.85,
            "swept_scatter.wider_long_0.05": -0.29, "swept_scatter.wider_long_0.3": 0.14,
            "swept_scatter.between_0.1": 0.25, "swept_scatter.between_0.4": 0.52,
            "swept_scatter.between_0.9": -0.29, "swept_scatter.between_alone": -0.42,
            "swept_scatter.bursts_0.3": -0.45, "swept_scatter.with_rise": 0.66,
            "swept_scatter.rise_alone": -0.62, "low_tail.constant": -0.54, "low_tail.falls_0.9": 0.31,
            "low_tail.falls_4": -0.17, "low_tail.sided": -0.12, "low_tail.sided_long_1.5": -0.61,
            "low_tail.leans_4": 0.14, "low_tail.leans_12": -0.14, "low_tail.leans_long_2": 0.64,
            "low_tail.leans_long_8": -0.77, "low_tail.far_0.5": -0.26, "low_tail.far_long_0.05": 0.17,
            "low_tail.far_long_0.2": 0.44, "low_tail.far_long_0.8": -0.18, "low_tail.skew_0.2": -0.35,
            "low_tail.skew_0.5": -0.21, "low_tail.skew_long_0.3": 0.24, "low_tail.skew_long_0.7": 0.15,
            "low_tail.skew_high": -0.33, "low_tail.loses_pressure": 0.2, "low_tail.skew_wide": -0.28,
            "slow_drift.up_0.7": -0.19, "slow_drift.up_1.5": 0.33, "slow_drift.up_gradually": -0.21,
            "slow_drift.down": -0.1, "slow_drift.whole_0.5": -0.23, "slow_drift.whole_1": 0.25,
            "slow_drift.whole_2": 0.65, "slow_drift.whole_5": 0.3, "slow_drift.far_up_for_long": 0.14,
            "not_shutting.leaps_by_2.5": 0.11, "not_shutting.cushion_gone": 0.13,
            "pressure_level.constant": 0.36, "pressure_level.lower": -0.3, "pressure_level.much_lower":
            -0.16, "pressure_level.above_0.2": -0.24, "pressure_level.above_0.6": 0.46,
            "pressure_level.below_0.2": -0.28, "pressure_level.below_0.6": -0.3,
            "pressure_level.below_1.5": -0.24, "pressure_level.below_4": -0.1, "pressure_level.higher":
            0.17, "pressure_level.more_than_leak_0.5": -0.24, "pressure_level.more_than_leak_1.5":
            -0.26, "pressure_level.thin_explains": -0.13, "pressure_level.fell_by_rise_0.15": 0.66,
            "pressure_level.fell_by_rise_1": -0.15, "pressure_level.steady_while_risen": 0.53,
            "pressure_level.steady_while_clear": 0.21, "pressure_level.transfer_sags": -0.31,
            "pressure_scatter.constant": 0.29, "fill_time.constant": -0.12, "recovery.constant": 0.39,
            "recovery.even_with_scatter": 0.24, "recovery.slow_0.2": -0.11, "recovery.fast_0.2": -0.56,
            "recovery.fast_0.7": -0.24, "metering.constant": -0.54, "metering.uneven": -0.17,
            "metering.moves_along_long_0.1": -0.13, "metering.moves_along_wide": -0.17,
            "weight.heavier": -0.42, "weight.explains_rise": -0.1, "weight.explains_part": -0.33,
            "weight.light_0.5": 0.21, "weight.light_1": 0.14, "weight.arrived_0.05": -0.38,
            "weight.arrived_0.2": -0.28, "weight.arrived_0.4": -0.1, "weight.not_in_part_1.5": 0.7,
            "weight.not_in_part_while_clear": 0.31, "gate_seal_drift.still_while_risen": 0.27,
            "gate_seal_drift.still_while_clear": 0.27, "known_change.moved": 0.3, "shape.constant":
            -0.54, "shape.both_moved": -0.15, "shape.size_moved": -0.44, "shape.lot_moved": 0.52,
            "shape.sudden": -0.36, "shape.cushion_scatter": 0.61, "swept_level.far_out_and_up": 0.15,
            "swept_level.far_out_now_and_risen": -0.41, "swept_level.skewed_and_up_100": -0.17,
            "low_tail.far_out_and_up": 0.15, "low_tail.far_out_now_and_risen": -0.41,
            "low_tail.skewed_and_up_100": -0.17, "low_tail.far_out_losing_pressure": 0.17,
            "pressure_level.moved_and_wider": -0.24, "pressure_level.fell_and_not_in_part": 0.19,
            "pressure_level.fell_and_far_out": 0.24, "recovery.even_and_up": 0.14,
            "recovery.slow_and_risen": 0.23, "weight.not_in_part_while_all_is_steady": -0.23,
            "weight.arrived_and_grown": -0.19, "metering.along_and_wide": -0.35,
            "metering.along_and_leaning": -0.4, "metering.along_and_risen": 0.29,
            "metering.uneven_and_far_out": -0.14, "gate_seal_drift.still_and_skewed": -0.19
        },
        "unexplained": {"shape.constant": 0.5, "swept_scatter.wider_0.6": 0.7, "swept_level.up_4": 0.5},
    },
    "few_signals": {"cap_log_odds": 3.0},
}  # fmt: skip
