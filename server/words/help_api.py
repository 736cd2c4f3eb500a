"""What fields of the API mean, told by the entries of the help page, so that it is written once."""

import dataclasses
from collections.abc import Mapping
from typing import Final

from server.contract import CAUSES, LEAK_CAUSES
from server.language import spoken
from server.valve.evidence_words import TERM_TEXT
from server.words.catalogue import Entry, shared_entries
from server.words.help_alarms import ALARMS
from server.words.help_evidence import EVIDENCE, evidence_anchor
from server.words.help_terms import entry_called

#: Field → anchor of the entry that explains it. A field of one name means the same in every answer.
FIELDS: Final[Mapping[str, str]] = {
    "likelihood": "likelihood",
    "leak_likelihood": "likelihood",
    "log_odds": "likelihood",
    "prior_log_odds": "evidence-prior",
    "onset": "estimate-onset",
    "lost_mm": "estimate-lost",
    "lost_cm3": "estimate-lost",
    "flow_cm3_s": "estimate-flow",
    "gap_mm": "estimate-gap",
    "run_out": "estimate-run-out",
    "stability": "stability",
    "n_effective": "interval-95",
    "phi": "neighbours-alike",
    "sigma_within": "sigma-within",
    "sigma_total": "sigma-within",
    "cp": "pp-cp",
    "pp": "pp-cp",
    "cpk": "cpk",
    "ppk": "ppk",
    "cpm": "cpm",
    "percentile": "percentile-method",
    "normality": "normality",
    "ppm": "outside-limits",
    "ppm_observed": "outside-limits",
    "shift_sigma": "startup-record",
}


@dataclasses.dataclass(frozen=True)
class Codes:
    """Fields that hold ids of a catalogue, or a number for each of them; with the anchor of each id."""

    says: str
    anchors: Mapping[str, str]


#: Field → the ids it may hold.
CODED: Final[Mapping[str, Codes]] = {
    "causes": Codes("Share of each cause, by its id; together 1.", {one: one for one in CAUSES}),
    "leading_cause": Codes("The cause with the largest share.", {one: one for one in CAUSES}),
    "cause": Codes("What an alarm puts first; null for kinds without one.", {one: one for one in CAUSES}),
    "terms": Codes(
        "Log-odds of each piece of evidence, by its id.",
        {one: f"evidence-{one}" for one in TERM_TEXT if one != "prior"},
    ),
    "evidence": Codes(
        "What the likelihood rests on: `signal` is one of these ids.",
        {entry.id.removeprefix("evidence-"): entry.id for entry in EVIDENCE}
        | {one: evidence_anchor(one) for one in ("short-shot", "drift-check", "inspection", "proof")},
    ),
    "rule": Codes("Which rule found it.", {one: one for one in shared_entries("rules")}),
    "rules": Codes("Rules to look with.", {one: one for one in shared_entries("rules")}),
    "signal": Codes("Of which signal it speaks.", {one: one for one in shared_entries("signals")}),
    "kind": Codes("What kind of thing the alarm tells.", {kind: one.id for kind, one in ALARMS.items()}),
}


def entry_text(entry: Entry) -> str:
    """An entry as one paragraph in the language of the source.

    >>> entry_text(entry_called("cpk")).endswith("Source: ISO 22514-2.")
    True
    """
    formula = f" Formula: {entry.formula}." if entry.formula else ""
    source = f" Source: {entry.source}" if entry.source else ""
    return f"{entry.meaning}{formula}{source}"


def field_text(field: str) -> str:
    """The description of a field; raises KeyError for one that nothing explains.

    >>> field_text("cpk").startswith("How far the mean is from the nearer limit")
    True
    >>> "`beyond_limit`: One point lies outside the limits" in field_text("rule")
    True
    """
    # The document is made once and kept: whoever asks first must not decide on its language.
    with spoken(None):
        if field in FIELDS:
            return entry_text(_need(FIELDS[field]))
        coded = CODED[field]
        lines = [f"- `{code}`: {_need(anchor).meaning}" for code, anchor in coded.anchors.items()]
        return "\n".join([coded.says, "", *lines])


def _need(anchor: str) -> Entry:
    found = entry_called(anchor)
    if found is None:
        raise KeyError(anchor)
    return found


assert set(LEAK_CAUSES) <= set(CODED["causes"].anchors)
