"""Shapes of two evidences at once: where one sign changes what another is worth.

Two signs of the same leak are not worth their sum, and a sign that a mimic shares is worth more or less
beside what only one of the two does. Found by looking for products whose weight has the same sign on both
families of presses; each is named here for what it says. What two evidences say of one another
alike is shared between both, so that neither is charged with it alone.
"""

from typing import Final

_TAILS: Final[dict[str, tuple[str, str]]] = {
    "far_out_and_up": ("swept_level.up_1", "low_tail.far_long_0.05"),
    "far_out_and_risen": ("swept_level.size_0.15", "low_tail.far_long_0.05"),
    "far_out_now_and_risen": ("swept_level.size_0.15", "low_tail.far_0.5"),
    "skewed_and_up": ("swept_level.up_2", "low_tail.skew_long_0.3"),
    "skewed_and_up_100": ("swept_level.up_100_2", "low_tail.skew_long_0.3"),
    "skewed_and_risen": ("swept_level.size_0.08", "low_tail.skew_long_0.3"),
    "skewed_and_clear": ("swept_level.clear", "low_tail.skew_0.5"),
}

#: "term.shape" -> the two shapes it is the product of.
JOINT: Final[dict[str, tuple[str, str]]] = {
    **{f"swept_level.{name}": pair for name, pair in _TAILS.items()},
    **{f"low_tail.{name}": pair for name, pair in _TAILS.items()},
    "low_tail.far_out_while_down": ("swept_level.far_down", "low_tail.far_long_0.05"),
    "low_tail.far_out_and_skewed": ("low_tail.far_long_0.2", "low_tail.skew_long_0.7"),
    "low_tail.sided_and_skewed": ("low_tail.sided_long_1.5", "low_tail.skew_long_0.7"),
    "low_tail.sided_losing_pressure": ("low_tail.sided_long_1.5", "low_tail.loses_pressure_long_0.03"),
    "low_tail.far_out_losing_pressure": ("low_tail.far_long_0.2", "low_tail.loses_pressure_long_0.03"),
    "swept_scatter.wider_for_long_and_up": ("swept_level.up_0.5", "swept_scatter.wider_long_0.3"),
    "pressure_scatter.wider_and_up": ("swept_level.up_1", "pressure_scatter.wider"),
    "pressure_scatter.wider_and_risen": ("swept_level.size_0.15", "pressure_scatter.wider"),
    "pressure_scatter.wider_from_block_to_block": ("swept_scatter.between_0.4", "pressure_scatter.wider"),
    "pressure_level.moved_and_wider": ("swept_scatter.wider_0.25", "pressure_level.more_than_leak_0.5"),
    "pressure_level.sags_with_a_rise_alone": ("swept_scatter.rise_alone", "pressure_level.transfer_sags"),
    "pressure_level.fell_and_not_in_part": ("pressure_level.fell_by_rise_0.5", "weight.not_in_part_1.5"),
    "pressure_level.fell_and_far_out": ("low_tail.far_long_0.05", "pressure_level.fell_by_rise_0.5"),
    # A valve that does not shut takes pressure and recovery with it: there they are no sign of other melt.
    "swept_scatter.alone_in_a_leap": ("swept_scatter.rise_alone", "not_shutting.leap"),
    "pressure_level.lost_at_bottom": ("not_shutting.at_bottom", "pressure_level.much_lower"),
    "pressure_level.lost_in_a_leap": ("not_shutting.leap", "pressure_level.much_lower"),
    "recovery.uneven_at_bottom": ("not_shutting.at_bottom", "recovery.uneven"),
    "recovery.uneven_in_a_leap": ("not_shutting.leap", "recovery.uneven"),
    "recovery.even_and_risen": ("swept_level.size_0.8", "recovery.even_with_scatter"),
    "recovery.even_and_up": ("swept_level.up_4", "recovery.even_with_scatter"),
    "recovery.slow_and_risen": ("swept_level.size_0.4", "recovery.slow_0.2"),
    "recovery.even_and_not_in_part": ("recovery.even_with_scatter", "weight.not_in_part_while_clear"),
    "weight.light_and_far_out": ("low_tail.far_long_0.05", "weight.light_1"),
    "weight.light_and_moved": ("pressure_level.more_than_leak_0.5", "weight.light_1"),
    "weight.not_in_part_while_all_is_steady": (
        "pressure_level.steady_while_clear",
        "weight.not_in_part_while_clear",
    ),
    "weight.much_not_in_part": ("swept_level.size_0.8", "weight.not_in_part_4"),
    "weight.arrived_and_grown": ("slow_drift.whole_0.5", "weight.arrived_0.2"),
    "metering.uneven_and_far_out": ("low_tail.far_long_0.05", "metering.uneven"),
    "gate_seal_drift.still_and_skewed": ("low_tail.skew_long_0.1", "gate_seal_drift.still_while_risen"),
}
