"""Counts a watchdog asks for: cheap, whatever the history."""

import sqlalchemy as sa

from server.store.tables import alarms, intake, outbox, presses, quarantine


def counts(connection: sa.Connection) -> dict[str, int]:
    """Sizes of the queues and of what is open, by metric name."""

    def count(query: sa.Select[tuple[int]]) -> int:
        return int(connection.execute(query).scalar_one())

    one = sa.func.count()
    return {
        "ringtell_presses": count(sa.select(one).select_from(presses)),
        "ringtell_shots_pending": count(sa.select(sa.func.coalesce(sa.func.sum(intake.c.shots), 0))),
        "ringtell_intake_rows": count(sa.select(one).select_from(intake)),
        "ringtell_alarms_open": count(sa.select(one).where(alarms.c.open_mark == 1)),
        "ringtell_rows_kept_apart": count(sa.select(one).select_from(quarantine)),
        "ringtell_messages_waiting": count(sa.select(one).where(outbox.c.delivered_ms.is_(None))),
    }
