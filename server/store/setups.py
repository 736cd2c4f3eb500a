"""What a press was set to: when each set-up ran, and set-points people entered."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.evaluation import DAY, bucket_of
from server.store.numbering import next_of_press
from server.store.tables import rollups, setpoint_entries, setups


@dataclasses.dataclass(frozen=True)
class SetupDays:
    """When a set-up ran: its first and last day (UTC, beginning of the day), and how many judged shots."""

    setup_id: int
    first_day_ms: int
    last_day_ms: int
    shots: int


@dataclasses.dataclass(frozen=True)
class SetpointEntry:
    """Set-points somebody entered, from `at_ms` on."""

    press_id: int
    entry_no: int
    mold: str
    material: str
    setup: str
    setpoints: Mapping[str, Any]
    at_ms: int
    note: str
    author: str
    entered_ms: int


def days_of_setups(connection: sa.Connection, press_id: int) -> list[SetupDays]:
    """Every set-up of a press that made judged shots, the newest first; from the days' summaries."""
    c = rollups.c
    days = (
        sa.select(c.setup_id, c.bucket_ms, sa.func.max(c.n).label("n"))
        .where(c.press_id == press_id, c.grain == DAY)
        .group_by(c.setup_id, c.bucket_ms)
        .subquery()
    )
    last = sa.func.max(days.c.bucket_ms)
    rows = connection.execute(
        sa.select(days.c.setup_id, sa.func.min(days.c.bucket_ms), last, sa.func.sum(days.c.n))
        .group_by(days.c.setup_id)
        .order_by(last.desc(), days.c.setup_id)
    )
    return [SetupDays(int(row[0]), int(row[1]), int(row[2]), int(row[3])) for row in rows]


def mold_ran_between(connection: sa.Connection, press_id: int, *, mold: str, since_ms: int) -> str:
    """The last other mold that ran since then, from the days' summaries; '' where none did."""
    others = {
        int(row.setup_id): str(row.mold)
        for row in connection.execute(
            sa.select(setups.c.setup_id, setups.c.mold).where(
                setups.c.press_id == press_id, setups.c.mold != mold
            )
        )
    }
    if not others:
        return ""
    c = rollups.c
    found = connection.execute(
        sa.select(c.setup_id)
        .where(
            c.press_id == press_id,
            c.grain == DAY,
            c.bucket_ms >= bucket_of(since_ms, DAY),
            c.setup_id.in_(list(others)),
        )
        .order_by(c.bucket_ms.desc(), c.setup_id)
        .limit(1)
    ).scalar_one_or_none()
    return "" if found is None else others[int(found)]


# --- entered ------------------------------------------------------------------------------------


def add_entry(connection: sa.Connection, entry: SetpointEntry) -> SetpointEntry:
    """Keep an entry under the press's next number."""
    number = next_of_press(connection, setpoint_entries.c.entry_no, entry.press_id)
    kept = dataclasses.replace(entry, entry_no=number)
    values = {**dataclasses.asdict(kept), "setpoints": canonical(kept.setpoints)}
    connection.execute(sa.insert(setpoint_entries).values(**values))
    return kept


def entries_of(connection: sa.Connection, press_id: int, *, limit: int = 1_000) -> list[SetpointEntry]:
    """Every entry of a press, the one that holds from the latest moment first."""
    rows = connection.execute(
        sa.select(setpoint_entries)
        .where(setpoint_entries.c.press_id == press_id)
        .order_by(setpoint_entries.c.at_ms.desc(), setpoint_entries.c.entry_no.desc())
        .limit(limit)
    )
    return [SetpointEntry(**{**row._mapping, "setpoints": json.loads(row.setpoints)}) for row in rows]


def canonical(setpoints: Mapping[str, Any]) -> str:
    """Set-points as they are kept: the same ones are the same text."""
    return json.dumps(dict(setpoints), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
