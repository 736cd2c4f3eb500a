"""What happened on a press while a case was open, in order of time, gathered from what is kept anyway."""

import dataclasses
from collections.abc import Iterator

import sqlalchemy as sa

from server.contract import CAUSES
from server.language import N_
from server.store.alarms import public_id
from server.store.cases import Case, acts_between, alarm_steps_between, notes_of
from server.store.plant import Press
from server.store.records import Event, events_of, list_studies
from server.words.alarm_words import listed
from server.words.case_words import ACT, PARTS_ACTS
from server.words.catalogue import ALARM_KIND, EVENT_NAMES, REASON, STUDY, VERDICT, cause_name, worded
from server.words.guidance import step_text


@dataclasses.dataclass(frozen=True)
class Happening:
    """One line of the story. kind: `alarm`, `event`, `study`, `note`, `act`; `who` '' for nobody."""

    at_ms: int
    kind: str
    text: str
    who: str = ""


def story_of(connection: sa.Connection, press: Press, case: Case, *, now_ms: int) -> list[Happening]:
    """Everything from the onset of a case to its end, or until now."""
    end = case.closed_ms + 1 if case.closed_ms is not None else now_ms + 1
    lines = [
        *_alarms(connection, press, case.onset_ms, end),
        *(_event(one) for one in events_of(connection, press.press_id, from_ms=case.onset_ms, to_ms=end)),
        *_studies(connection, press, case.onset_ms, end),
        *(Happening(one.at_ms, "note", one.note, one.who) for one in notes_of(connection, case)),
        *_acts(connection, press, case.onset_ms, end),
    ]
    return sorted(lines, key=lambda one: one.at_ms)


def _alarms(connection: sa.Connection, press: Press, from_ms: int, to_ms: int) -> Iterator[Happening]:
    for step in alarm_steps_between(connection, press.press_id, from_ms=from_ms, to_ms=to_ms):
        what = worded(ALARM_KIND, step.kind)
        if step.cause in CAUSES and step.action == "opened":
            what = f"{what} ({cause_name(step.cause).lower()})"
        reason = worded(REASON, step.reason).lower() if step.reason else ""
        said = listed([one for one in (reason, step.note.replace("_", " ")) if one])
        text = N_(
            "Alarm {public_id}, {what}: {worded}",
            public_id=public_id(press.press, step.alarm_no),
            what=what,
            worded=worded({}, step.action),
        )
        yield Happening(step.at_ms, "alarm", f"{text}; {said}" if said else text, step.who)


def _event(event: Event) -> Happening:
    parts = [worded(EVENT_NAMES, event.kind), event.lot, event.setting]
    if event.from_value or event.to_value:
        parts.append(f"{event.from_value or '?'} → {event.to_value or '?'}")
    text = " ".join(part for part in parts if part)
    return Happening(event.at_ms, "event", f"{text}: {event.note}" if event.note else text, event.author)


def _studies(connection: sa.Connection, press: Press, from_ms: int, to_ms: int) -> Iterator[Happening]:
    for _, study in list_studies(connection, press_id=press.press_id, limit=200):
        if from_ms <= study.at_ms < to_ms:
            said = study.result.get("text")
            text = f"{worded(STUDY, study.kind)} {study.study_no}: {worded(VERDICT, study.verdict)}"
            if isinstance(said, str) and said:
                text = f"{text}. {said}"
            yield Happening(study.at_ms, "study", text, study.author)


def _acts(connection: sa.Connection, press: Press, from_ms: int, to_ms: int) -> Iterator[Happening]:
    """Ticks, startup records, trials and what was done with suspect parts, from the trail."""
    for at_ms, who, action, subject in acts_between(connection, press.press_id, from_ms=from_ms, to_ms=to_ms):
        about = subject.removeprefix(press.press).strip()
        if action in ("step_ticked", "tick_taken_back"):
            yield Happening(at_ms, "act", f"{worded(ACT, action).capitalize()}: {step_text(about)}", who)
        elif action in ACT or action.startswith(PARTS_ACTS):
            text = worded(ACT, action).capitalize()
            yield Happening(at_ms, "act", f"{text} ({about})" if about else text, who)
