"""Words of cases: how far one has come, what was done, what came of it."""

from collections.abc import Mapping
from typing import Final

#: How far a case has come; derived from what stands in it.
STAGE: Final[Mapping[str, str]] = {
    "looking": "looking for the cause",
    "waiting_for_shots": "something was changed; the shots after it are counted",
    "to_judge": "the comparison is ready: say what came of it",
    "closed": "closed",
}
ACTION: Final[Mapping[str, str]] = {
    "setting": "a setting changed",
    "material": "another material or lot",
    "hardware": "work on the hardware",
    "valve": "the valve changed",
}
PROVEN: Final[Mapping[str, str]] = {
    "fixed": "fixed",
    "better": "better",
    "no_change": "no change",
    "worse": "worse",
    "cannot_say": "cannot say",
}
WITNESS: Final[Mapping[str, str]] = {
    "level": "Swept stroke, mean",
    "scatter": "Swept stroke, scatter (s)",
}
WITNESS_STATE: Final[Mapping[str, str]] = {
    "quiet": "was not off",
    "back": "back at the record",
    "improved": "moved the right way",
    "unchanged": "still off",
    "worsened": "further off",
    "open": "cannot tell",
}
#: Acts of the trail that belong into a story and stand in no other list.
ACT: Final[Mapping[str, str]] = {
    "step_ticked": "step done",
    "tick_taken_back": "step taken back",
    "case_opened": "case opened",
    "case_changed": "case changed",
    "case_closed": "case closed",
    "trial_planned": "trial planned",
    "trial_ended": "trial ended",
    "baseline_captured": "startup record captured",
    "baseline_approved": "startup record approved",
    "baseline_retired": "startup record retired",
}
#: Beginnings of acts on suspect parts; what follows is shown as it is named.
PARTS_ACTS: Final = ("containment", "suspect", "hold", "lot_", "box_", "parts_")
