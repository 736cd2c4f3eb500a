"""What to do next, in order, by cause, read from `shared/guidance.json` and `shared/cautions.json`.

Cautions stand before any step with hands on the press.
"""

import dataclasses
import functools
from collections.abc import Mapping
from typing import Any, Final

from server.language import N_, say
from server.words.catalogue import shared_entries, shared_list

#: The page or study a step opens, where there is one.
STUDY_ACTIONS = ("short-shot", "drift-check", "inspection")
#: What the button of a step says: it opens a page, and starts nothing at the press.
STEP_ACTIONS: Final = {
    "short-shot": N_("enter the weights"),
    "drift-check": N_("enter the readings"),
    "inspection": N_("enter what was found"),
    "setting-trial": N_("plan the trial"),
    "comparison": N_("the case"),
    "containment": N_("suspect shots"),
    "events": N_("record it"),
    "baselines": N_("startup records"),
}


@dataclasses.dataclass(frozen=True)
class Advice:
    """One step. `action`: what it opens (empty: nothing); `cautions`: ids of what to read before it."""

    id: str
    text: str
    action: str = ""
    cautions: tuple[str, ...] = ()


@functools.cache
def _steps() -> Mapping[str, Advice]:
    return {
        str(step["id"]): Advice(
            id=str(step["id"]),
            text=N_(str(step["text"])),
            action=str(step.get("action", "")),
            cautions=tuple(str(one) for one in step.get("cautions", ())),
        )
        for step in shared_list("guidance", "steps")
    }


@functools.cache
def _by_cause() -> Mapping[str, Mapping[str, Any]]:
    return {str(entry["id"]): entry for entry in shared_list("guidance", "guidance")}


def caution_text(*ids: str) -> str:
    """The texts of cautions, one after the other.

    >>> "left-handed" in caution_text("lock_out"), caution_text()
    (True, '')
    """
    known = shared_entries("cautions")
    return " ".join(say(str(known[one]["text"])) for one in ids if one in known)


def caution_names(*ids: str) -> str:
    """What cautions are called, for where their texts have just been said.

    >>> caution_names("hot_melt", "lock_out")
    'Hot melt under pressure; pressure stays after lock-out'
    """
    known = shared_entries("cautions")
    said = (say(str(known[one]["name"])) for one in ids)
    names = "; ".join(name[0].lower() + name[1:] for name in said)
    return names[:1].upper() + names[1:]


def steps_for(cause: str) -> tuple[Advice, ...]:
    """The steps of a cause, in order; an unknown cause gets those of `unexplained`.

    >>> [step.id for step in steps_for("metering")][:2]
    ['weigh', 'dosing']
    """
    entry = _by_cause().get(cause) or _by_cause()["unexplained"]
    return tuple(_steps()[step] for step in entry["steps"] if step in _steps())


def at_the_press(cause: str) -> str:
    """What to do at the press while a cause leads.

    >>> at_the_press("metering")
    'Look at the hopper: is there material? Tell the engineer.'
    """
    entry = _by_cause().get(cause) or _by_cause()["unexplained"]
    return say(str(entry["at_the_press"]))


def is_step(step: str) -> bool:
    """
    >>> is_step("weigh"), is_step("guess")
    (True, False)
    """
    return step in _steps()


def step_text(step: str) -> str:
    """The text of a step; of none the guidance knows, its id.

    >>> step_text("weigh").startswith("Weigh one shot"), step_text("guess")
    (True, 'guess')
    """
    return say(_steps()[step].text) if step in _steps() else step


#: What to do with the parts, in words.
PARTS_WORDS: Final[Mapping[str, str]] = {
    "stop": N_("Stop the press as the site's procedure says and set the last parts aside."),
    "sort": N_("Go on, but sort the parts."),
    "go_on": N_("The parts may go on."),
}


def parts_of(kind: str, urgency: str) -> str:
    """What an alarm says of the parts being made: `stop`, `sort` or `go_on` (common practice, no source).

    >>> parts_of("bottoming", "now"), parts_of("shift", "this_week")
    ('stop', 'go_on')
    """
    if kind == "bottoming" or (kind == "leak" and urgency == "now"):
        return "stop"
    if kind == "capability" or (kind != "silent" and urgency == "this_shift"):
        return "sort"
    return "go_on"


#: What to do at the press about alarms whose cause is not one of the melt's or the valve's.
_AT_THE_PRESS: Final[Mapping[str, str]] = {
    "silent": N_("Check that the press runs and that it sends."),
    "bottoming": N_(
        "Weigh the last shots, set short parts aside, tell the engineer. Do not raise the shot size."
    ),
    "data_quality": N_(
        "Compare the display of the press with what it sends; until they agree, nothing said of it holds."
    ),
    "capability": N_("Weigh and measure the last parts and tell quality."),
}


def floor_advice(kind: str, cause: str, urgency: str = "") -> str:
    """What to do now about an alarm of a kind; with its urgency, what to do with the parts goes first.

    >>> floor_advice("silent", "")
    'Check that the press runs and that it sends.'
    >>> floor_advice("shift", "viscosity_shift", "this_week").startswith("The parts may go on.")
    True
    """
    advice = say(_AT_THE_PRESS.get(kind) or at_the_press(cause))
    if not urgency or kind == "silent":
        return advice
    return f"{say(PARTS_WORDS[parts_of(kind, urgency)])} {advice}"
