"""Questions only pages ask: many presses at once, thinned paths, newest rows of people's work."""

import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.distinct import values_of
from server.store.tables import (
    alarms,
    baselines,
    events,
    findings,
    intake,
    molds,
    people,
    press_states,
    presses,
    quarantine,
    scores,
    setups,
    shots,
    studies,
    valves,
)

Row = Mapping[str, Any]


def _rows(connection: sa.Connection, query: sa.Select[Any]) -> list[Row]:
    return [dict(row._mapping) for row in connection.execute(query)]


def accepted_presses(connection: sa.Connection) -> list[Row]:
    """Every press of the plant with its state beside it, by code."""
    return _rows(connection, _with_state().order_by(presses.c.press))


def _with_state() -> sa.Select[Any]:
    state = [column for column in press_states.c if column.name not in ("press_id", "dose_lag")]
    return (
        sa.select(presses, press_states.c.dose_lag.label("dose_lag_found"), *state)
        .join_from(presses, press_states, presses.c.press_id == press_states.c.press_id, isouter=True)
        .where(presses.c.accepted)
    )


def press_with_state(connection: sa.Connection, code: str) -> Row | None:
    """One press of the plant with its state beside it."""
    return next(iter(_rows(connection, _with_state().where(presses.c.press == code))), None)


def waiting_presses(connection: sa.Connection, *, limit: int = 20) -> list[str]:
    """Codes of presses that send shots and are not accepted yet."""
    return values_of(connection, quarantine.c.press, quarantine.c.kind == "unknown_press", limit=limit)


def mold_parts(connection: sa.Connection) -> dict[str, str]:
    """Part names by mold."""
    rows = connection.execute(sa.select(molds.c.mold, molds.c.part).order_by(molds.c.mold))
    return {row.mold: row.part for row in rows}


def score_path(
    connection: sa.Connection, press_id: int, *, since_ms: int, bucket_ms: int
) -> list[tuple[int, float]]:
    """Mean log-odds per bucket of time since then, as (middle of the bucket, log-odds), in order."""
    bucket = (scores.c.at_ms // bucket_ms).label("bucket")
    rows = connection.execute(
        sa.select(bucket, sa.func.avg(scores.c.log_odds))
        .where(scores.c.press_id == press_id, scores.c.at_ms >= since_ms)
        .group_by(bucket)
        .order_by(bucket)
    )
    return [(int(row[0]) * bucket_ms + bucket_ms // 2, float(row[1])) for row in rows]


def baselines_in_force(connection: sa.Connection, press_id: int | None = None) -> dict[int, Row]:
    """The record each press is judged against now, by press; of one press alone where it is named."""
    query = sa.select(baselines).join(
        press_states,
        sa.and_(
            press_states.c.press_id == baselines.c.press_id,
            press_states.c.baseline_no == baselines.c.baseline_no,
        ),
    )
    if press_id is not None:
        query = query.where(baselines.c.press_id == press_id)
    rows = connection.execute(query)
    return {row.press_id: dict(row._mapping) for row in rows}


def baselines_of(connection: sa.Connection, press_id: int) -> list[Row]:
    """Every record of a press, newest first."""
    return _rows(
        connection,
        sa.select(baselines)
        .where(baselines.c.press_id == press_id)
        .order_by(baselines.c.baseline_no.desc())
        .limit(200),
    )


def open_alarms(connection: sa.Connection) -> list[Row]:
    """Alarms that are not over, with their press, oldest first."""
    return _alarms(connection, alarms.c.open_mark == 1, limit=500)


def past_alarms(connection: sa.Connection, *, limit: int = 50) -> list[Row]:
    """Alarms that are over, newest first."""
    return _alarms(connection, alarms.c.open_mark.is_(None), limit=limit, newest=True)


def _alarms(
    connection: sa.Connection, condition: sa.ColumnElement[bool], *, limit: int, newest: bool = False
) -> list[Row]:
    order = alarms.c.opened_ms.desc() if newest else alarms.c.opened_ms.asc()
    return _rows(
        connection,
        sa.select(alarms, presses.c.press, presses.c.name, presses.c.area)
        .join(presses, presses.c.press_id == alarms.c.press_id)
        .where(condition)
        .order_by(order, alarms.c.press_id)
        .limit(limit),
    )


def findings_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int, limit: int = 2_000
) -> list[Row]:
    """Episodes that touch the stretch, newest first."""
    return _rows(
        connection,
        sa.select(findings)
        .where(findings.c.press_id == press_id, findings.c.to_ms >= from_ms, findings.c.from_ms < to_ms)
        .order_by(findings.c.from_ms.desc())
        .limit(limit),
    )


def finding_stretches(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int, near_ms: int
) -> list[tuple[str, str, int, int]]:
    """(signal, rule, from_ms, to_ms): episodes that touch a stretch, those of one signal and rule that begin
    in the same `near_ms` as one, however many there are."""
    c = findings.c
    # An episode begun before the stretch counts from its edge.
    # Both numbers are written out: bound, PostgreSQL would take each for another expression to group by.
    edge = sa.literal(from_ms, literal_execute=True)
    begin = sa.case((c.from_ms < edge, edge), else_=c.from_ms)
    piece = begin // sa.literal(near_ms, literal_execute=True)
    rows = connection.execute(
        sa.select(c.signal, c.rule, sa.func.min(c.from_ms), sa.func.max(c.to_ms))
        .where(c.press_id == press_id, c.to_ms >= from_ms, c.from_ms < to_ms)
        .group_by(c.signal, c.rule, piece)
    )
    return [(str(signal), str(rule), int(first), int(last)) for signal, rule, first, last in rows]


def events_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int, limit: int = 500
) -> list[Row]:
    """Events of the stretch, newest first."""
    return _rows(
        connection,
        sa.select(events)
        .where(events.c.press_id == press_id, events.c.at_ms >= from_ms, events.c.at_ms < to_ms)
        .order_by(events.c.at_ms.desc(), events.c.event_no.desc())
        .limit(limit),
    )


def valve_ledger(connection: sa.Connection, press_id: int | None = None) -> list[Row]:
    """Every valve fitted, newest first within a press, with its press's code."""
    query = sa.select(valves, presses.c.press, presses.c.name).join(
        presses, presses.c.press_id == valves.c.press_id
    )
    if press_id is not None:
        query = query.where(valves.c.press_id == press_id)
    return _rows(connection, query.order_by(presses.c.press, valves.c.fitted_ms.desc()).limit(2_000))


def shots_between(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int | None = None) -> int:
    """How many shots a press made in a stretch."""
    query = sa.select(sa.func.count()).where(shots.c.press_id == press_id, shots.c.at_ms >= from_ms)
    if to_ms is not None:
        query = query.where(shots.c.at_ms < to_ms)
    return int(connection.execute(query).scalar_one())


def latest_studies(connection: sa.Connection, *, press: str | None = None, limit: int = 100) -> list[Row]:
    """Studies with their press, newest first."""
    query = sa.select(studies, presses.c.press, presses.c.name).join(
        presses, presses.c.press_id == studies.c.press_id
    )
    if press:
        query = query.where(presses.c.press == press)
    return _rows(connection, query.order_by(studies.c.at_ms.desc()).limit(limit))


def rows_apart(connection: sa.Connection, *, limit: int = 100) -> list[Row]:
    """Rows that were not taken, newest first."""
    return _rows(connection, sa.select(quarantine).order_by(quarantine.c.arrived_ms.desc()).limit(limit))


def shots_lately(connection: sa.Connection, *, since_ms: int) -> int:
    """How many shots the plant made since then."""
    # By press, so that the key of the table carries the question.
    count = sa.select(sa.func.count()).where(
        shots.c.press_id == press_states.c.press_id, shots.c.at_ms >= since_ms
    )
    total = connection.execute(
        sa.select(sa.func.sum(count.scalar_subquery())).where(press_states.c.last_shot_ms >= since_ms)
    ).scalar_one()
    return int(total or 0)


def shots_waiting(connection: sa.Connection, press_id: int) -> int:
    """Shots of a press that are not judged yet."""
    total = connection.execute(
        sa.select(sa.func.sum(intake.c.shots)).where(intake.c.press_id == press_id)
    ).scalar_one()
    return int(total or 0)


def boxes_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, column: str, limit: int = 500
) -> list[str]:
    """Boxes or lots (`column`) the shots since then went to, in order of their first shot."""
    chosen = shots.c[column]
    rows = connection.execute(
        sa.select(chosen)
        .where(shots.c.press_id == press_id, shots.c.at_ms >= from_ms, chosen.is_not(None))
        .group_by(chosen)
        .order_by(sa.func.min(shots.c.at_ms))
        .limit(limit)
    )
    return [str(value) for value in rows.scalars()]


def first_shot_ms(connection: sa.Connection, press_id: int) -> int | None:
    found = connection.execute(
        sa.select(sa.func.min(shots.c.at_ms)).where(shots.c.press_id == press_id)
    ).scalar_one()
    return None if found is None else int(found)


def presses_of_molds(connection: sa.Connection) -> dict[str, list[str]]:
    """Presses that ever ran a mold, by mold."""
    rows = connection.execute(
        sa.select(setups.c.mold, presses.c.press)
        .join(presses, presses.c.press_id == setups.c.press_id)
        .group_by(setups.c.mold, presses.c.press)
        .order_by(setups.c.mold, presses.c.press)
    )
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(row.mold, []).append(row.press)
    return found


def people_by_name(connection: sa.Connection) -> list[Row]:
    return _rows(
        connection,
        sa.select(people.c.name, people.c.role, people.c.active).order_by(people.c.name).limit(500),
    )


def document(text: str | None) -> dict[str, Any]:
    """A JSON object kept as text; anything else is an empty one."""
    if not text:
        return {}
    found = json.loads(text)
    return found if isinstance(found, dict) else {}
