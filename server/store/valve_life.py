"""What valves have done: shots, hours and materials on each; spares, and how hard materials are on them."""

import dataclasses

import sqlalchemy as sa

from server.store.numbering import lock_table, next_of_plant
from server.store.plant import upsert
from server.store.tables import material_wear, setups, shots, spares


@dataclasses.dataclass(frozen=True)
class Done:
    """Shots in a stretch, their cycle time and their time under pressure (fill and hold) in hours.

    Hours count the shots that sent a time; 0.0 where none did.
    """

    shots: int
    hours: float
    pressure_hours: float


@dataclasses.dataclass(frozen=True)
class Spare:
    """Valves on the shelf of one part number. lead_days None: not said."""

    spare_no: int
    part_number: str
    style: str
    material_pair: str
    on_hand: int
    lead_days: float | None
    place: str
    note: str
    who: str
    at_ms: int


def _within(press_id: int, from_ms: int, to_ms: int | None) -> list[sa.ColumnElement[bool]]:
    found = [shots.c.press_id == press_id, shots.c.at_ms >= from_ms]
    return found if to_ms is None else [*found, shots.c.at_ms < to_ms]


def done_between(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int | None) -> Done:
    """What a press did from a time (inclusive) to another (exclusive; None: until now)."""
    pressed = sa.func.coalesce(shots.c.fill_time_s, 0.0) + sa.func.coalesce(shots.c.hold_time_s, 0.0)
    row = connection.execute(
        sa.select(sa.func.count(), sa.func.sum(shots.c.cycle_time_s), sa.func.sum(pressed)).where(
            *_within(press_id, from_ms, to_ms)
        )
    ).one()
    return Done(int(row[0]), float(row[1] or 0.0) / 3600.0, float(row[2] or 0.0) / 3600.0)


def materials_between(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int | None
) -> list[tuple[str, int]]:
    """Materials with their shots, the commonest first; '' for shots that named none."""
    count = sa.func.count()
    rows = connection.execute(
        sa.select(setups.c.material, count)
        .select_from(shots)
        .join(
            setups,
            sa.and_(setups.c.press_id == shots.c.press_id, setups.c.setup_id == shots.c.setup_id),
        )
        .where(*_within(press_id, from_ms, to_ms))
        .group_by(setups.c.material)
        .order_by(count.desc(), setups.c.material)
    )
    return [(str(row[0]), int(row[1])) for row in rows]


def known_materials(connection: sa.Connection) -> list[str]:
    """Every material that ever ran."""
    rows = connection.execute(sa.select(setups.c.material).distinct().order_by(setups.c.material))
    return [str(one) for one in rows.scalars() if one]


# --- how hard materials are -----------------------------------------------------------------------


def wear_of_materials(connection: sa.Connection) -> dict[str, str]:
    rows = connection.execute(sa.select(material_wear.c.material, material_wear.c.wear))
    return {row.material: row.wear for row in rows}


def put_wear(connection: sa.Connection, material: str, wear: str, *, who: str, at_ms: int) -> None:
    upsert(connection, material_wear, [{"material": material, "wear": wear, "who": who, "at_ms": at_ms}])


# --- spares ---------------------------------------------------------------------------------------


def all_spares(connection: sa.Connection) -> list[Spare]:
    rows = connection.execute(sa.select(spares).order_by(spares.c.part_number, spares.c.spare_no))
    return [Spare(**row._mapping) for row in rows]


def spare_by_no(connection: sa.Connection, spare_no: int) -> Spare | None:
    row = connection.execute(sa.select(spares).where(spares.c.spare_no == spare_no)).one_or_none()
    return None if row is None else Spare(**row._mapping)


def lock_spares(connection: sa.Connection) -> None:
    """Let nobody else change spares until the transaction ends (PostgreSQL)."""
    lock_table(connection, spares)


def add_spare(connection: sa.Connection, spare: Spare) -> Spare:
    """Keep a spare under the next number."""
    kept = dataclasses.replace(spare, spare_no=next_of_plant(connection, spares.c.spare_no))
    connection.execute(sa.insert(spares).values(**dataclasses.asdict(kept)))
    return kept


def change_spare(connection: sa.Connection, spare: Spare) -> Spare:
    values = dataclasses.asdict(spare)
    del values["spare_no"]
    connection.execute(sa.update(spares).where(spares.c.spare_no == spare.spare_no).values(**values))
    return spare


def remove_spare(connection: sa.Connection, spare_no: int) -> None:
    connection.execute(sa.delete(spares).where(spares.c.spare_no == spare_no))
