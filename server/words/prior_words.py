"""What the prior of a score is made of, in one sentence a part."""

from collections.abc import Sequence
from typing import Final

from server.language import _
from server.valve.checks import Part
from server.valve.judgement import likelihood
from server.words.catalogue import STUDY, worded
from server.words.numbers import percent, whole

#: A check that moves the log-odds by less settles nothing (odds of 1.35 to 1).
_LITTLE: Final = 0.3
#: The name of the plain prior in the API's evidence.
PRIOR: Final = "prior"


def prior_signal(part: Part) -> str:
    """The name of a part among the evidence."""
    return PRIOR if part.source == "prevalence" else part.source


def prior_sentence(part: Part) -> str:
    """One sentence on a part, with its numbers and no full stop.

    >>> prior_sentence(Part("prevalence", -2.9444))
    'Before any data: 5 % of such valves leak'
    >>> prior_sentence(Part("valve_age", 0.4, shots=1_200_000))
    'The valve has made 1,200,000 shots, many for its expected life'
    >>> prior_sentence(Part("drift-check", -0.9, number=3, shots=12_400))
    'Drift check 3, about 12,400 shots ago, speaks against a leak'
    """
    if part.source == "prevalence":
        return _(
            "Before any data: {likelihood} of such valves leak", likelihood=percent(likelihood(part.log_odds))
        )
    if part.source == "valve_age":
        shots = whole(part.shots)
        if abs(part.log_odds) <= _LITTLE:
            return _("The valve has made {shots} shots, about half its expected life", shots=shots)
        if part.log_odds < 0:
            return _("The valve has made {shots} shots, few for its expected life", shots=shots)
        return _("The valve has made {shots} shots, many for its expected life", shots=shots)
    says = _("settles nothing")
    if abs(part.log_odds) >= _LITTLE:
        says = _("speaks for a leak") if part.log_odds > 0 else _("speaks against a leak")
    ago = (
        _("about {shots} shots ago", shots=whole(part.shots))
        if part.shots
        else _("within the last 100 shots")
    )
    return f"{worded(STUDY, part.source)} {part.number}, {ago}, {says}"


def prior_lines(parts: Sequence[Part], *, total: float) -> list[tuple[str, float, str]]:
    """(signal, log-odds, sentence) of every part; a score kept without parts has one."""
    known = parts or [Part("prevalence", total)]
    return [(prior_signal(part), part.log_odds, prior_sentence(part)) for part in known]
