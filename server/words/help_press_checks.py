"""What each check of a press itself compares and what to do where it fails, for the help page."""

from collections.abc import Mapping
from typing import Final

from server.language import N_
from server.valve.press_checks import PRESS_CHECKS
from server.words.catalogue import Entry

#: By check: what is computed, and what to do where it is not passed.
_SAID: Final[Mapping[str, tuple[str, str]]] = {
    "position_reading": (
        N_("max |display − gauge − their mean difference| ≤ 0.2 mm"),
        N_("Have the position sensor set; until then strokes and cushion mean less than they say."),
    ),
    "pressure_reading": (
        N_("max |display − gauge| ÷ gauge ≤ 3 %"),
        N_("Have the pressure sensor calibrated, and enter whether it reads specific or hydraulic."),
    ),
    "transfer": (
        N_("standard deviation, upper end of its 95 % interval (χ²) ≤ 0.05 mm"),
        N_("Look at how transfer is triggered, and at the speed just before it."),
    ),
    "speed": (
        N_("max |measured − set| ÷ set ≤ 10 %"),
        N_("See whether pressure limits the speed; else have the injection valve set."),
    ),
    "load": (
        N_("100 · (t loaded − t air) ÷ t air per 10 MPa of pressure between them ≤ 0.7 %"),
        N_("Pump, valve or screw let through under load: fill time will then follow the melt."),
    ),
    "hold": (
        N_("max |reached − set| ÷ set ≤ 3 %"),
        N_("See whether the hold profile asks for more than the press gives, then have it set."),
    ),
    "recovery": (
        N_("shortest time from the end of recovery to the opening of the mold ≥ 1 s"),
        N_("Turn the screw faster or cool longer; well over 2 s the melt only waits."),
    ),
    "shot_share": (
        N_("25 % ≤ shot size ÷ largest shot ≤ 75 %"),
        N_("Another barrel suits this mold better; until then expect more scatter of dose and melt."),
    ),
    "residence": (
        N_("cycle time · shots in the barrel ÷ 60 ≤ 10 min, or what the resin maker says"),
        N_("Shorten the cycle or take a smaller barrel; look for melt that has turned colour."),
    ),
}

_BALANCE: Final = Entry(
    id="press-check-balance",
    name=N_("Volume balance"),
    meaning=N_(
        "Share of the swept volume that never reached the mold: backflow while closing, leakage and"
        " compression together. It needs no startup record."
    ),
    formula=N_("1 − (shot weight ÷ melt density) ÷ (π ÷ 4 · D² · swept stroke), three shots or more"),
    source=N_("Mass balance of a shot; density ± 2 % (k = 2)."),
    act=N_("Weigh the runner, too. Compare it with the same mold on another press, not with a limit."),
)

PRESS_CHECK_ENTRIES: Final = (
    *(
        Entry(
            id=f"press-check-{check}",
            name=asked.name,
            meaning=asked.why,
            formula=_SAID[check][0],
            source=N_("Common practice, no source; the plant may hand in its own limit."),
            act=_SAID[check][1],
        )
        for check, asked in PRESS_CHECKS.items()
    ),
    _BALANCE,
)
