"""Imports of files as they are kept: their course, the keys of the shots they brought, saved mappings."""

import dataclasses
import json
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from server.store.numbering import next_of_plant, next_of_press
from server.store.tables import (
    alarms,
    baselines,
    import_mappings,
    import_pieces,
    imports,
    press_states,
    presses,
    quarantine,
    shots,
)

#: States in which nothing more happens by itself.
ENDED = ("done", "cancelled", "failed", "undone")
#: States whose shots can be taken back.
UNDOABLE = ("done", "cancelled", "failed", "undoing")
COUNTS = ("received", "stored", "duplicate", "conflict", "rejected")


@dataclasses.dataclass(frozen=True)
class Import:
    """A file somebody brought. `options`: how it is read."""

    import_no: int
    file_name: str
    size: int
    state: str
    options: Mapping[str, Any]
    received: int
    stored: int
    duplicate: int
    conflict: int
    rejected: int
    trouble: str
    who: str
    created_ms: int
    started_ms: int | None
    ended_ms: int | None
    undone_ms: int | None
    undone_by: str


@dataclasses.dataclass(frozen=True)
class Piece:
    """Shots of one press stored by one transaction of an import."""

    press_id: int
    piece_no: int
    from_ms: int
    to_ms: int
    shots: int
    keys: bytes


@dataclasses.dataclass(frozen=True)
class SavedMapping:
    """A way to read a source's files, saved under a name."""

    name: str
    header_key: str
    options: Mapping[str, Any]
    saved_by: str
    saved_ms: int


@dataclasses.dataclass(frozen=True)
class RestsOn:
    """What people decided on an import's shots: kind `baseline` or `alarm`, its number, since when."""

    press: str
    kind: str
    number: int
    at_ms: int


def source_of(import_no: int) -> str:
    """What rows kept apart name as their source."""
    return f"import {import_no}"


# --- the course of an import ------------------------------------------------------------------


def add_import(connection: sa.Connection, *, file_name: str, size: int, who: str, now_ms: int) -> int:
    """Note a file under the next number."""
    number = next_of_plant(connection, imports.c.import_no)
    connection.execute(
        sa.insert(imports).values(
            import_no=number, file_name=file_name, size=size, state="uploaded", who=who, created_ms=now_ms
        )
    )
    return number


def import_by_no(connection: sa.Connection, import_no: int) -> Import | None:
    row = connection.execute(sa.select(imports).where(imports.c.import_no == import_no)).one_or_none()
    return None if row is None else _import(row)


def _import(row: Any) -> Import:
    return Import(**{**row._mapping, "options": json.loads(row.options)})


def newest_imports(connection: sa.Connection, *, limit: int, before: int | None = None) -> list[Import]:
    """The newest first; before: only those with a smaller number."""
    query = sa.select(imports).order_by(imports.c.import_no.desc()).limit(limit)
    if before is not None:
        query = query.where(imports.c.import_no < before)
    return [_import(row) for row in connection.execute(query)]


def change_import(connection: sa.Connection, import_no: int, **changes: Any) -> None:
    if "options" in changes:
        changes["options"] = json.dumps(changes["options"], sort_keys=True)
    connection.execute(sa.update(imports).where(imports.c.import_no == import_no).values(**changes))


def add_counts(connection: sa.Connection, import_no: int, more: Mapping[str, int]) -> None:
    """Count what a piece of the import came to."""
    connection.execute(
        sa.update(imports)
        .where(imports.c.import_no == import_no)
        .values({name: imports.c[name] + more[name] for name in COUNTS})
    )


def unended(connection: sa.Connection) -> list[Import]:
    """Every import that waits for somebody, or for the server to go on with it."""
    rows = connection.execute(sa.select(imports).where(imports.c.state.not_in(ENDED)))
    return [_import(row) for row in rows]


def end_left_over(connection: sa.Connection, numbers: Sequence[int], *, now_ms: int) -> None:
    """Imports that a stopped server left in the middle, and whose files are gone."""
    text = "the server stopped meanwhile; import the file again: what is stored already is known again"
    connection.execute(
        sa.update(imports)
        .where(imports.c.import_no.in_(numbers))
        .values(state="failed", trouble=text, ended_ms=now_ms)
    )


# --- which shots it brought -------------------------------------------------------------------


def pack_keys(keys: Sequence[tuple[int, int]]) -> bytes:
    """Keys (at_ms, counter) of shots, sorted, as differences, deflated.

    >>> unpack_keys(pack_keys([(40, 3), (20, 2)]))
    [(20, 2), (40, 3)]
    """
    table = np.array(sorted(keys), dtype=np.int64).reshape(-1, 2)
    return zlib.compress(np.diff(table, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)).T.tobytes(), 6)


def unpack_keys(packed: bytes) -> list[tuple[int, int]]:
    table = np.frombuffer(zlib.decompress(packed), dtype=np.int64).reshape(2, -1)
    return [(int(at), int(counter)) for at, counter in np.cumsum(table, axis=1).T]


def add_piece(
    connection: sa.Connection, import_no: int, press_id: int, keys: Sequence[tuple[int, int]]
) -> None:
    """Note the shots one transaction stored; nothing where it stored none."""
    if not keys:
        return
    of_import = import_pieces.c.import_no == import_no
    number = next_of_press(connection, import_pieces.c.piece_no, press_id, of_import)
    connection.execute(
        sa.insert(import_pieces).values(
            press_id=press_id,
            import_no=import_no,
            piece_no=number,
            from_ms=min(keys)[0],
            to_ms=max(keys)[0],
            shots=len(keys),
            keys=pack_keys(keys),
        )
    )


def next_piece(connection: sa.Connection, import_no: int) -> Piece | None:
    """The last piece that still stands, press by press."""
    row = connection.execute(
        sa.select(import_pieces)
        .where(import_pieces.c.import_no == import_no)
        .order_by(import_pieces.c.press_id, import_pieces.c.piece_no.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        return None
    return Piece(row.press_id, row.piece_no, row.from_ms, row.to_ms, row.shots, bytes(row.keys))


def take_back(connection: sa.Connection, import_no: int, piece: Piece) -> int:
    """Remove the shots of a piece and the piece; how many shots went."""
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    keys = [(piece.press_id, at, counter) for at, counter in unpack_keys(piece.keys)]
    connection.exec_driver_sql(
        f"DELETE FROM shots WHERE press_id = {mark} AND at_ms = {mark} AND counter = {mark}", keys
    )
    connection.execute(
        sa.delete(import_pieces).where(
            import_pieces.c.press_id == piece.press_id,
            import_pieces.c.import_no == import_no,
            import_pieces.c.piece_no == piece.piece_no,
        )
    )
    return len(keys)


def set_newest(connection: sa.Connection, press_id: int) -> None:
    """Let the press's state speak of the newest shot there is."""
    row = connection.execute(
        sa.select(shots.c.at_ms, shots.c.counter)
        .where(shots.c.press_id == press_id)
        .order_by(shots.c.at_ms.desc(), shots.c.counter.desc())
        .limit(1)
    ).one_or_none()
    at_ms, counter = (None, None) if row is None else (row.at_ms, row.counter)
    connection.execute(
        sa.update(press_states)
        .where(press_states.c.press_id == press_id)
        .values(last_shot_ms=at_ms, last_counter=counter)
    )


def presses_of(connection: sa.Connection, import_no: int) -> list[tuple[str, int, int, int]]:
    """Press, shots, first and last time of what an import brought and still stands."""
    rows = connection.execute(
        sa.select(
            presses.c.press,
            sa.func.sum(import_pieces.c.shots),
            sa.func.min(import_pieces.c.from_ms),
            sa.func.max(import_pieces.c.to_ms),
        )
        .join(presses, presses.c.press_id == import_pieces.c.press_id)
        .where(import_pieces.c.import_no == import_no)
        .group_by(presses.c.press)
        .order_by(presses.c.press)
    )
    return [(press, int(count), int(first), int(last)) for press, count, first, last in rows]


def rests_on(connection: sa.Connection, import_no: int) -> list[RestsOn]:
    """Approved baselines whose stretch, and answered alarms whose beginning, lie among its shots."""
    pieces = import_pieces
    found: list[RestsOn] = []
    for kind, table, number, at, condition in (
        (
            "baseline", baselines, baselines.c.baseline_no, baselines.c.from_ms,
            sa.and_(
                baselines.c.state == "approved",
                baselines.c.from_ms <= pieces.c.to_ms,
                baselines.c.to_ms >= pieces.c.from_ms,
            ),
        ),
        (
            "alarm", alarms, alarms.c.alarm_no, alarms.c.since_ms,
            sa.and_(
                alarms.c.acknowledged_ms.is_not(None),
                alarms.c.since_ms >= pieces.c.from_ms,
                alarms.c.since_ms <= pieces.c.to_ms,
            ),
        ),
    ):  # fmt: skip
        rows = connection.execute(
            sa.select(presses.c.press, number, at)
            .distinct()
            .select_from(pieces)
            .join(presses, presses.c.press_id == pieces.c.press_id)
            .join(table, table.c.press_id == pieces.c.press_id)
            .where(pieces.c.import_no == import_no, condition)
            .order_by(presses.c.press, number)
            .limit(20)
        )
        found += [RestsOn(press, kind, int(no), int(at_ms)) for press, no, at_ms in rows]
    return found


# --- rows that were not taken -----------------------------------------------------------------


def rejected_of(
    connection: sa.Connection, one: Import, *, now_ms: int, after: int = -1, limit: int = 5_000
) -> list[Mapping[str, Any]]:
    """Rows of an import that were kept apart, in the order of the file; after: a row number."""
    rows = connection.execute(
        sa.select(quarantine)
        .where(
            quarantine.c.arrived_ms >= one.created_ms,
            quarantine.c.arrived_ms <= (one.ended_ms or now_ms),
            quarantine.c.source == source_of(one.import_no),
            quarantine.c.row_no > after,
        )
        .order_by(quarantine.c.row_no, quarantine.c.row_id)
        .limit(limit)
    )
    return [dict(row._mapping) for row in rows]


def forget_rejected(connection: sa.Connection, one: Import, *, now_ms: int) -> None:
    connection.execute(
        sa.delete(quarantine).where(
            quarantine.c.arrived_ms >= one.created_ms,
            quarantine.c.arrived_ms <= (one.ended_ms or now_ms),
            quarantine.c.source == source_of(one.import_no),
        )
    )


# --- saved mappings ---------------------------------------------------------------------------


def put_mapping(connection: sa.Connection, mapping: SavedMapping) -> bool:
    """Save under a name, in place of what stood there; True where it is new."""
    values = {**dataclasses.asdict(mapping), "options": json.dumps(dict(mapping.options), sort_keys=True)}
    changed = connection.execute(
        sa.update(import_mappings).where(import_mappings.c.name == mapping.name).values(**values)
    )
    if changed.rowcount:
        return False
    connection.execute(sa.insert(import_mappings).values(**values))
    return True


def all_mappings(connection: sa.Connection) -> list[SavedMapping]:
    rows = connection.execute(sa.select(import_mappings).order_by(import_mappings.c.name))
    return [SavedMapping(**{**row._mapping, "options": json.loads(row.options)}) for row in rows]


def mapping_by_name(connection: sa.Connection, name: str) -> SavedMapping | None:
    return next((one for one in all_mappings(connection) if one.name == name), None)


def delete_mapping(connection: sa.Connection, name: str) -> bool:
    gone = connection.execute(sa.delete(import_mappings).where(import_mappings.c.name == name))
    return gone.rowcount > 0
