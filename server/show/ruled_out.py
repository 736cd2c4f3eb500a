"""What the data already say of each next step: ruled out by the shots, or done and with what result."""

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import sqlalchemy as sa

from server.language import _
from server.show.judged import Judgement
from server.show.pages import StepRow
from server.show.plant_words import Plant, Since
from server.store.page_queries import Row
from server.store.records import Event, Study, events_of, list_studies
from server.store.trials import running_trial
from server.words.catalogue import VERDICT, worded
from server.words.numbers import signed
from server.words.times import DAY

#: A scatter below this multiple of the startup record's repeats as it did there (common practice, no source).
REPEATS: Final = 1.25
#: Changes against the startup record that are none, in % (common practice, no source).
SMALL_RECOVERY, SMALL_PEAK, SMALL_FILL, SMALL_WEIGHT = 3.0, 1.5, 2.0, 0.3
#: So long before the estimated onset a new lot or setting may still be behind it.
BEFORE_MS: Final = DAY
#: A check older than this is worth doing again.
RECENT_MS: Final = 30 * DAY

_STUDY_OF: Final = {
    "short_shot": "short-shot", "drift_check": "drift-check", "inspect": "inspection",
    "gate_seal": "gate-seal",
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Said:
    """What the data say of a step. `ruled_out`: it need not be done; else it has been done."""

    text: str
    ruled_out: bool = True


Facts = Mapping[str, float]


def with_data(
    connection: sa.Connection, row: Row, steps: Sequence[StepRow], judgement: Judgement, since: Since | None,
    plant: Plant,
) -> tuple[StepRow, ...]:  # fmt: skip
    """The steps, each with what is known of it already."""
    if not steps:
        return ()
    said = {
        **_by_shots(judgement.facts),
        **_by_record(connection, row, since, plant),
        **_by_studies(connection, row, plant),
    }
    return tuple(
        dataclasses.replace(step, says=said[step.id].text, ruled_out=said[step.id].ruled_out)
        if step.id in said
        else step
        for step in steps
    )


def _by_shots(facts: Facts) -> dict[str, Said]:
    """Steps against which the shots themselves speak."""
    found = {}
    for step, look in _LOOKS.items():
        text = look(facts)
        if text:
            found[step] = Said(_("The shots speak against it: {value}.", value=text))
    return found


def _fact(facts: Facts, name: str) -> float:
    return facts.get(name, math.nan)


def _dosing(facts: Facts) -> str:
    times = _fact(facts, "shot_size_scatter")
    return _("the shot size scatters as at startup (× {times:.2f})", times=times) if times < REPEATS else ""


def _melt(facts: Facts) -> str:
    times, change = _fact(facts, "recovery_scatter"), _fact(facts, "recovery_change_pct")
    if times < REPEATS and abs(change) < SMALL_RECOVERY:
        return _(
            "recovery repeats as at startup (× {times:.2f}, {change} %)", times=times, change=signed(change)
        )
    return ""


def _temperatures(facts: Facts) -> str:
    peak, fill = _fact(facts, "peak_change_pct"), _fact(facts, "fill_change_pct")
    if abs(peak) < SMALL_PEAK and abs(fill) < SMALL_FILL:
        return _(
            "the melt is as thick as at startup (peak {peak} %, fill time {fill} %)",
            peak=signed(peak),
            fill=signed(fill),
        )
    return ""


def _screw(facts: Facts) -> str:
    change = _fact(facts, "recovery_change_pct")
    if abs(change) < SMALL_RECOVERY:
        return _("recovery takes as long as at startup ({change} %)", change=signed(change))
    return ""


def _flash(facts: Facts) -> str:
    change = _fact(facts, "weight_change_pct")
    return (
        _("shots are no heavier than at startup ({change} %)", change=signed(change))
        if change < SMALL_WEIGHT
        else ""
    )


_LOOKS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "dosing": _dosing, "melt": _melt, "temperatures": _temperatures, "screw_wear": _screw, "clamp": _flash,
    "sort_flash": _flash,
}  # fmt: skip


def _by_record(connection: sa.Connection, row: Row, since: Since | None, plant: Plant) -> dict[str, Said]:
    """A lot or a setting cannot be behind it where none changed about the onset."""
    if since is None:
        return {}
    begin = since.from_ms - BEFORE_MS
    events: list[Event] = events_of(connection, row["press_id"], from_ms=begin, to_ms=since.to_ms + 1)
    kinds = {event.kind for event in events}
    day = plant.day(begin)
    found = {}
    for step, kind, word in (("lot", "lot", "lot"), ("setting", "setting", "setting")):
        if kind not in kinds:
            found[step] = Said(
                _(
                    "No new {word} is on record between {day} and {to}.",
                    word=word,
                    day=day,
                    to=plant.day(since.to_ms),
                )
            )
    return found


def _by_studies(connection: sa.Connection, row: Row, plant: Plant) -> dict[str, Said]:
    """Checks done lately, with their verdict; a trial that runs."""
    found: dict[str, Said] = {}
    studies: list[tuple[str, Study]] = list_studies(connection, press_id=row["press_id"], limit=50)
    for step, kind in _STUDY_OF.items():
        last = next((one for _, one in studies if one.kind == kind), None)
        if last is not None and plant.now_ms - last.at_ms < RECENT_MS:
            said = _(
                "Done {at}: {verdict}.", at=plant.moment(last.at_ms), verdict=worded(VERDICT, last.verdict)
            )
            found[step] = Said(said, ruled_out=False)
    trial = running_trial(connection, row["press_id"])
    if trial is not None:
        found["setting_trial"] = Said(
            _("Trial {trial_no} of {setting} runs.", trial_no=trial.trial_no, setting=trial.setting),
            ruled_out=False,
        )
    return found
