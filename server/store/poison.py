"""A shot with which evaluation fails: taken out of the press's history, kept whole beside it."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.tables import quarantine, setups, shots

#: What a row kept apart for this is called.
KIND = "poison"


def whole_shot(connection: sa.Connection, press_id: int, key: tuple[int, int]) -> Mapping[str, Any] | None:
    """Every column of a shot as it is stored, whatever is in it, with what it was made with."""
    at_ms, counter = key
    # Texts, not the columns' types: the very thing that is wrong may be a value of another type.
    columns = [sa.type_coerce(column, sa.types.NullType()).label(column.name) for column in shots.c]
    row = connection.execute(
        sa.select(*columns, setups.c.mold, setups.c.material, setups.c.setup, setups.c.setpoints)
        .join_from(
            shots,
            setups,
            sa.and_(setups.c.press_id == shots.c.press_id, setups.c.setup_id == shots.c.setup_id),
            isouter=True,
        )
        .where(shots.c.press_id == press_id, shots.c.at_ms == at_ms, shots.c.counter == counter)
    ).one_or_none()
    return None if row is None else dict(row._mapping)


def take_out(connection: sa.Connection, press_id: int, key: tuple[int, int]) -> None:
    """Remove one shot from a press's history; the caller keeps it apart in the same transaction."""
    at_ms, counter = key
    connection.execute(
        sa.delete(shots).where(
            shots.c.press_id == press_id, shots.c.at_ms == at_ms, shots.c.counter == counter
        )
    )


def set_aside_of(connection: sa.Connection, press: str) -> tuple[int, str]:
    """How many shots of a press are set aside, and why the newest one was ('' without any)."""
    here = (quarantine.c.press == press, quarantine.c.kind == KIND)
    count = int(connection.execute(sa.select(sa.func.count()).where(*here)).scalar_one())
    if not count:
        return 0, ""
    newest = sa.select(quarantine.c.message).where(*here).order_by(quarantine.c.row_id.desc()).limit(1)
    return count, str(connection.execute(newest).scalar_one())
