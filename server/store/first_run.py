"""How far a new plant has come towards its first judged press."""

import sqlalchemy as sa

from server.store.record_tables import baselines
from server.store.tables import press_states


def any_record_approved(connection: sa.Connection) -> bool:
    """Whether a startup record was ever approved, retired since or not."""
    asked = baselines.c.state.in_(("approved", "retired"))
    return connection.execute(sa.select(baselines.c.press_id).where(asked).limit(1)).first() is not None


def waiting_records(connection: sa.Connection, *, limit: int = 100) -> dict[int, int]:
    """The newest record of each press that waits for approval: number by press_id."""
    query = (
        sa.select(baselines.c.press_id, baselines.c.baseline_no)
        .where(baselines.c.state == "draft")
        .order_by(baselines.c.press_id, baselines.c.baseline_no)
        .limit(limit)
    )
    return {row.press_id: row.baseline_no for row in connection.execute(query)}


def records_without_shots(connection: sa.Connection) -> dict[int, int]:
    """Records that are approved for what a press runs while no shot came after them: number by press_id."""
    query = (
        sa.select(baselines.c.press_id, baselines.c.baseline_no)
        .join(press_states, press_states.c.press_id == baselines.c.press_id)
        .where(
            baselines.c.state == "approved",
            press_states.c.baseline_no.is_(None),
            press_states.c.mold == baselines.c.mold,
            press_states.c.material == baselines.c.material,
            press_states.c.last_shot_ms <= baselines.c.to_ms,
        )
        .order_by(baselines.c.press_id, baselines.c.baseline_no)
    )
    return {row.press_id: row.baseline_no for row in connection.execute(query)}
