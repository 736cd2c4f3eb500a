"""What each off-line check is, how it is judged and what to do with it, for the help page and its links."""

from typing import Final

from server.words.catalogue import Entry

CHECKS: Final = (
    Entry(
        id="check-short-shot",
        name="Short-shot weights",
        meaning=(
            "Parts filled short on purpose, without hold, weighed one by one. What fills is then decided by"
            " the stroke and by the valve alone: weights that vary say that it shuts late, or not alike."
            " Where they vary, look at melt temperature and metering before the valve."
        ),
        formula="scatter of ten shots, as percent of their mean",
        source="Common practice, no source.",
    ),
    Entry(
        id="check-drift-check",
        name="Drift check",
        meaning=(
            "The screw is held under pressure against a blocked outlet; how far it creeps forward shows"
            " what flows back over the ring. Melt under pressure: only by trained people, after the site's"
            " procedure. A screw that creeps on is a reason to inspect, not yet a worn ring: the outlet may"
            " leak, too."
        ),
        formula="leak flow = creep speed × screw area",
        source="Common practice, no source.",
    ),
    Entry(
        id="check-inspection",
        name="Inspection",
        meaning=(
            "Ring, seat and barrel looked at and measured with the screw out. It settles what everything"
            " else only makes likely, and teaches the score what this plant's valves look like before they"
            " fail."
        ),
        formula="",
        source="Common practice, no source.",
    ),
    Entry(
        id="check-setting-trial",
        name="Setting trial",
        meaning=(
            "One setting (decompression, say) at a few levels, in an order drawn by lot, each for a fixed"
            " number of shots. It says whether the setting changes level or scatter, and by how much at"
            " least."
        ),
        formula="risk shared over the planned looks",
        source="Lan and DeMets 1983 for the looks.",
    ),
    Entry(
        id="check-gate-seal",
        name="Gate seal",
        meaning=(
            "Part weight over hold time. Where it rises no more the gate is frozen: before that, melt runs"
            " back out of the mold and looks like a leaking valve."
        ),
        formula="",
        source="Common practice, no source.",
    ),
    Entry(
        id="check-qualification",
        name="Press qualification",
        meaning=(
            "What a press does by itself, checked before a startup record is approved on it: whether dose,"
            " speed and pressure repeat. A record on a press that does not repeat judges the press, not the"
            " valve."
        ),
        formula="",
        source="Common practice, no source.",
    ),
    Entry(
        id="check-proof",
        name="Proof of fix",
        meaning=(
            "Shots after a repair or a change compared with those before it. Only what differs beyond"
            " chance counts as fixed; the verdict then belongs to the record of the valve that is in."
        ),
        formula="",
        source="Welch 1947, Holm 1979.",
    ),
)
