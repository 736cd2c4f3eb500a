"""What to do about a signal or a rule of the shared catalogues, by id, for the help page."""

from collections.abc import Mapping
from typing import Final

from server.language import N_

ACTS: Final[Mapping[str, str]] = {
    # Signals.
    "swept_mm": N_("When it grows, ask first what else takes melt: flash, heavier parts, melt outside."),
    "cushion_mm": N_("When it thins, look at the swept stroke before anyone raises the shot size."),
    "shot_size_mm": N_("When it scatters, look at feed and at how exactly the screw stops."),
    "peak_pressure_bar": N_("When it moves with the lot, it is the melt; enter the lot as an event."),
    "transfer_pressure_bar": N_("Read it beside peak pressure: both moving alike is melt, not valve."),
    "fill_time_s": N_("When it moves, see whether the speed was set or the pressure was limited."),
    "recovery_s_per_mm": N_("When it rises over weeks, measure screw and barrel at the next stop."),
    "part_weight_g": N_("Weigh one shot in ten where the press has no scale: it settles most doubts."),
    "drift_mm": N_("Make sure that hold lasts past gate seal before it is read as a leak."),
    "hold_pressure_bar": N_("Enter its changes as events: the swept stroke moves with it."),
    "cycle_time_s": N_("When it grows, look whether recovery ends after cooling does."),
    "melt_temp_c": N_("Compare it with the startup record before the valve is blamed."),
    # Rules: run rules mark the chart and call nobody; the others may.
    "beyond_limit": N_("One alone is looked at, not acted on. Several: see which signals moved with it."),
    "two_of_three_beyond_2_sigma": N_("See whether the level stays there; ask what changed at that time."),
    "four_of_five_beyond_1_sigma": N_("Look at the next twenty shots: a small move either stays or goes."),
    "one_side": N_("The level has moved a little. Compare it with lot, setting and mold of that time."),
    "steady_trend": N_("Look at the slow drift of the swept stroke and at temperatures that climb."),
    "alternating": N_("Look whether two cavities, two heaters or two hands take turns."),
    "within_1_sigma": N_("Startup record too wide, or a display too coarse: see the record's report."),
    "outside_1_sigma": N_("Two levels are mixed: look for a second mold, material or counter."),
    "bottoming": N_("Set the last parts aside and weigh them; do not raise the shot size."),
    "level_moved": N_("Ask what changed at that time and enter it; else weigh the last shots."),
    "scatter_grown": N_("Look at melt and dosing first, then weigh short shots without hold."),
}
