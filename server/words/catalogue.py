"""Words for every code a page may meet, joined by id.

`shared/*.json` is the home of causes, rules and signals; the words of states and answers stand here.
"""

import dataclasses
import functools
import json
from collections.abc import Mapping
from typing import Any, Final

from server.language import N_, _, say
from server.settings import outside

URGENCY: Final[dict[str, str]] = {
    "now": N_("now"),
    "this_shift": N_("this shift"),
    "this_week": N_("this week"),
}

ALARM_STATE: Final[dict[str, str]] = {
    "normal": N_("over"),
    "unacknowledged": N_("nobody has answered yet"),
    "acknowledged": N_("answered"),
    "returned_unacknowledged": N_("over, nobody answered"),
    "shelved": N_("put aside"),
    "suppressed": N_("held back"),
    "out_of_service": N_("out of service"),
}

REASON: Final[dict[str, str]] = {
    "going": N_("Going to it"),
    "seen": N_("Seen"),
    "planned": N_("Planned work"),
    "not_real": N_("Not real"),
}

#: Why alarms are held back by design, as far as the reason has a word of its own.
HELD_BACK: Final[dict[str, str]] = {
    "startup": N_("the press starts up"),
    "mold_change": N_("mold change"),
    "study": N_("a study runs or has just been made"),
}

#: What kind of thing an alarm tells, in few words.
ALARM_KIND: Final[dict[str, str]] = {
    "leak": N_("leak"),
    "bottoming": N_("no cushion left"),
    "silent": N_("press is silent"),
    "shift": N_("a signal has moved"),
    "scatter": N_("a signal scatters"),
    "data_quality": N_("data cannot be right"),
    "capability": N_("mold falls short"),
}

EVENT_NAMES: Final[dict[str, str]] = {
    "setting": N_("setting"),
    "lot": N_("lot"),
    "mold_start": N_("mold start"),
    "maintenance": N_("maintenance"),
    "valve_change": N_("valve change"),
    "top_up": N_("top-up"),
    "note": N_("note"),
}

LEAK_STATUS: Final[dict[str, str]] = {
    "ok": N_("judged"),
    "no_baseline": N_("Not enough data: no startup record to compare with"),
    "too_few_shots": N_("Not enough data: too few shots since the startup record"),
    "missing_signals": N_("Not enough data: signals are missing"),
    "stale": N_("The last judgement is old: no shots since"),
    "not_applicable": N_("No judgement: this press has no valve of that kind"),
}

VALVE_STYLE: Final[dict[str, str]] = {
    "sliding_ring": N_("sliding ring"),
    "ball_check": N_("ball check"),
    "other": N_("another valve"),
    "none": N_("no valve"),
}

ROLE: Final[dict[str, str]] = {
    "plant_engineer": N_("plant engineer"),
    "quality_lead": N_("quality lead"),
    "line_lead": N_("line lead"),
    "viewer": N_("viewer"),
    "administrator": N_("administrator"),
}

STUDY: Final[dict[str, str]] = {
    "short-shot": N_("Short-shot weights"),
    "drift-check": N_("Drift check"),
    "inspection": N_("Inspection"),
    "setting-trial": N_("Setting trial"),
    "gate-seal": N_("Gate seal"),
    "qualification": N_("Press qualification"),
    "proof": N_("Proof of fix"),
}

VERDICT: Final[dict[str, str]] = {
    "within": N_("repeats"),
    "over": N_("does not repeat"),
    "undecided": N_("cannot tell yet"),
    "fine": N_("holds"),
    "watch": N_("watch it"),
    "act": N_("does not hold"),
    "good": N_("good"),
    "worn": N_("worn, still usable"),
    "failed": N_("failed"),
    "fixed": N_("fixed"),
    "better": N_("better"),
    "no_change": N_("no change"),
    "worse": N_("worse"),
    "sealed": N_("gate seals"),
    "not_sealed": N_("gate not yet sealed"),
    "no_rise": N_("sealed before the shortest hold"),
    "no_difference": N_("no difference shown"),
    "mean": N_("changes the level"),
    "spread": N_("changes the scatter"),
    "both": N_("changes level and scatter"),
    "passed": N_("passed"),
    "conditional": N_("passed with conditions"),
}

#: What is said of a press whose valve leaks, as the start of a sentence about it.
LEAK_CLAIM: Final[dict[str, str]] = {
    "steady_leak": N_("is probably leaking past its valve"),
    "erratic_closing": N_("probably closes late on some shots"),
    "not_closing": N_("probably has a valve that does not shut"),
}


@dataclasses.dataclass(frozen=True)
class Entry:
    """A term with what it means, its formula, its source and what to do, as the help page shows it."""

    id: str
    name: str
    meaning: str
    formula: str
    source: str
    act: str = ""


@functools.cache
def _shared(file: str) -> Mapping[str, Any]:
    found: Any = json.loads((outside("shared") / f"{file}.json").read_text(encoding="utf-8"))
    if not isinstance(found, dict):
        raise TypeError(_("shared/{file}.json is not an object", file=file))
    return found


def shared_object(file: str) -> Mapping[str, Any]:
    """The whole of `shared/{file}.json`.

    >>> shared_object("causes")["causes"][0]["id"]
    'sealing'
    """
    return _shared(file)


def shared_list(file: str, name: str) -> list[Mapping[str, Any]]:
    """The list `name` of `shared/{file}.json`, in its order."""
    return list(_shared(file).get(name, []))


@functools.cache
def shared_entries(file: str) -> Mapping[str, Mapping[str, Any]]:
    """Entries of the list of a catalogue's own name, by id.

    >>> shared_entries("causes")["sealing"]["text"]
    'Sealing well'
    """
    return {str(entry["id"]): entry for entry in shared_list(file, file)}


def _shared_text(file: str, code: str, field: str) -> str | None:
    text = shared_entries(file).get(code, {}).get(field)
    return say(text) if isinstance(text, str) and text else None


def entry_of(file: str, code: str) -> Entry:
    """A catalogue's entry as the help page shows it."""
    found = shared_entries(file)[code]
    parts = {field: say(str(found.get(field, ""))) for field in ("name", "meaning", "formula", "source")}
    caution = found.get("caution") or found.get("settled_by")
    if caution:
        lead = "" if found.get("caution") else _("Settled by: ")
        caution = say(str(caution))
        parts["meaning"] = f"{parts['meaning']} {lead}{caution}{'' if str(caution).endswith('.') else '.'}"
    return Entry(id=code, **parts)


def cause_name(cause: str) -> str:
    """
    >>> cause_name("sealing")
    'Sealing well'
    """
    return _shared_text("causes", cause, "text") or cause.replace("_", " ")


def signal_name(signal: str) -> str:
    return _shared_text("signals", signal, "name") or signal.replace("_", " ")


def rule_name(rule: str) -> str:
    """A rule inside a sentence.

    >>> rule_name("beyond_limit")
    'beyond a limit'
    """
    name = _shared_text("rules", rule, "name") or rule.replace("_", " ")
    return name[0].lower() + name[1:]


def worded(table: Mapping[str, str], code: str) -> str:
    """A code's words; a code nobody has words for is shown as itself, without underscores.

    >>> worded(URGENCY, "this_shift"), worded(URGENCY, "some_day")
    ('this shift', 'some day')
    """
    return say(table.get(code, code.replace("_", " ")))
