"""What each off-line check is, how it is judged and what to do with it, for the help page and its links."""

from typing import Final

from server.language import N_
from server.words.catalogue import Entry

CHECKS: Final = (
    Entry(
        id="check-short-shot",
        name=N_("Short-shot weights"),
        meaning=(
            N_(
                "Parts filled short on purpose, without hold, weighed one by one. What fills is then"
                " decided by the stroke and by the valve alone: weights that vary say that it shuts"
                " late, or not alike. Where they vary, look at melt temperature and metering before"
                " the valve."
            )
        ),
        formula=N_("scatter of ten shots, as percent of their mean"),
        source=N_("Common practice, no source."),
        act=N_("Where weights vary, look at melt and metering first. Where only they do, try decompression."),
    ),
    Entry(
        id="check-drift-check",
        name=N_("Drift check"),
        meaning=(
            N_(
                "The screw is held under pressure against a blocked outlet; how far it creeps forward"
                " shows what flows back over the ring. Melt under pressure: only by trained people,"
                " after the site's procedure. A screw that creeps on is a reason to inspect, not yet a"
                " worn ring: the outlet may leak, too."
            )
        ),
        formula=N_("leak flow = creep speed × screw area"),
        source=N_("Common practice, no source."),
        act=N_("Creeps: look at the outlet, then measure at two or three screw positions, then inspect."),
    ),
    Entry(
        id="check-inspection",
        name=N_("Inspection"),
        meaning=(
            N_(
                "Ring, seat and barrel looked at and measured with the screw out. It settles what"
                " everything else only makes likely, and teaches the score what this plant's valves"
                " look like before they fail."
            )
        ),
        formula=N_("clearance = (widest bore − thinnest ring) ÷ 2, U = √(U bore² + U ring²) ÷ 2"),
        source=N_("GUM (JCGM 100:2008) 5.1 for the uncertainty; verdict: common practice, no source."),
        act=N_("Measure cold, with the instrument named; enter it under Studies, sound valves too."),
    ),
    Entry(
        id="check-setting-trial",
        name=N_("Setting trial"),
        meaning=(
            N_(
                "One setting (decompression, say) at a few levels, in an order drawn by lot, each for"
                " a fixed number of shots. It says whether the setting changes level or scatter, and"
                " by how much at least."
            )
        ),
        formula=N_("risk shared over the planned looks"),
        source=N_("Lan and DeMets 1983 for the looks."),
        act=N_("Keep to the drawn order. Take over a level only where the trial says that it differs."),
    ),
    Entry(
        id="check-gate-seal",
        name=N_("Gate seal"),
        meaning=(
            N_(
                "Part weight over hold time. Where it rises no more the gate is frozen: before that,"
                " melt runs back out of the mold and looks like a leaking valve."
            )
        ),
        formula=N_("shortest hold time from which the weight rises no more than chance explains"),
        source=N_("Common practice, no source."),
        act=N_("Set the hold time just past the point from which the part gets no heavier."),
    ),
    Entry(
        id="check-qualification",
        name=N_("Press qualification"),
        meaning=(
            N_(
                "What a press does by itself, checked before a startup record is approved on it:"
                " whether dose, speed and pressure repeat. A record on a press that does not repeat"
                " judges the press, not the valve."
            )
        ),
        formula=N_("each number against its limit; where readings scatter, its 95 % interval"),
        source=N_("Common practice, no source."),
        act=N_("Settle every check that failed before a startup record is approved on the press."),
    ),
    Entry(
        id="check-proof",
        name=N_("Proof of fix"),
        meaning=(
            N_(
                "Shots after a repair or a change compared with those before it. Only what differs"
                " beyond chance counts as fixed; the verdict then belongs to the record of the valve"
                " that is in."
            )
        ),
        formula=N_("level and scatter of the swept stroke after against before, risk of 5 % shared by both"),
        source=N_("Welch 1947, Holm 1979."),
        act=N_("Close the action with the verdict shown; undecided means more shots, not another word."),
    ),
)
