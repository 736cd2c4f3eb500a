"""Words of cases: how far one has come, what was done, what came of it."""

from collections.abc import Mapping
from typing import Final

from server.language import N_

#: How far a case has come; derived from what stands in it.
STAGE: Final[Mapping[str, str]] = {
    "looking": N_("looking for the cause"),
    "waiting_for_shots": N_("something was changed; the shots after it are counted"),
    "to_judge": N_("the comparison is ready: say what came of it"),
    "closed": N_("closed"),
}
ACTION: Final[Mapping[str, str]] = {
    "setting": N_("a setting changed"),
    "material": N_("another material or lot"),
    "hardware": N_("work on the hardware"),
    "valve": N_("the valve changed"),
}
PROVEN: Final[Mapping[str, str]] = {
    "fixed": "fixed",
    "better": "better",
    "no_change": N_("no change"),
    "worse": "worse",
    "cannot_say": N_("cannot say"),
}
WITNESS: Final[Mapping[str, str]] = {
    "level": N_("Swept stroke, mean"),
    "scatter": N_("Swept stroke, scatter (s)"),
}
WITNESS_STATE: Final[Mapping[str, str]] = {
    "quiet": N_("was not off"),
    "back": N_("back at the record"),
    "improved": N_("moved the right way"),
    "unchanged": N_("still off"),
    "worsened": N_("further off"),
    "open": N_("cannot tell"),
}
#: Acts of the trail that belong into a story and stand in no other list.
ACT: Final[Mapping[str, str]] = {
    "step_ticked": N_("step done"),
    "tick_taken_back": N_("step taken back"),
    "case_opened": N_("case opened"),
    "case_changed": N_("case changed"),
    "case_closed": N_("case closed"),
    "trial_planned": N_("trial planned"),
    "trial_ended": N_("trial ended"),
    "baseline_captured": N_("startup record captured"),
    "baseline_approved": N_("startup record approved"),
    "baseline_retired": N_("startup record retired"),
}
#: Beginnings of acts on suspect parts; what follows is shown as it is named.
PARTS_ACTS: Final = ("containment", "suspect", "hold", "lot_", "box_", "parts_")
