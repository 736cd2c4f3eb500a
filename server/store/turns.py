"""Whose turn a press is: several servers on one PostgreSQL share the work, each press is worked on by one.

A turn is a row locked for as long as its holder's transaction lasts (`SKIP LOCKED`: nobody waits). When a
holder is killed its connection ends, the lock with it, and the next server that looks takes the press over.
Press 0 stands for the plant: what time alone does is done by one server.
"""

from typing import Final

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.tables import press_turns

#: The plant's own turn, as the plant is press 0 of the audit trail.
PLANT_TURN: Final = 0


_HERE = sa.select(press_turns.c.press_id).where(
    press_turns.c.press_id == sa.bindparam("press_id", type_=sa.Integer)
)
_THERE = Asked(_HERE)
_LOCKED = Asked(_HERE.with_for_update(skip_locked=True))


def take(connection: sa.Connection, press_id: int) -> bool | None:
    """Lock the turn until the transaction ends; False: somebody has it, None: it must be made first."""
    if _LOCKED.row(connection, press_id=press_id) is not None:
        return True
    return None if _THERE.row(connection, press_id=press_id) is None else False


def make(connection: sa.Connection, press_id: int) -> None:
    """The row to be locked, for a press that never had a turn."""
    from sqlalchemy.dialects import postgresql

    connection.execute(postgresql.insert(press_turns).values(press_id=press_id).on_conflict_do_nothing())
