"""What to do next, in order, by cause; cautions stand before any step with hands on the press.

The order follows the mechanism: contain, then melt, then what moves the ring, then what it seals
with. Sources of the steps: common practice of the trade, no source.
"""

import dataclasses
from typing import Final

HOT_MELT: Final = (
    "Hot melt under pressure. Guard closed, face shield and gloves, nobody in front of the nozzle. "
    "The press maker's manual and site rules come first; trained, authorised people only."
)
LOCK_OUT: Final = (
    "Lock-out leaves pressure in the melt. Heat soak before the screw is moved; many screw-tip threads "
    "are left-handed. Never block a nozzle with POM, PVC or any resin that gasses, and never let POM "
    "meet PVC. ISO 20430, ISO 14118 and local rules apply."
)


@dataclasses.dataclass(frozen=True)
class Advice:
    """One step. `action`: a page it opens (empty: none); `caution`: to be read before it."""

    id: str
    text: str
    action: str = ""
    caution: str = ""


_CONTAIN = Advice("contain", "Contain: see which boxes and lots since the onset are suspect.", "containment")
_NO_TOP_UP = Advice("no_top_up", "Do not raise the shot size: it only hides a leak.")
_LOOK = Advice("look", "Look at nozzle, bushing and mold face for melt.", "", HOT_MELT)
_DRIFT = Advice("drift_check", "Drift check against the frozen gate.", "drift-check", HOT_MELT)
_SHORT = Advice("short_shot", "Weigh short shots without hold pressure.", "short-shot", HOT_MELT)
_MELT = Advice("melt", "Check that recovery and back pressure repeat, shot after shot.")
_TRIAL = Advice("trial", "Try two to five levels of decompression, 50 shots each.", "setting-trial", HOT_MELT)
_INSPECT = Advice(
    "inspect", "Plan to pull the screw and measure ring, seat and bore.", "inspection", LOCK_OUT
)
_RECORD = Advice("record", "Capture a new startup record when the press runs as it should.", "baselines")
_DOSING = Advice(
    "dosing", "Look at feed throat, hopper and screw stop; dosing comes before the valve.", "", HOT_MELT
)
_LOT = Advice("lot", "Compare lot and moisture with the one before.")
_SETTING = Advice("setting", "Ask who changed what; enter the change as an event.")
_REFERENCE = Advice("reference", "Check the zero of the position reading.", "qualification", HOT_MELT)
_WEIGH = Advice("weigh", "Weigh one shot in ten and tell the engineer.")
_FLASH = Advice("flash", "Look at the parting line and clamp force.", "", HOT_MELT)
_CAVITY = Advice("cavity", "Look for the cavity that does not fill.", "", HOT_MELT)

_STEPS: Final[dict[str, tuple[Advice, ...]]] = {
    "steady_leak": (_CONTAIN, _NO_TOP_UP, _LOOK, _DRIFT, _SHORT, _INSPECT),
    "erratic_closing": (_CONTAIN, _WEIGH, _MELT, _SHORT, _TRIAL, _INSPECT),
    "not_closing": (_CONTAIN, _NO_TOP_UP, _LOOK, _DRIFT, _INSPECT),
    "uneven_melt": (_WEIGH, _MELT, _SHORT),
    "metering": (_DOSING, _MELT),
    "worn_screw": (_MELT, _INSPECT),
    "viscosity_shift": (_LOT, _WEIGH),
    "setting_change": (_SETTING, _RECORD),
    "position_reference": (_REFERENCE, _RECORD),
    "flash": (_CONTAIN, _FLASH, _WEIGH),
    "blocked_cavity": (_CONTAIN, _CAVITY, _WEIGH),
    "outward_leak": (_CONTAIN, _LOOK, _WEIGH),
    "unexplained": (_LOOK, _WEIGH, _SHORT, _DRIFT),
    "sealing": (),
}

#: What an alarm asks of whoever stands at the press, in one sentence.
_AT_THE_PRESS: Final[dict[str, str]] = {
    "steady_leak": "Stop and sort from the first suspect box. Do not raise the shot size.",
    "not_closing": "Stop the press and sort what it made. Call the engineer.",
    "erratic_closing": "Go on, weigh every tenth shot, tell the engineer.",
    "flash": "Look at the parting line, set flashed parts aside.",
    "outward_leak": "Stop, keep clear of the nozzle, look for melt from behind the guard.",
    "blocked_cavity": "Look for the cavity that stays empty, set the parts aside.",
}


def steps_for(cause: str) -> tuple[Advice, ...]:
    """The steps of a cause, in order.

    >>> [step.id for step in steps_for("metering")]
    ['dosing', 'melt']
    """
    return _STEPS.get(cause, _STEPS["unexplained"])


def floor_advice(kind: str, cause: str) -> str:
    """What to do now about an alarm of a kind, in one sentence.

    >>> floor_advice("silent", "")
    'Check that the press runs and that it sends.'
    """
    if kind == "silent":
        return "Check that the press runs and that it sends."
    if kind == "bottoming":
        return "The screw goes to bottom: weigh the last shots, set short parts aside, tell the engineer."
    return _AT_THE_PRESS.get(cause, "Weigh the last shots and tell the engineer.")
