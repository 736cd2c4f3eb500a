"""Questions about what the alarm budget was spent on."""

from collections.abc import Sequence

import sqlalchemy as sa

from server.store.evaluation import DAY
from server.store.tables import alarms, findings, presses, rollups


def shots_run(connection: sa.Connection, *, since_ms: int) -> dict[int, int]:
    """Shots of each press since a time, by whole days."""
    c = rollups.c
    of_press = (c.press_id == sa.bindparam("press"), c.grain == DAY, c.bucket_ms >= since_ms)
    query = sa.select(sa.func.sum(c.n)).where(*of_press, c.signal == "swept_mm")
    counted = {one: connection.execute(query, {"press": one}).scalar() for one in _presses(connection)}
    return {press_id: int(count) for press_id, count in counted.items() if count}


def findings_by_signal(
    connection: sa.Connection, rules: Sequence[str], *, since_ms: int
) -> dict[tuple[int, str, str], int]:
    """Findings of these rules that began since a time: (press_id, signal, rule) -> how many."""
    c = findings.c
    query = (
        sa.select(c.signal, c.rule, sa.func.count())
        .where(c.press_id == sa.bindparam("press"), c.from_ms >= since_ms, c.rule.in_(list(rules)))
        .group_by(c.signal, c.rule)
    )
    return {
        (press_id, signal, rule): int(count)
        for press_id in _presses(connection)
        for signal, rule, count in connection.execute(query, {"press": press_id})
    }


def _presses(connection: sa.Connection) -> list[int]:
    """Asked one by one: history is reached by press and time, all presses at once would read all of it."""
    return list(connection.execute(sa.select(presses.c.press_id).order_by(presses.c.press_id)).scalars())


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
