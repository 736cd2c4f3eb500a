"""Counts a watchdog asks for: cheap, whatever the history."""

import dataclasses
from collections.abc import Mapping

import sqlalchemy as sa
from alembic.migration import MigrationContext

from server.store.engine import head_revision
from server.store.tables import alarms, intake, outbox, press_states, presses, quarantine


@dataclasses.dataclass(frozen=True)
class Counts:
    """Sizes of the queues and of what is open; `None` times: nothing waits."""

    presses: int
    in_trouble: int
    shots_pending: int
    intake_rows: int
    oldest_intake_ms: int | None
    alarms_open: Mapping[str, int]
    alarms_ever: Mapping[str, int]
    kept_apart: Mapping[str, int]
    messages_waiting: int
    oldest_message_ms: int | None
    database_bytes: int


def counts(connection: sa.Connection) -> Counts:
    """Everything `/metrics` tells of the database, in one snapshot."""
    one = sa.func.count()

    def number(query: sa.Select[tuple[int]]) -> int:
        return int(connection.execute(query).scalar_one())

    def by(column: sa.Column[str], query: sa.Select[tuple[str, int]]) -> dict[str, int]:
        rows = connection.execute(query.group_by(column).order_by(column))
        return {str(name): int(count) for name, count in rows}

    pending, rows, oldest = connection.execute(
        sa.select(sa.func.coalesce(sa.func.sum(intake.c.shots), 0), one, sa.func.min(intake.c.arrived_ms))
    ).one()
    messages, due = connection.execute(
        sa.select(one, sa.func.min(outbox.c.next_try_ms)).where(
            outbox.c.delivered_ms.is_(None), outbox.c.dead_ms.is_(None)
        )
    ).one()
    return Counts(
        presses=number(sa.select(one).select_from(presses)),
        in_trouble=number(sa.select(one).where(press_states.c.trouble.is_not(None))),
        shots_pending=int(pending),
        intake_rows=int(rows),
        oldest_intake_ms=oldest,
        alarms_open=by(alarms.c.state, sa.select(alarms.c.state, one).where(alarms.c.open_mark == 1)),
        alarms_ever=by(alarms.c.kind, sa.select(alarms.c.kind, one)),
        kept_apart=by(quarantine.c.kind, sa.select(quarantine.c.kind, one)),
        messages_waiting=int(messages),
        oldest_message_ms=due,
        database_bytes=_size(connection),
    )


def _size(connection: sa.Connection) -> int:
    if connection.dialect.name == "sqlite":
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        return int(pages) * int(connection.exec_driver_sql("PRAGMA page_size").scalar_one())
    return int(connection.exec_driver_sql("SELECT pg_database_size(current_database())").scalar_one())


def schema_is_current(connection: sa.Connection) -> bool:
    """Whether the schema is that of this version."""
    return MigrationContext.configure(connection).get_current_revision() == head_revision()
