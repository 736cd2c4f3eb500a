"""Parts held back, what was done with them, and the shots somebody asks for by box, serial or time."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_press
from server.store.tables import (
    alarm_steps,
    alarms,
    containment_steps,
    containments,
    presses,
    scores,
    setups,
    shots,
)


@dataclasses.dataclass(frozen=True)
class Containment:
    """Suspect shots of one press and mold, `from_ms` to `to_ms`, both included. `found_by`: boxes, lots, …"""

    press_id: int
    containment_no: int
    mold: str
    from_ms: int
    to_ms: int
    onset_low_ms: int | None
    onset_high_ms: int | None
    why: str
    shots: int
    found_by: Mapping[str, Any]
    state: str
    held_by: str
    held_ms: int


@dataclasses.dataclass(frozen=True)
class Step:
    """What somebody did with held parts. action: sorted, released."""

    step_no: int
    action: str
    at_ms: int
    who: str
    parts_checked: int | None
    parts_bad: int | None
    note: str


@dataclasses.dataclass(frozen=True)
class Asked:
    """Shots found for a complaint: one stretch of one press and mold."""

    press_id: int
    press: str
    mold: str
    shots: int
    first_ms: int
    last_ms: int


def add_containment(connection: sa.Connection, one: Containment) -> Containment:
    """Keep it under the press's next number, open."""
    number = next_of_press(connection, containments.c.containment_no, one.press_id)
    kept = dataclasses.replace(one, containment_no=number)
    found_by = json.dumps(kept.found_by, sort_keys=True)
    values = {**dataclasses.asdict(kept), "found_by": found_by, "open_mark": 1}
    connection.execute(sa.insert(containments).values(**values))
    return kept


def containment_by_no(connection: sa.Connection, press_id: int, number: int) -> Containment | None:
    row = connection.execute(
        sa.select(containments).where(
            containments.c.press_id == press_id, containments.c.containment_no == number
        )
    ).one_or_none()
    return None if row is None else _containment(row._mapping)


def _containment(row: sa.RowMapping) -> Containment:
    values = {field.name: row[field.name] for field in dataclasses.fields(Containment)}
    return Containment(**{**values, "found_by": json.loads(values["found_by"])})


def list_containments(
    connection: sa.Connection, *, is_open: bool | None, press_id: int | None = None, limit: int = 200
) -> list[tuple[str, Containment]]:
    """With their press's code, the newest first."""
    query = sa.select(containments, presses.c.press).join(
        presses, presses.c.press_id == containments.c.press_id
    )
    if is_open is not None:
        mark = containments.c.open_mark
        query = query.where(mark == 1 if is_open else mark.is_(None))
    if press_id is not None:
        query = query.where(containments.c.press_id == press_id)
    query = query.order_by(
        containments.c.held_ms.desc(), containments.c.press_id, containments.c.containment_no.desc()
    )
    rows = connection.execute(query.limit(limit))
    return [(row.press, _containment(row._mapping)) for row in rows]


def held_lines(connection: sa.Connection) -> tuple[str, ...]:
    """Each open record in a few words: press, number, mold, shots, how it stands."""
    return tuple(
        f"{press} record {one.containment_no}, {one.mold or 'no mold named'}: {one.shots:,} shots {one.state}"
        for press, one in list_containments(connection, is_open=True)
    )


def steps_of(connection: sa.Connection, press_id: int, number: int) -> list[Step]:
    rows = connection.execute(
        sa.select(containment_steps)
        .where(containment_steps.c.press_id == press_id, containment_steps.c.containment_no == number)
        .order_by(containment_steps.c.step_no)
    )
    names = [field.name for field in dataclasses.fields(Step)]
    return [Step(**{name: row._mapping[name] for name in names}) for row in rows]


def add_step(connection: sa.Connection, one: Containment, step: Step, *, state: str) -> None:
    """Keep what was done, and how the held parts stand now."""
    mine = containment_steps.c.containment_no == one.containment_no
    number = next_of_press(connection, containment_steps.c.step_no, one.press_id, mine)
    connection.execute(
        sa.insert(containment_steps).values(
            **{**dataclasses.asdict(step), "step_no": number},
            press_id=one.press_id,
            containment_no=one.containment_no,
        )
    )
    connection.execute(
        sa.update(containments)
        .where(containments.c.press_id == one.press_id, containments.c.containment_no == one.containment_no)
        .values(state=state, open_mark=None if state == "released" else 1)
    )


# --- what somebody asks for -------------------------------------------------------------------


def shots_asked(
    connection: sa.Connection,
    press_id: int,
    *,
    box: str = "",
    serial: str = "",
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[Asked]:
    """Shots of a press by box, serial or stretch (`to_ms` exclusive), mold by mold."""
    where = [shots.c.press_id == press_id]
    where += [shots.c.box == box] if box else []
    where += [shots.c.serial == serial] if serial else []
    where += [] if from_ms is None else [shots.c.at_ms >= from_ms]
    where += [] if to_ms is None else [shots.c.at_ms < to_ms]
    same = sa.and_(setups.c.press_id == shots.c.press_id, setups.c.setup_id == shots.c.setup_id)
    rows = connection.execute(
        sa.select(
            presses.c.press,
            setups.c.mold,
            sa.func.count().label("count"),
            sa.func.min(shots.c.at_ms).label("first"),
            sa.func.max(shots.c.at_ms).label("last"),
        )
        .select_from(shots)
        .join(setups, same)
        .join(presses, presses.c.press_id == shots.c.press_id)
        .where(*where)
        .group_by(presses.c.press, setups.c.mold)
        .order_by(sa.func.min(shots.c.at_ms))
    )
    return [
        Asked(press_id, press, mold, int(count), int(first), int(last))
        for press, mold, count, first, last in rows
    ]


def score_then(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int) -> float | None:
    """The highest log-odds kept within a stretch, else the last before it."""
    highest = connection.execute(
        sa.select(sa.func.max(scores.c.log_odds)).where(
            scores.c.press_id == press_id, scores.c.at_ms >= from_ms, scores.c.at_ms <= to_ms
        )
    ).scalar_one()
    if highest is not None:
        return float(highest)
    before = connection.execute(
        sa.select(scores.c.log_odds)
        .where(scores.c.press_id == press_id, scores.c.at_ms < from_ms)
        .order_by(scores.c.at_ms.desc())
        .limit(1)
    ).scalar_one_or_none()
    return None if before is None else float(before)


def alarms_then(connection: sa.Connection, press_id: int, *, at_ms: int) -> list[tuple[int, str, str]]:
    """(number, kind, state) of the alarms that stood open at a moment, in the state they were in then."""
    step = alarm_steps
    newest = (
        sa.select(step.c.alarm_no, sa.func.max(step.c.step).label("step"))
        .where(step.c.press_id == press_id, step.c.at_ms <= at_ms)
        .group_by(step.c.alarm_no)
        .subquery()
    )
    rows = connection.execute(
        sa.select(alarms.c.alarm_no, alarms.c.kind, step.c.state)
        .join(newest, newest.c.alarm_no == alarms.c.alarm_no)
        .join(
            step,
            sa.and_(
                step.c.press_id == alarms.c.press_id,
                step.c.alarm_no == newest.c.alarm_no,
                step.c.step == newest.c.step,
            ),
        )
        .where(
            alarms.c.press_id == press_id,
            alarms.c.opened_ms <= at_ms,
            sa.or_(alarms.c.ended_ms.is_(None), alarms.c.ended_ms > at_ms),
        )
        .order_by(alarms.c.alarm_no)
    )
    return [(int(row.alarm_no), str(row.kind), str(row.state)) for row in rows]
