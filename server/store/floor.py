"""What the floor keeps: ticks of next steps, and hand-over notes from shift to shift."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_plant
from server.store.plant import upsert
from server.store.tables import guidance_ticks, handovers


@dataclasses.dataclass(frozen=True)
class Tick:
    """A step of the guidance on one press: done or not, who said so, when."""

    press_id: int
    step: str
    ticked: bool
    who: str
    at_ms: int


@dataclasses.dataclass(frozen=True)
class Handover:
    """What one shift tells the next. `read_by` None: the next has not said it has read it."""

    handover_no: int
    shift: str
    from_ms: int
    at_ms: int
    who: str
    note: str
    summary: Mapping[str, Any]
    read_by: str | None = None
    read_ms: int | None = None


def ticks_of(connection: sa.Connection, press_id: int) -> dict[str, Tick]:
    """The ticks of a press, by step."""
    rows = connection.execute(sa.select(guidance_ticks).where(guidance_ticks.c.press_id == press_id))
    return {row.step: Tick(**row._mapping) for row in rows}


def put_tick(connection: sa.Connection, tick: Tick) -> None:
    upsert(connection, guidance_ticks, [dataclasses.asdict(tick)])


def latest_handovers(connection: sa.Connection, *, limit: int = 20) -> list[Handover]:
    """Hand-overs, newest first."""
    rows = connection.execute(sa.select(handovers).order_by(handovers.c.handover_no.desc()).limit(limit))
    return [_handover(row) for row in rows]


def handover_by_no(connection: sa.Connection, handover_no: int) -> Handover | None:
    row = connection.execute(sa.select(handovers).where(handovers.c.handover_no == handover_no)).one_or_none()
    return None if row is None else _handover(row)


def _handover(row: Any) -> Handover:
    return Handover(**{**row._mapping, "summary": json.loads(row.summary)})


def add_handover(connection: sa.Connection, handover: Handover) -> int:
    """Keep a hand-over under the next number; returns it."""
    number = next_of_plant(connection, handovers.c.handover_no)
    values = {**dataclasses.asdict(handover), "handover_no": number}
    values["summary"] = json.dumps(dict(handover.summary), sort_keys=True)
    connection.execute(sa.insert(handovers).values(**values))
    return number


def mark_read(connection: sa.Connection, handover_no: int, *, who: str, now_ms: int) -> bool:
    """Keep who read it first; False when somebody had."""
    done = connection.execute(
        sa.update(handovers)
        .where(handovers.c.handover_no == handover_no, handovers.c.read_by.is_(None))
        .values(read_by=who, read_ms=now_ms)
    )
    return bool(done.rowcount == 1)
