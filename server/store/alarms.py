"""Alarms and their steps."""

import dataclasses
import json
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.numbering import next_of_press
from server.store.tables import alarm_steps, alarms, press_states, presses


def public_id(press: str, alarm_no: int) -> str:
    """The id of an alarm: press code and number, safe in an address whatever the code is.

    >>> public_id("P07", 3), public_id("Q 01", 1)
    ('P07-3', 'Q%2001-1')
    """
    return f"{quote(press, safe='')}-{alarm_no}"


@dataclasses.dataclass(frozen=True)
class Alarm:
    """One alarm of one press as kept; `press` is its code, `facts` the numbers it is worded with."""

    press_id: int
    press: str
    alarm_no: int
    kind: str
    state: str
    urgency: str
    cause: str
    opened_ms: int
    since_ms: int
    ended_ms: int | None
    acknowledged_by: str | None
    acknowledged_ms: int | None
    reason: str | None
    note: str
    shelved_until_ms: int | None
    active: bool
    facts: Mapping[str, Any]
    suppressed_by: str = ""
    out_of_service: bool = False
    called: bool = True
    waiting_since_ms: int | None = None
    escalated: int = 0

    @property
    def id(self) -> str:
        return public_id(self.press, self.alarm_no)


@dataclasses.dataclass(frozen=True)
class AlarmStep:
    """One line of an alarm's history."""

    press_id: int
    alarm_no: int
    step: int
    at_ms: int
    action: str
    state: str
    who: str
    reason: str
    note: str
    idempotency_key: str | None


@dataclasses.dataclass(frozen=True)
class Quiet:
    """What is known of the reporting of one accepted press."""

    press_id: int
    last_shot_ms: int
    last_arrival_ms: int
    silent_after_s: float | None


Cursor = tuple[int, int, int]

_COLUMNS = [c for c in alarms.c if c.name != "open_mark"]


def _alarms() -> sa.Select[Any]:
    return sa.select(presses.c.press, *_COLUMNS).join(presses, presses.c.press_id == alarms.c.press_id)


def _alarm(row: Any) -> Alarm:
    return _alarm_with(row._mapping)


def _alarm_with(values: Mapping[str, Any]) -> Alarm:
    return Alarm(**{**values, "facts": json.loads(values["facts"])})


_OPEN = Asked(
    _alarms()
    .where(alarms.c.press_id == sa.bindparam("press_id", type_=sa.Integer), alarms.c.open_mark == 1)
    .order_by(alarms.c.alarm_no)
)


def open_alarm(connection: sa.Connection, press_id: int, kind: str) -> Alarm | None:
    """The open alarm of this kind: there is at most one."""
    row = connection.execute(
        _alarms().where(alarms.c.press_id == press_id, alarms.c.kind == kind, alarms.c.open_mark == 1)
    ).one_or_none()
    return None if row is None else _alarm(row)


def open_alarms(connection: sa.Connection, *, kind: str | None = None) -> list[Alarm]:
    """Every open alarm, by press and number."""
    query = _alarms().where(alarms.c.open_mark == 1).order_by(alarms.c.press_id, alarms.c.alarm_no)
    if kind is not None:
        query = query.where(alarms.c.kind == kind)
    return [_alarm(row) for row in connection.execute(query)]


def open_alarms_of(connection: sa.Connection, press_id: int) -> list[Alarm]:
    """The open alarms of one press, oldest first."""
    return [_alarm_with(row) for row in _OPEN.dicts(connection, press_id=press_id)]


def alarm_by_no(connection: sa.Connection, press: str, alarm_no: int) -> Alarm | None:
    row = connection.execute(
        _alarms().where(presses.c.press == press, alarms.c.alarm_no == alarm_no)
    ).one_or_none()
    return None if row is None else _alarm(row)


def ended_since(connection: sa.Connection, press_id: int, kind: str, *, at_ms: int) -> bool:
    """Whether an alarm of this kind that ended covers this moment."""
    found = connection.execute(
        sa.select(alarms.c.alarm_no)
        .where(alarms.c.press_id == press_id, alarms.c.kind == kind, alarms.c.ended_ms >= at_ms)
        .limit(1)
    ).first()
    return found is not None


def list_alarms(
    connection: sa.Connection,
    *,
    states: Sequence[str] | None = None,
    only_open: bool = False,
    press_id: int | None = None,
    after: Cursor | None = None,
    limit: int = 100,
) -> list[Alarm]:
    """Alarms, newest first. after: (opened_ms, press_id, alarm_no) of the last one seen."""
    query = _alarms()
    if only_open:
        query = query.where(alarms.c.open_mark == 1)
    if states is not None:
        query = query.where(alarms.c.state.in_(list(states)))
    if press_id is not None:
        query = query.where(alarms.c.press_id == press_id)
    if after is not None:
        opened, press, number = after
        same = alarms.c.opened_ms == opened
        query = query.where(
            sa.or_(
                alarms.c.opened_ms < opened,
                sa.and_(same, alarms.c.press_id > press),
                sa.and_(same, alarms.c.press_id == press, alarms.c.alarm_no > number),
            )
        )
    order = (alarms.c.opened_ms.desc(), alarms.c.press_id, alarms.c.alarm_no)
    return [_alarm(row) for row in connection.execute(query.order_by(*order).limit(limit))]


def insert_alarm(connection: sa.Connection, alarm: Alarm) -> Alarm:
    """Keep a new open alarm under the press's next number; returns it with that number."""
    number = next_of_press(connection, alarms.c.alarm_no, alarm.press_id)
    numbered = dataclasses.replace(alarm, alarm_no=number)
    connection.execute(sa.insert(alarms).values(**_values(numbered)))
    return numbered


def update_alarm(connection: sa.Connection, alarm: Alarm) -> None:
    """Keep an alarm as it now is. One with `ended_ms` is open no longer."""
    connection.execute(
        sa.update(alarms)
        .where(alarms.c.press_id == alarm.press_id, alarms.c.alarm_no == alarm.alarm_no)
        .values(**_values(alarm))
    )


def _values(alarm: Alarm) -> dict[str, Any]:
    kept = {column.name: getattr(alarm, column.name) for column in _COLUMNS}
    kept["facts"] = json.dumps(dict(alarm.facts), sort_keys=True)
    kept["open_mark"] = 1 if alarm.ended_ms is None else None
    return kept


def add_step(
    connection: sa.Connection,
    alarm: Alarm,
    *,
    at_ms: int,
    action: str,
    who: str,
    reason: str = "",
    note: str = "",
    idempotency_key: str | None = None,
) -> int:
    """Add a line to the history of an alarm; its number."""
    of_alarm = alarm_steps.c.alarm_no == alarm.alarm_no
    step = next_of_press(connection, alarm_steps.c.step, alarm.press_id, of_alarm)
    connection.execute(
        sa.insert(alarm_steps).values(
            press_id=alarm.press_id,
            alarm_no=alarm.alarm_no,
            step=step,
            at_ms=at_ms,
            action=action,
            state=alarm.state,
            who=who,
            reason=reason,
            note=note,
            idempotency_key=idempotency_key,
        )
    )
    return step


def steps_of(connection: sa.Connection, press_id: int, alarm_no: int) -> list[AlarmStep]:
    """The history of one alarm, in order."""
    rows = connection.execute(
        sa.select(alarm_steps)
        .where(alarm_steps.c.press_id == press_id, alarm_steps.c.alarm_no == alarm_no)
        .order_by(alarm_steps.c.step)
    )
    return [AlarmStep(**row._mapping) for row in rows]


def step_with_key(connection: sa.Connection, alarm: Alarm, key: str) -> AlarmStep | None:
    """The step a request with this idempotency key made, if it came before."""
    row = connection.execute(
        sa.select(alarm_steps)
        .where(
            alarm_steps.c.press_id == alarm.press_id,
            alarm_steps.c.alarm_no == alarm.alarm_no,
            alarm_steps.c.idempotency_key == key,
        )
        .order_by(alarm_steps.c.step)
        .limit(1)
    ).one_or_none()
    return None if row is None else AlarmStep(**row._mapping)


def shelved_until(connection: sa.Connection, *, now_ms: int) -> list[Alarm]:
    """Open alarms whose time on the shelf is over."""
    query = _alarms().where(alarms.c.open_mark == 1, alarms.c.shelved_until_ms <= now_ms)
    return [_alarm(row) for row in connection.execute(query.order_by(alarms.c.press_id, alarms.c.alarm_no))]


def quiet_presses(connection: sa.Connection, *, before_ms: int) -> list[Quiet]:
    """Accepted presses whose last shots arrived before a time, and those with a `silent` alarm."""
    silent = sa.select(alarms.c.press_id).where(alarms.c.open_mark == 1, alarms.c.kind == "silent")
    rows = connection.execute(
        sa.select(
            presses.c.press_id,
            press_states.c.last_shot_ms,
            press_states.c.last_arrival_ms,
            presses.c.silent_after_s,
        )
        .join(press_states, press_states.c.press_id == presses.c.press_id)
        .where(
            presses.c.accepted,
            press_states.c.last_shot_ms.is_not(None),
            press_states.c.last_arrival_ms.is_not(None),
            sa.or_(press_states.c.last_arrival_ms <= before_ms, presses.c.press_id.in_(silent)),
        )
        .order_by(presses.c.press_id)
    )
    return [Quiet(**row._mapping) for row in rows]
