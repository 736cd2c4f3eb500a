"""What each piece of evidence behind the likelihood looks at, and what to do about it, for the help page."""

from typing import Final

from server.language import N_
from server.valve.evidence_words import TERM_TEXT
from server.words.catalogue import Entry

_FITTED: Final = N_("Bounds: common practice, no source. Weights: fitted on simulated presses.")


def _entry(term: str, meaning: str, formula: str, act: str, source: str = _FITTED) -> Entry:
    return Entry(
        id=f"evidence-{term}",
        name=TERM_TEXT.get(term, N_("Age of the valve")),
        meaning=meaning,
        formula=formula,
        source=source,
        act=act,
    )


#: Parts of the prior first, then the terms in the order of the score.
EVIDENCE: Final = (
    _entry(
        "prior",
        N_(
            "What is believed of a valve before any shot is looked at: the share of such valves that leak in"
            " this plant, as the plant has set it. Age and checks are added to it as lines of their own."
        ),
        N_("log-odds = ln(share ÷ (1 − share))"),
        N_("Set the share under Settings to what your own inspections find."),
        N_("Bayes' rule; 5 % unless the plant says otherwise (common practice, no source)."),
    ),
    _entry(
        "valve_age",
        N_(
            "An old valve fails more often than a new one. The age alone never moves the odds by more than"
            " four times either way."
        ),
        N_("ln(2 · shots ÷ expected life), within ± ln 4"),
        N_("Enter valves and their expected life in the ledger; without them this line is missing."),
        N_("Weibull hazard of shape 2; the shape is common practice, no source."),
    ),
    _entry(
        "swept_level",
        N_(
            "How far the swept stroke stands above the startup record. Melt that goes back past the valve"
            " makes the screw travel further for the same part."
        ),
        N_("(middle of the last 20 and 100 shots − middle of the record) ÷ what a sound mean may differ"),
        N_("Look for what else takes melt: flash, melt outside, heavier parts. Then check the valve."),
    ),
    _entry(
        "swept_scatter",
        N_(
            "How much shots differ from one another in swept stroke, against the record. A ring that closes"
            " late on some shots makes it grow; a steady leak hardly does."
        ),
        N_("ln(mean distance within blocks of five shots ÷ that of the record), over 20, 100, 1,000 shots"),
        N_("Weigh short shots without hold; try decompression in a setting trial."),
    ),
    _entry(
        "low_tail",
        N_(
            "Single shots whose cushion falls out low while the rest are fine. Nothing but a valve that"
            " closes late on them looks like it."
        ),
        N_("shots far out low − shots far out high, in 100 and in 1,000"),
        N_("Weigh short shots without hold; then try decompression and the end of recovery."),
    ),
    _entry(
        "slow_drift",
        N_(
            "Whether the swept stroke grows bit by bit, as wear does, or has leapt, as changes do. Looked at"
            " over the last 1,000 shots and over all since the record."
        ),
        N_("slope over ten means of 100 shots ÷ its noise; share of the rise that no single step explains"),
        N_("See when the cushion runs out, and plan the inspection before that."),
    ),
    _entry(
        "not_shutting",
        N_("A cushion lost at once, or a screw that stands at its bottom: a valve that does not shut."),
        N_("rise of the last five shots in percent and in noise; share of shots at the bottom"),
        N_("Stop the press, sort what it made, look for melt outside first, then pull the screw."),
    ),
    _entry(
        "pressure_level",
        N_(
            "How injection pressure has moved. A leak lowers it little; a pressure that fell by much more"
            " than a leak of that size could do speaks for thinner melt, one that rose for thicker melt."
        ),
        N_("change of peak and transfer pressure, %; for a leak ΔP ÷ P ≈ n · ΔQ ÷ Q"),
        N_("Compare lot, moisture and melt temperature with the startup record."),
    ),
    _entry(
        "pressure_scatter",
        N_(
            "How much peak pressure differs from shot to shot, against the record. It grows with uneven melt"
            " and with late closing."
        ),
        N_("ln(scatter over 100 shots ÷ that of the record)"),
        N_("See whether recovery scatters too: then it is the melt."),
    ),
    _entry(
        "fill_time",
        N_(
            "Whether fill takes longer or less. With speed control it stays, so a change tells that the"
            " pressure was limited or the speed set differently."
        ),
        N_("|change against the record|, %; ln(scatter ÷ that of the record)"),
        N_("Compare speed and pressure limit with the set-points of the record."),
    ),
    _entry(
        "recovery",
        N_(
            "Whether the screw delivers melt as evenly and as fast as at startup. Uneven recovery points to"
            " melt or feed rather than to the valve."
        ),
        N_("recovery time ÷ metered travel: scatter and change against the record"),
        N_("Look at feed throat, hopper, drying and zone temperatures."),
    ),
    _entry(
        "metering",
        N_(
            "Whether shot size is dosed as evenly as at startup. A scatter of the dose explains one of the"
            " cushion without the valve."
        ),
        N_("ln(scatter of shot size ÷ that of the record), beside that of the swept stroke"),
        N_("Look at how exactly the screw stops, and at the feed."),
    ),
    _entry(
        "weight",
        N_(
            "Whether what the screw pushed reached the mold. A longer stroke without heavier parts went"
            " elsewhere; one with heavier parts went into them, as flash or packing."
        ),
        N_("rise of swept stroke, % − change of weight, %, ÷ noise of both"),
        N_("Weigh one shot in ten, whole shot with runner, and enter the weights."),
    ),
    _entry(
        "gate_seal_drift",
        N_(
            "Whether the screw creeps forward after the gate has frozen. That melt can only have gone back"
            " past the valve."
        ),
        N_("(drift over 100 shots − that of the record) ÷ scatter of the record"),
        N_("Make sure the hold time is past gate seal, then do a drift check."),
    ),
    _entry(
        "known_change",
        N_(
            "What people or the press said was changed. What a change moved within its first 20 shots is"
            " taken out of the levels, a lot up to 1 % of stroke, a setting up to 4 %."
        ),
        N_("level of 20 shots after − level of 20 shots before, capped"),
        N_("Enter every change of lot, setting and mold as an event: a change that is known is no leak."),
    ),
    _entry(
        "few_signals",
        N_(
            "Cushion and shot size alone cannot tell a leak from flash, melt outside or thinner melt. Where"
            " a press sends no more, the score is held under a cap, and this line says by how much."
        ),
        N_("score held at the cap, lifted by low single shots, by a valve that does not shut and by checks"),
        N_("Send part weight or injection pressure, or do a drift check: each settles it."),
        N_("The cap is fitted on simulated presses."),
    ),
    _entry(
        "own_inspections",
        N_(
            "What the plant's own inspections say of scores like this one: too sure, too timid, or right."
            " Only there once enough of both kinds, failing and sound, were found and the correction is on."
        ),
        N_("corrected log-odds = shift + slope · log-odds"),
        N_("Enter every inspection, those of sound valves opened at planned stops too."),
        N_("Logistic recalibration: Cox 1958 (memory)."),
    ),
)

#: Lines of the prior that are checks have the entry of that check.
_CHECKS: Final = (
    "short-shot", "drift-check", "inspection", "proof", "gate-seal", "setting-trial", "qualification",
)  # fmt: skip


def evidence_anchor(signal: str) -> str:
    """The id of the entry that explains a line of evidence; '' for one that has none.

    >>> evidence_anchor("swept_level"), evidence_anchor("drift-check"), evidence_anchor("moon")
    ('evidence-swept_level', 'check-drift-check', '')
    """
    if signal in _CHECKS:
        return f"check-{signal}"
    wanted = f"evidence-{signal}"
    return wanted if any(entry.id == wanted for entry in EVIDENCE) else ""
