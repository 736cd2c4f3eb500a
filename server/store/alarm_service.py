"""Kinds of alarm taken out of service on a press: by whom, why, until when."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_press
from server.store.tables import alarm_stops, presses


@dataclasses.dataclass(frozen=True)
class Stop:
    """One kind of alarm out of service on one press. `ended_ms` None: it holds."""

    press_id: int
    press: str
    stop_no: int
    kind: str
    from_ms: int
    until_ms: int
    who: str
    why: str
    ended_ms: int | None = None
    ended_by: str = ""


_COLUMNS = [column for column in alarm_stops.c if column.name != "open_mark"]


def _stops() -> sa.Select[Any]:
    query = sa.select(presses.c.press, *_COLUMNS)
    return query.join(presses, presses.c.press_id == alarm_stops.c.press_id)


def stop_of(connection: sa.Connection, press_id: int, kind: str) -> Stop | None:
    """What keeps this kind out of service now, if anything does."""
    here = (alarm_stops.c.press_id == press_id, alarm_stops.c.kind == kind, alarm_stops.c.open_mark == 1)
    row = connection.execute(_stops().where(*here)).one_or_none()
    return None if row is None else Stop(**row._mapping)


def stops_now(connection: sa.Connection, *, until_ms: int | None = None) -> list[Stop]:
    """Every kind out of service, by press and kind; with `until_ms` those whose time is over then."""
    query = _stops().where(alarm_stops.c.open_mark == 1)
    if until_ms is not None:
        query = query.where(alarm_stops.c.until_ms <= until_ms)
    rows = connection.execute(query.order_by(alarm_stops.c.press_id, alarm_stops.c.kind))
    return [Stop(**row._mapping) for row in rows]


def add_stop(connection: sa.Connection, stop: Stop) -> Stop:
    """Keep a stop under the press's next number; returns it with that number."""
    number = next_of_press(connection, alarm_stops.c.stop_no, stop.press_id)
    numbered = dataclasses.replace(stop, stop_no=number)
    values = {column.name: getattr(numbered, column.name) for column in _COLUMNS}
    connection.execute(sa.insert(alarm_stops).values(**values, open_mark=1))
    return numbered


def move_end(connection: sa.Connection, stop: Stop, *, until_ms: int, who: str, why: str) -> None:
    """A stop that holds gets another end."""
    connection.execute(
        sa.update(alarm_stops)
        .where(alarm_stops.c.press_id == stop.press_id, alarm_stops.c.stop_no == stop.stop_no)
        .values(until_ms=until_ms, who=who, why=why)
    )


def end_stop(connection: sa.Connection, stop: Stop, *, now_ms: int, who: str) -> None:
    """The kind is back in service."""
    connection.execute(
        sa.update(alarm_stops)
        .where(alarm_stops.c.press_id == stop.press_id, alarm_stops.c.stop_no == stop.stop_no)
        .values(ended_ms=now_ms, ended_by=who, open_mark=None)
    )
