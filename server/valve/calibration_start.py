"""Where the fit starts and what it is drawn towards: weights and signs of the trade (common practice).

RISES and FALLS are shapes whose weight the fit may not turn round, whatever the simulated presses say.
"""

from typing import Any, Final

START: Final[dict[str, Any]] = {
    "terms": {
        "swept_level": {
            "constant": -0.9, "up_2": 1.0, "up_5": 1.0, "up_10": 0.8, "up_2_100": 0.5, "up_5_100": 0.5,
            "size_1": 0.6, "size_3": 0.8, "down": -0.4,
        },
        "swept_scatter": {
            "constant": -0.4, "wider": 0.9, "much_wider": 1.2, "wider_20": 0.4, "with_rise": 0.5,
            "rise_alone": -0.5,
        },
        "low_tail": {
            "constant": -0.2, "some": 1.0, "many": 1.4, "sided": 0.5, "sided_long": 1.0,
            "very_sided_long": 0.7,
        },
        "slow_drift": {"up": 0.3, "up_steep": 0.3, "up_gradually": 0.8, "down": -0.3},
        "not_shutting": {"leap": 3.0, "leap_20": 0.6, "at_bottom": 1.0, "at_bottom_now": 1.0},
        "pressure_level": {
            "constant": 0.0, "lower": 0.3, "much_lower": -0.3, "higher": -0.6, "more_than_leak": -1.4,
            "steady_while_risen": 0.8,
        },
        "pressure_scatter": {"constant": -0.1, "wider": 0.3, "much_wider": 0.3},
        "fill_time": {"constant": 0.0, "moved": -0.2, "scatter": 0.0},
        "recovery": {"constant": 0.1, "uneven": -0.6, "very_uneven": -0.8, "slower": -0.4, "faster": -0.2},
        "metering": {"constant": 0.1, "uneven": -0.3, "explains_scatter": -0.6},
        "weight": {
            "constant": 0.0, "heavier": -0.6, "with_stroke": -1.2, "lighter": 0.3,
            "steady_while_risen": 1.0, "uneven": 0.2,
        },
        "gate_seal_drift": {"constant": -0.4, "some": 1.2, "much": 1.2},
        "known_change": {"recent": -0.3, "moved": -0.1},
    },
    "few_signals": {"share": 0.85, "cap_log_odds": 3.0},
    "causes": {
        "sealing": {"shape.constant": 4.0, "swept_level.up_2": -2.0, "swept_level.up_5": -3.0,
                    "swept_scatter.wider": -1.5, "swept_scatter.much_wider": -2.0, "metering.uneven": -3.0,
                    "recovery.uneven": -2.0, "recovery.slower": -3.0, "swept_level.down": -2.0,
                    "pressure_level.more_than_leak": -2.5, "shape.both_moved": -2.0},
        "erratic_closing": {"shape.constant": 0.0, "low_tail.some": 2.0, "low_tail.many": 2.0,
                            "swept_scatter.wider": 0.7, "swept_scatter.much_wider": 1.5,
                            "swept_level.size_1": -1.0, "swept_level.size_3": -1.0},
        "steady_leak": {"shape.constant": 0.3, "swept_level.up_2": 1.0, "swept_level.up_5": 1.2,
                        "slow_drift.up": 0.6, "swept_level.size_1": 0.8, "gate_seal_drift.some": 1.0},
        "not_closing": {"shape.constant": -2.0, "not_shutting.leap": 7.0, "not_shutting.at_bottom": 1.5,
                        "not_shutting.at_bottom_now": 1.5,
                        "not_shutting.leap_20": 2.0},
        "uneven_melt": {"recovery.uneven": 2.0, "recovery.very_uneven": 2.0, "swept_scatter.wider": 1.0},
        "metering": {"metering.uneven": 3.5, "metering.explains_scatter": 1.5},
        "worn_screw": {"recovery.slower": 3.5},
        "viscosity_shift": {"shape.lot_moved": 3.0, "swept_level.up_2": 0.7,
                            "pressure_level.more_than_leak": 2.5, "pressure_level.lower": 1.0,
                            "weight.with_stroke": 0.7},
        "setting_change": {"shape.setting_moved": 3.0, "known_change.moved": 0.5, "known_change.recent": 0.7,
                           "swept_level.up_5": 0.7, "fill_time.moved": 1.0, "shape.sudden": 0.7},
        "position_reference": {"shape.both_moved": 3.0, "shape.constant": -0.5},
        "flash": {"weight.with_stroke": 2.5, "weight.heavier": 0.8, "swept_level.up_5": 0.7},
        "blocked_cavity": {"shape.swept_down": 3.0, "swept_level.down": 1.0, "weight.lighter": 1.0,
                           "pressure_level.higher": 0.7, "shape.constant": -0.5},
        "outward_leak": {"swept_level.up_5": 1.2, "swept_scatter.wider": 0.5,
                         "weight.steady_while_risen": 0.8},
        "unexplained": {"shape.constant": 0.5, "swept_scatter.much_wider": 0.7, "swept_level.up_5": 0.5},
    },
}  # fmt: skip

#: Never against a leak.
RISES: Final[frozenset[str]] = frozenset({
    "swept_level.up_2", "swept_level.up_5", "swept_level.up_10", "swept_level.up_2_100",
    "swept_level.up_5_100", "swept_level.size_1", "swept_level.size_3", "swept_scatter.wider",
    "swept_scatter.much_wider", "swept_scatter.wider_20", "swept_scatter.with_rise", "low_tail.some",
    "low_tail.many", "low_tail.sided", "low_tail.sided_long", "low_tail.very_sided_long",
    "slow_drift.up", "slow_drift.up_steep", "slow_drift.up_gradually", "not_shutting.leap",
    "not_shutting.leap_20",
    "not_shutting.at_bottom", "not_shutting.at_bottom_now", "pressure_level.steady_while_risen",
    "weight.steady_while_risen",
    "gate_seal_drift.some", "gate_seal_drift.much",
})  # fmt: skip
#: Never for a leak.
FALLS: Final[frozenset[str]] = frozenset({
    "swept_level.down", "swept_scatter.rise_alone", "slow_drift.down", "pressure_level.higher",
    "pressure_level.more_than_leak", "recovery.uneven", "recovery.very_uneven", "metering.uneven",
    "metering.explains_scatter", "weight.heavier", "weight.with_stroke", "known_change.recent",
    "known_change.moved",
})  # fmt: skip
