"""Cases of a press, their notes and actions, and what happened on the press meanwhile."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_press
from server.store.tables import (
    alarm_steps,
    alarms,
    audit,
    case_actions,
    case_notes,
    cases,
    presses,
    scores,
)


@dataclasses.dataclass(frozen=True)
class Case:
    """One suspicion on one press. `closed_ms` None: it is open. `evidence`: what the verdict rests on."""

    press_id: int
    case_no: int
    about: str
    onset_ms: int
    opened_ms: int
    opened_by: str
    alarm_no: int | None
    mold: str
    material: str
    valve_style: str
    valve_no: int | None
    owner: str
    closed_ms: int | None = None
    closed_by: str | None = None
    verdict: str = ""
    closing_note: str = ""
    action_no: int | None = None
    evidence: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    open_mark: int | None = 1

    @property
    def is_open(self) -> bool:
        return self.closed_ms is None


@dataclasses.dataclass(frozen=True)
class CaseNote:
    press_id: int
    case_no: int
    note_no: int
    at_ms: int
    who: str
    note: str


@dataclasses.dataclass(frozen=True)
class CaseAction:
    """What was done: kind `setting`, `material`, `hardware` or `valve`; `valve_no`: the one that went."""

    press_id: int
    case_no: int
    action_no: int
    kind: str
    at_ms: int
    event_no: int
    valve_no: int | None
    what: str
    who: str
    recorded_ms: int


@dataclasses.dataclass(frozen=True)
class StepTaken:
    """A step an alarm took."""

    alarm_no: int
    kind: str
    cause: str
    at_ms: int
    action: str
    who: str
    reason: str
    note: str


def _case(row: Any) -> Case:
    values = {field.name: getattr(row, field.name) for field in dataclasses.fields(Case)}
    return Case(**{**values, "evidence": json.loads(values["evidence"])})


def add_case(connection: sa.Connection, case: Case) -> Case:
    """Keep a case under the press's next number."""
    number = next_of_press(connection, cases.c.case_no, case.press_id)
    kept = dataclasses.replace(case, case_no=number)
    values = dataclasses.asdict(kept)
    connection.execute(sa.insert(cases).values(**{**values, "evidence": json.dumps(dict(kept.evidence))}))
    return kept


def change_case(connection: sa.Connection, case: Case, **changes: Any) -> Case:
    values = dict(changes)
    if "evidence" in values:
        values["evidence"] = json.dumps(values["evidence"], sort_keys=True)
    if values:
        connection.execute(
            sa.update(cases)
            .where(cases.c.press_id == case.press_id, cases.c.case_no == case.case_no)
            .values(**values)
        )
    return dataclasses.replace(case, **changes)


def case_by_no(connection: sa.Connection, press_id: int, case_no: int) -> Case | None:
    row = connection.execute(
        sa.select(cases).where(cases.c.press_id == press_id, cases.c.case_no == case_no)
    ).one_or_none()
    return None if row is None else _case(row)


def open_case(connection: sa.Connection, press_id: int) -> Case | None:
    """The open case of a press; there is at most one."""
    row = connection.execute(
        sa.select(cases).where(cases.c.press_id == press_id, cases.c.open_mark == 1)
    ).one_or_none()
    return None if row is None else _case(row)


def open_cases(connection: sa.Connection) -> dict[int, Case]:
    """Every open case, by press."""
    rows = connection.execute(sa.select(cases).where(cases.c.open_mark == 1))
    return {row.press_id: _case(row) for row in rows}


def list_cases(
    connection: sa.Connection,
    *,
    press_id: int | None = None,
    is_open: bool | None = None,
    after: tuple[int, int, int] | None = None,
    limit: int = 100,
) -> list[tuple[str, Case]]:
    """Cases with the code of their press, newest first. after: (opened_ms, press_id, case_no) of the last."""
    query = sa.select(presses.c.press.label("of_press"), cases).join(
        presses, presses.c.press_id == cases.c.press_id
    )
    if press_id is not None:
        query = query.where(cases.c.press_id == press_id)
    if is_open is not None:
        query = query.where(cases.c.open_mark == 1 if is_open else cases.c.open_mark.is_(None))
    if after is not None:
        key = sa.tuple_(cases.c.opened_ms, cases.c.press_id, cases.c.case_no)
        query = query.where(key < after)
    order = (cases.c.opened_ms.desc(), cases.c.press_id.desc(), cases.c.case_no.desc())
    rows = connection.execute(query.order_by(*order).limit(limit))
    return [(str(row.of_press), _case(row)) for row in rows]


def proven_cases(
    connection: sa.Connection, *, press_id: int, mold: str, valve_style: str, limit: int = 200
) -> list[tuple[str, Case]]:
    """Closed cases on this press, with this mold or with this style of valve, newest first."""
    alike = [cases.c.press_id == press_id]
    if mold:
        alike.append(cases.c.mold == mold)
    if valve_style:
        alike.append(cases.c.valve_style == valve_style)
    rows = connection.execute(
        sa.select(presses.c.press.label("of_press"), cases)
        .join(presses, presses.c.press_id == cases.c.press_id)
        .where(cases.c.open_mark.is_(None), cases.c.action_no.is_not(None), sa.or_(*alike))
        .order_by(cases.c.closed_ms.desc(), cases.c.press_id, cases.c.case_no.desc())
        .limit(limit)
    )
    return [(str(row.of_press), _case(row)) for row in rows]


# --- notes and actions ----------------------------------------------------------------------------


def add_note(connection: sa.Connection, note: CaseNote) -> CaseNote:
    """Keep a note under the case's next number."""
    of_case = case_notes.c.case_no == note.case_no
    number = next_of_press(connection, case_notes.c.note_no, note.press_id, of_case)
    kept = dataclasses.replace(note, note_no=number)
    connection.execute(sa.insert(case_notes).values(**dataclasses.asdict(kept)))
    return kept


def notes_of(connection: sa.Connection, case: Case) -> list[CaseNote]:
    rows = connection.execute(
        sa.select(case_notes)
        .where(case_notes.c.press_id == case.press_id, case_notes.c.case_no == case.case_no)
        .order_by(case_notes.c.note_no)
    )
    return [CaseNote(**row._mapping) for row in rows]


def add_action(connection: sa.Connection, action: CaseAction) -> CaseAction:
    """Keep an action under the case's next number."""
    of_case = case_actions.c.case_no == action.case_no
    number = next_of_press(connection, case_actions.c.action_no, action.press_id, of_case)
    kept = dataclasses.replace(action, action_no=number)
    connection.execute(sa.insert(case_actions).values(**dataclasses.asdict(kept)))
    return kept


def actions_of(connection: sa.Connection, case: Case) -> list[CaseAction]:
    """What was done, in order of time."""
    rows = connection.execute(
        sa.select(case_actions)
        .where(case_actions.c.press_id == case.press_id, case_actions.c.case_no == case.case_no)
        .order_by(case_actions.c.at_ms, case_actions.c.action_no)
    )
    return [CaseAction(**row._mapping) for row in rows]


# --- what happened meanwhile ----------------------------------------------------------------------


def alarm_steps_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int, limit: int = 500
) -> list[StepTaken]:
    """Steps alarms of a press took in a stretch, in order of time."""
    rows = connection.execute(
        sa.select(
            alarm_steps.c.alarm_no,
            alarms.c.kind,
            alarms.c.cause,
            alarm_steps.c.at_ms,
            alarm_steps.c.action,
            alarm_steps.c.who,
            alarm_steps.c.reason,
            alarm_steps.c.note,
        )
        .join(
            alarms,
            sa.and_(alarms.c.press_id == alarm_steps.c.press_id, alarms.c.alarm_no == alarm_steps.c.alarm_no),
        )
        .where(
            alarm_steps.c.press_id == press_id,
            alarm_steps.c.at_ms >= from_ms,
            alarm_steps.c.at_ms < to_ms,
        )
        .order_by(alarm_steps.c.at_ms, alarm_steps.c.alarm_no, alarm_steps.c.step)
        .limit(limit)
    )
    return [StepTaken(**row._mapping) for row in rows]


def acts_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int, limit: int = 1_000
) -> list[tuple[int, str, str, str]]:
    """(at_ms, who, action, subject) of what people did to a press in a stretch, in order of time."""
    rows = connection.execute(
        sa.select(audit.c.at_ms, audit.c.who, audit.c.action, audit.c.subject)
        .where(audit.c.press_id == press_id, audit.c.at_ms >= from_ms, audit.c.at_ms < to_ms)
        .order_by(audit.c.at_ms, audit.c.audit_no)
        .limit(limit)
    )
    return [(int(row.at_ms), str(row.who), str(row.action), str(row.subject)) for row in rows]


def last_score(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int) -> float | None:
    """Log-odds of the last score kept in a stretch; None without one."""
    found = connection.execute(
        sa.select(scores.c.log_odds)
        .where(scores.c.press_id == press_id, scores.c.at_ms >= from_ms, scores.c.at_ms < to_ms)
        .order_by(scores.c.at_ms.desc(), scores.c.counter.desc())
        .limit(1)
    ).scalar_one_or_none()
    return None if found is None else float(found)
