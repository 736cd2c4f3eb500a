"""Words for every code a page may meet, joined by id.

`shared/*.json` is the home of causes, rules and signals; where it holds a text for an id, that text
is used, and what stands here serves ids it does not hold.
"""

import dataclasses
import functools
import json
from collections.abc import Mapping
from typing import Any, Final

from server.settings import outside
from server.valve.evidence_words import CAUSE_TEXT

SIGNAL_NAMES: Final[dict[str, str]] = {
    "swept_mm": "Swept stroke",
    "cushion_mm": "Cushion",
    "shot_size_mm": "Shot size",
    "peak_pressure_bar": "Peak pressure",
    "transfer_pressure_bar": "Transfer pressure",
    "fill_time_s": "Fill time",
    "recovery_s_per_mm": "Recovery",
    "part_weight_g": "Part weight",
    "drift_mm": "Drift after gate seal",
    "hold_pressure_bar": "Hold pressure",
    "cycle_time_s": "Cycle time",
    "melt_temp_c": "Melt temperature",
}

RULE_NAMES: Final[dict[str, str]] = {
    "beyond_limit": "beyond a limit",
    "two_of_three_beyond_2_sigma": "two of three beyond 2 σ",
    "four_of_five_beyond_1_sigma": "four of five beyond 1 σ",
    "one_side": "a long run on one side",
    "steady_trend": "a steady trend",
    "alternating": "up and down in turn",
    "within_1_sigma": "all within 1 σ",
    "outside_1_sigma": "none within 1 σ",
    "bottoming": "cushion at bottom",
}

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
}

VERDICT: Final[dict[str, str]] = {
    "within": "repeats",
    "over": "does not repeat",
    "undecided": "cannot tell yet",
    "fine": "holds",
    "watch": "watch it",
    "act": "does not hold",
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
def shared_entries(kind: str) -> Mapping[str, Mapping[str, Any]]:
    """Entries of `shared/{kind}.json` by id; empty when the file is not there."""
    path = outside("shared") / f"{kind}.json"
    if not path.is_file():
        return {}
    found = json.loads(path.read_text(encoding="utf-8"))
    items: Any = found.get(kind, found.get("items", [])) if isinstance(found, dict) else found
    if isinstance(items, dict):
        return {str(key): value for key, value in items.items() if isinstance(value, dict)}
    return {str(item["id"]): item for item in items if isinstance(item, dict) and "id" in item}


def _shared_text(kind: str, code: str, *fields: str) -> str | None:
    entry = shared_entries(kind).get(code, {})
    for field in fields:
        if isinstance(entry.get(field), str) and entry[field]:
            return str(entry[field])
    return None


def cause_name(cause: str) -> str:
    """
    >>> cause_name("sealing")
    'Sealing well'
    """
    return _shared_text("causes", cause, "text") or CAUSE_TEXT.get(cause, cause.replace("_", " "))


def signal_name(signal: str) -> str:
    return SIGNAL_NAMES.get(signal, signal.replace("_", " "))


def rule_name(rule: str) -> str:
    return RULE_NAMES.get(rule, rule.replace("_", " "))


def worded(table: Mapping[str, str], code: str) -> str:
    """A code's words; a code nobody has words for is shown as itself, without underscores.

    >>> worded(URGENCY, "this_shift"), worded(URGENCY, "some_day")
    ('this shift', 'some day')
    """
    return table.get(code, code.replace("_", " "))
