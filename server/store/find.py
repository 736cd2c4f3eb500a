"""What somebody looks for by a few words: one question for each kind of thing, bounded and in order.

Only tables that do not grow with shots are asked: those of reference, and what people wrote.
"""

import sqlalchemy as sa

from server.store.find_words import Asked, Kinds, Row, called_so, numbered, of_kind, rows_met
from server.store.tables import (
    alarms,
    baselines,
    cases,
    containments,
    molds,
    press_states,
    presses,
    reports,
    setting_trials,
    setups,
    studies,
    study_sheets,
    valves,
)


def presses_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Presses by code, name, area and what they run now; who is called so first."""
    now = press_states.c
    texts = (presses.c.press, presses.c.name, presses.c.area, now.mold, now.material, now.lot, now.box)
    query = (
        sa.select(*texts)
        .join_from(presses, press_states, presses.c.press_id == now.press_id, isouter=True)
        .where(presses.c.accepted)
        .order_by(called_so(asked, presses.c.press, presses.c.name), presses.c.press)
    )
    return rows_met(connection, query, asked, texts, limit=limit)


def molds_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Molds by code and part; which is called so first."""
    texts = (molds.c.mold, molds.c.part)
    query = sa.select(*texts, molds.c.cavities).order_by(called_so(asked, molds.c.mold), molds.c.mold)
    return rows_met(connection, query, asked, texts, limit=limit)


def materials_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Materials presses ever ran, with how many presses, and one of them."""
    query = (
        sa.select(
            setups.c.material,
            sa.func.count(sa.distinct(setups.c.press_id)).label("presses"),
            sa.func.min(presses.c.press).label("press"),
        )
        .join(presses, presses.c.press_id == setups.c.press_id)
        .where(setups.c.material != "", presses.c.accepted)
        .group_by(setups.c.material)
        .order_by(called_so(asked, setups.c.material), setups.c.material)
    )
    return rows_met(connection, query, asked, (setups.c.material,), limit=limit)


def setups_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Named set-ups of presses, the newest first."""
    texts = (presses.c.press, setups.c.setup, setups.c.mold, setups.c.material)
    since = sa.func.max(setups.c.first_seen_ms).label("first_seen_ms")
    query = (
        sa.select(*texts, since)
        .join(presses, presses.c.press_id == setups.c.press_id)
        .where(presses.c.accepted, setups.c.mold != "")
        .group_by(*texts)
        .order_by(since.desc(), presses.c.press, setups.c.mold, setups.c.material, setups.c.setup)
    )
    return rows_met(connection, query, asked, texts, limit=limit)


def valves_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Valves by press, part number, materials and notes; those that are in first, then the newest."""
    c = valves.c
    texts = (presses.c.press, c.part_number, c.material_pair, c.note, c.found)
    is_out = sa.case((c.removed_ms.is_(None), 0), else_=1)
    query = (
        sa.select(*texts, c.valve_no, c.style, c.fitted_ms, c.removed_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .order_by(
            called_so(asked, c.part_number), is_out, c.fitted_ms.desc(), presses.c.press, c.valve_no
        )
    )  # fmt: skip
    return rows_met(connection, query, asked, texts, numbered(presses.c.press, c.valve_no), limit=limit)


def cases_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Cases by press, number, text and people; open ones first, then the newest."""
    c = cases.c
    texts = (presses.c.press, c.about, c.owner, c.opened_by, c.mold, c.closing_note)
    query = (
        sa.select(*texts, c.case_no, c.opened_ms, c.closed_ms, c.verdict)
        .join(presses, presses.c.press_id == c.press_id)
        .order_by(sa.case((c.open_mark == 1, 0), else_=1), c.opened_ms.desc(), presses.c.press)
    )
    return rows_met(connection, query, asked, texts, numbered(presses.c.press, c.case_no), limit=limit)


def open_alarms_found(connection: sa.Connection, asked: Asked, kinds: Kinds, *, limit: int) -> list[Row]:
    """Open alarms by press, number and kind; the newest first."""
    return _alarms(connection, asked, kinds, alarms.c.open_mark == 1, limit=limit)


def past_alarms_found(connection: sa.Connection, asked: Asked, kinds: Kinds, *, limit: int) -> list[Row]:
    """Alarms that are over, by their number; none where no number is among the words."""
    numbers = sorted({word.number for word in asked.words if word.number is not None})
    if not numbers:
        return []
    # One look by the key for each press, however many alarms there ever were.
    condition = sa.and_(
        alarms.c.press_id.in_(sa.select(presses.c.press_id)),
        alarms.c.alarm_no.in_(numbers),
        alarms.c.open_mark.is_(None),
    )
    return _alarms(connection, asked, kinds, condition, limit=limit)


def _alarms(
    connection: sa.Connection, asked: Asked, kinds: Kinds, condition: sa.ColumnElement[bool], *, limit: int
) -> list[Row]:
    c = alarms.c
    texts = (presses.c.press, presses.c.name)
    query = (
        sa.select(*texts, c.alarm_no, c.kind, c.urgency, c.state, c.opened_ms, c.ended_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .where(condition)
        .order_by(c.opened_ms.desc(), presses.c.press, c.alarm_no)
    )
    others = (numbered(presses.c.press, c.alarm_no), of_kind(c.kind, kinds))
    return rows_met(connection, query, asked, texts, *others, limit=limit)


def studies_found(connection: sa.Connection, asked: Asked, kinds: Kinds, *, limit: int) -> list[Row]:
    """Studies by press, number, mold, kind and who made them; the newest first."""
    c = studies.c
    texts = (presses.c.press, c.mold, c.author)
    query = (
        sa.select(*texts, c.study_no, c.kind, c.at_ms, c.verdict)
        .join(presses, presses.c.press_id == c.press_id)
        .order_by(c.at_ms.desc(), presses.c.press, c.study_no)
    )
    others = (numbered(presses.c.press, c.study_no), of_kind(c.kind, kinds))
    return rows_met(connection, query, asked, texts, *others, limit=limit)


def sheets_found(connection: sa.Connection, asked: Asked, kinds: Kinds, *, limit: int) -> list[Row]:
    """Studies that are being done, by press, number, mold, kind and who began them; the newest first."""
    c = study_sheets.c
    texts = (presses.c.press, c.mold, c.opened_by)
    query = (
        sa.select(*texts, c.sheet_no, c.kind, c.opened_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .where(c.state == "open")
        .order_by(c.opened_ms.desc(), presses.c.press, c.sheet_no)
    )
    others = (numbered(presses.c.press, c.sheet_no), of_kind(c.kind, kinds))
    return rows_met(connection, query, asked, texts, *others, limit=limit)


def records_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Startup records by press, number, what ran and their notes; the newest first."""
    c = baselines.c
    texts = (presses.c.press, c.mold, c.material, c.setup, c.note)
    query = (
        sa.select(*texts, c.baseline_no, c.state, c.captured_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .order_by(c.captured_ms.desc(), presses.c.press, c.baseline_no)
    )
    return rows_met(connection, query, asked, texts, numbered(presses.c.press, c.baseline_no), limit=limit)


def trials_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Setting trials by press, number, setting and note; the newest first."""
    c = setting_trials.c
    texts = (presses.c.press, c.setting, c.note)
    query = (
        sa.select(*texts, c.trial_no, c.planned_ms, c.ended_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .order_by(c.planned_ms.desc(), presses.c.press, c.trial_no)
    )
    return rows_met(connection, query, asked, texts, numbered(presses.c.press, c.trial_no), limit=limit)


def held_found(connection: sa.Connection, asked: Asked, *, limit: int) -> list[Row]:
    """Parts that are held, by press, number, mold and why; the newest first."""
    c = containments.c
    texts = (presses.c.press, c.mold, c.why)
    query = (
        sa.select(*texts, c.containment_no, c.held_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .where(c.open_mark == 1)
        .order_by(c.held_ms.desc(), presses.c.press, c.containment_no)
    )
    return rows_met(connection, query, asked, texts, numbered(presses.c.press, c.containment_no), limit=limit)


def reports_found(connection: sa.Connection, asked: Asked, kinds: Kinds, *, limit: int) -> list[Row]:
    """Reports by number, subject, kind and who made them; the newest first."""
    c = reports.c
    texts = (c.subject, c.made_by, c.note)
    query = sa.select(*texts, c.report_no, c.kind, c.made_ms).order_by(c.made_ms.desc(), c.report_no.desc())
    others = (numbered(c.subject, c.report_no), of_kind(c.kind, kinds))
    return rows_met(connection, query, asked, texts, *others, limit=limit)
