"""A press that is not judged: why, and what gets it there."""

import dataclasses

from server.language import _
from server.show.judged import Judgement
from server.show.pages import StepRow
from server.show.plant_words import press_href
from server.show.record_line import RecordLine
from server.store.page_queries import Row
from server.words.catalogue import LEAK_STATUS, signal_name, worded
from server.words.guidance import STEP_ACTIONS


@dataclasses.dataclass(frozen=True)
class Unjudged:
    """`why` in a sentence; the steps that lead on; `nothing_text`: what is waited for, without any."""

    why: str
    steps: tuple[StepRow, ...] = ()
    nothing_text: str = ""


def unjudged(row: Row, judgement: Judgement, record: RecordLine) -> Unjudged:
    """For a press without a likelihood."""
    said = worded(LEAK_STATUS, judgement.status)
    missing = ", ".join(signal_name(name).lower() for name in judgement.missing)
    why = said + (f": {missing}." if missing else ".")
    at = press_href(row["press"])
    if judgement.status == "too_few_shots":
        return Unjudged(why, nothing_text=_("Nothing to do: some more shots, and it is judged by itself."))
    if judgement.status == "missing_signals":
        text = _("See which signals the press does not send, and have them sent.")
        return Unjudged(why, (StepRow("signals", text, f"{at}/data-quality", _("data quality")),))
    if judgement.status != "no_baseline":
        return Unjudged(why, nothing_text=_("Nothing to do."))
    if row["last_shot_ms"] is None:
        return Unjudged(why, nothing_text=_("First its shots have to come: from a file, or by itself."))
    if record.holds_no is not None:
        holds = _("Record {number} is approved and judges every shot after it.", number=record.holds_no)
        return Unjudged(holds, nothing_text=_("Nothing to do: it is judged by itself with its next shots."))
    if record.draft_no is not None:
        text = _("Look at record {number} and approve it.", number=record.draft_no)
        return Unjudged(why, (_records(text, at),))
    return Unjudged(why, (_records(_("Capture a startup record from good shots."), at),))


def _records(text: str, at: str) -> StepRow:
    return StepRow("baselines", text, f"{at}/baselines", STEP_ACTIONS["baselines"])
