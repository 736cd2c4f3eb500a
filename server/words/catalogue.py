"""Words for every code a page may meet, joined by id.

`shared/*.json` is the home of causes, rules and signals; the words of states and answers stand here.
"""

import dataclasses
import functools
import json
from collections.abc import Mapping
from typing import Any, Final

from server.settings import outside

URGENCY: Final[dict[str, str]] = {"now": "now", "this_shift": "this shift", "this_week": "this week"}

ALARM_STATE: Final[dict[str, str]] = {
    "normal": "over",
    "unacknowledged": "nobody has answered yet",
    "acknowledged": "answered",
    "returned_unacknowledged": "over, nobody answered",
    "shelved": "put aside",
    "suppressed": "held back",
    "out_of_service": "out of service",
}

REASON: Final[dict[str, str]] = {
    "going": "Going to it",
    "seen": "Seen",
    "planned": "Planned work",
    "not_real": "Not real",
}

#: Why alarms are held back by design, as far as the reason has a word of its own.
HELD_BACK: Final[dict[str, str]] = {
    "startup": "the press starts up",
    "mold_change": "mold change",
    "study": "a study runs or has just been made",
}

#: What kind of thing an alarm tells, in few words.
ALARM_KIND: Final[dict[str, str]] = {
    "leak": "leak",
    "bottoming": "no cushion left",
    "silent": "press is silent",
    "shift": "a signal has moved",
    "scatter": "a signal scatters",
    "data_quality": "data cannot be right",
    "capability": "mold falls short",
}

EVENT_NAMES: Final[dict[str, str]] = {
    "setting": "setting",
    "lot": "lot",
    "mold_start": "mold start",
    "maintenance": "maintenance",
    "valve_change": "valve change",
    "top_up": "top-up",
    "note": "note",
}

LEAK_STATUS: Final[dict[str, str]] = {
    "ok": "judged",
    "no_baseline": "Not enough data: no startup record to compare with",
    "too_few_shots": "Not enough data: too few shots since the startup record",
    "missing_signals": "Not enough data: signals are missing",
    "stale": "The last judgement is old: no shots since",
    "not_applicable": "No judgement: this press has no valve of that kind",
}

VALVE_STYLE: Final[dict[str, str]] = {
    "sliding_ring": "sliding ring",
    "ball_check": "ball check",
    "other": "another valve",
    "none": "no valve",
}

ROLE: Final[dict[str, str]] = {
    "plant_engineer": "plant engineer",
    "quality_lead": "quality lead",
    "line_lead": "line lead",
    "viewer": "viewer",
    "administrator": "administrator",
}

STUDY: Final[dict[str, str]] = {
    "short-shot": "Short-shot weights",
    "drift-check": "Drift check",
    "inspection": "Inspection",
    "setting-trial": "Setting trial",
    "gate-seal": "Gate seal",
    "qualification": "Press qualification",
    "proof": "Proof of fix",
}

VERDICT: Final[dict[str, str]] = {
    "within": "repeats",
    "over": "does not repeat",
    "undecided": "cannot tell yet",
    "fine": "holds",
    "watch": "watch it",
    "act": "does not hold",
    "good": "good",
    "worn": "worn, still usable",
    "failed": "failed",
    "fixed": "fixed",
    "better": "better",
    "no_change": "no change",
    "worse": "worse",
    "sealed": "gate seals",
    "not_sealed": "gate not yet sealed",
    "no_rise": "sealed before the shortest hold",
    "no_difference": "no difference shown",
    "mean": "changes the level",
    "spread": "changes the scatter",
    "both": "changes level and scatter",
    "passed": "passed",
    "conditional": "passed with conditions",
}

#: What is said of a press whose valve leaks, as the start of a sentence about it.
LEAK_CLAIM: Final[dict[str, str]] = {
    "steady_leak": "is probably leaking past its valve",
    "erratic_closing": "probably closes late on some shots",
    "not_closing": "probably has a valve that does not shut",
}


@dataclasses.dataclass(frozen=True)
class Entry:
    """A term with what it means, its formula and its source, as the help page shows it."""

    id: str
    name: str
    meaning: str
    formula: str
    source: str


@functools.cache
def _shared(file: str) -> Mapping[str, Any]:
    found: Any = json.loads((outside("shared") / f"{file}.json").read_text(encoding="utf-8"))
    if not isinstance(found, dict):
        raise TypeError(f"shared/{file}.json is not an object")
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
    return text if isinstance(text, str) and text else None


def entry_of(file: str, code: str) -> Entry:
    """A catalogue's entry as the help page shows it."""
    found = shared_entries(file)[code]
    parts = {field: str(found.get(field, "")) for field in ("name", "meaning", "formula", "source")}
    caution = found.get("caution") or found.get("settled_by")
    if caution:
        lead = "" if found.get("caution") else "Settled by: "
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
    return table.get(code, code.replace("_", " "))
