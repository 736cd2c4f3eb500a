"""What a score rests on, as rows of a press's page."""

from server.show.evidence_bar import evidence_bar
from server.show.judged import Judgement, evidence_sentences
from server.show.pages import EvidenceRow
from server.words.help_evidence import evidence_anchor

#: Log-odds from which a line of evidence is worth a place at the top.
WEIGHS = 0.05


def evidence_rows(judgement: Judgement) -> tuple[EvidenceRow, ...]:
    """The prior first, then every term by its weight."""
    if judgement.likelihood is None:
        return ()
    lines = evidence_sentences(judgement)
    largest = max(abs(value) for _signal, _text, value in lines)
    return tuple(
        EvidenceRow(
            text=text,
            bar=evidence_bar(value, largest=largest),
            weighs=abs(value) >= WEIGHS,
            help=evidence_anchor(signal),
        )
        for signal, text, value in lines
    )
