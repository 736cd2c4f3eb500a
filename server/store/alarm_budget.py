"""Questions about what the alarm budget was spent on."""

from collections.abc import Sequence

import sqlalchemy as sa

from server.store.evaluation import DAY
from server.store.tables import alarms, findings, rollups


def shots_run(connection: sa.Connection, *, since_ms: int) -> dict[int, int]:
    """Shots of each press since a time, by whole days."""
    query = (
        sa.select(rollups.c.press_id, sa.func.sum(rollups.c.n))
        .where(rollups.c.grain == DAY, rollups.c.bucket_ms >= since_ms, rollups.c.signal == "swept_mm")
        .group_by(rollups.c.press_id)
    )
    return {press_id: int(count) for press_id, count in connection.execute(query)}


def findings_by_signal(
    connection: sa.Connection, rules: Sequence[str], *, since_ms: int
) -> dict[tuple[int, str, str], int]:
    """Findings of these rules that began since a time: (press_id, signal, rule) -> how many."""
    query = (
        sa.select(findings.c.press_id, findings.c.signal, findings.c.rule, sa.func.count())
        .where(findings.c.rule.in_(list(rules)), findings.c.from_ms >= since_ms)
        .group_by(findings.c.press_id, findings.c.signal, findings.c.rule)
    )
    return {
        (press_id, signal, rule): int(count) for press_id, signal, rule, count in connection.execute(query)
    }


def alarms_opened(
    connection: sa.Connection, kinds: Sequence[str], *, since_ms: int
) -> dict[int, tuple[int, int]]:
    """Alarms of these kinds since a time: press_id -> (how many, of them called not real)."""
    unreal = sa.func.sum(sa.case((alarms.c.reason == "not_real", 1), else_=0))
    query = (
        sa.select(alarms.c.press_id, sa.func.count(), unreal)
        .where(alarms.c.kind.in_(list(kinds)), alarms.c.opened_ms >= since_ms)
        .group_by(alarms.c.press_id)
    )
    return {press_id: (int(count), int(called)) for press_id, count, called in connection.execute(query)}
