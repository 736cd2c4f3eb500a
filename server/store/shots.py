"""Shots: stored once by their key, read back as columns or rows."""

import dataclasses
import functools
import operator
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.contract import SHOT_COLUMNS, SHOT_NUMBERS
from server.errors import BusyError
from server.language import N_
from server.store.asked import Asked, as_ours, do_each, driver_of, fetch, mark_of
from server.store.bulk import KeyTakenError, insert_rows
from server.store.tables import shots

#: A shot as the store takes it: at_ms, counter, setup_id, then SHOT_COLUMNS.
ShotValues = tuple[Any, ...]
Columns = dict[str, NDArray[Any]]

_COLUMNS = ("press_id", "at_ms", "counter", "setup_id", *SHOT_COLUMNS)
_LOOK_UP = 300
_AT = operator.itemgetter(0)
_MEETS = "SELECT 1 FROM shots WHERE press_id = %s AND at_ms BETWEEN %s AND %s LIMIT 1"
#: How often a batch is sorted out again because somebody else stored some of its shots meanwhile.
_TRIES = 8


@dataclasses.dataclass(frozen=True)
class Stored:
    """Positions within the list handed in, by what became of them."""

    new: int
    duplicates: tuple[int, ...]
    conflicts: tuple[int, ...]
    earliest_ms: int | None
    #: The keys (at_ms, counter) that are new.
    keys: tuple[tuple[int, int], ...] = ()


def store_shots(connection: sa.Connection, press_id: int, rows: Sequence[ShotValues]) -> Stored:
    """Store the rows of one press; the first of a key stays, whatever comes later."""
    return store_by_press(connection, {press_id: rows})[press_id]


def store_by_press(
    connection: sa.Connection, groups: Mapping[int, Sequence[ShotValues]]
) -> dict[int, Stored]:
    """Store the rows of several presses with one insert; what became of them, by press."""
    for _ in range(_TRIES):
        outcomes: dict[int, Stored] = {}
        new: list[tuple[Any, ...]] = []
        met = _presses_met(connection, groups)
        for press_id, rows in sorted(groups.items()):
            known = _known(connection, press_id, rows) if press_id in met else {}
            outcomes[press_id], fresh = _sorted_out(rows, known)
            # By key, so that two batches with the same shots wait for each other in one order.
            new += [(press_id, *row) for _, row in sorted(fresh.items())]
        try:
            insert_rows(connection, shots, _COLUMNS, new)
        except KeyTakenError:  # on PostgreSQL, by a batch that was stored at the same moment
            continue
        return outcomes
    raise BusyError(N_("others keep storing the same shots; nothing of this was stored, send again"))


def _sorted_out(
    rows: Sequence[ShotValues], known: Mapping[tuple[int, int], ShotValues]
) -> tuple[Stored, dict[tuple[int, int], ShotValues]]:
    fresh: dict[tuple[int, int], ShotValues] = {}
    again: list[tuple[int, ShotValues]] = []
    for position, row in enumerate(rows):
        key = (row[0], row[1])
        first = known.get(key) or fresh.get(key)
        if first is None:
            fresh[key] = row
        else:
            again.append((position, first))
    duplicates = tuple(position for position, first in again if tuple(first) == tuple(rows[position]))
    conflicts = tuple(position for position, first in again if tuple(first) != tuple(rows[position]))
    earliest_ms = min(fresh)[0] if fresh else None
    return Stored(len(fresh), duplicates, conflicts, earliest_ms, tuple(fresh)), fresh


def _presses_met(connection: sa.Connection, groups: Mapping[int, Sequence[ShotValues]]) -> set[int]:
    """The presses with shots stored within the stretch their rows cover: seldom any of a live batch.

    Asked for every press of every batch, past the expression language and all that is kept of a result:
    with shots of 200 presses in a batch that took two thirds of the time.
    """
    stretches = [
        (press_id, min(rows, key=_AT)[0], max(rows, key=_AT)[0]) for press_id, rows in groups.items() if rows
    ]
    met: set[int] = set()
    if connection.dialect.name == "sqlite":
        for start in range(0, len(stretches), _LOOK_UP):
            part = stretches[start : start + _LOOK_UP]
            asked = ", ".join(["(?, ?, ?)"] * len(part))
            # A subquery in the list of columns stays one search by key a press.
            found = fetch(
                connection,
                f"WITH asked(press, since, until) AS (VALUES {asked}) SELECT press FROM asked WHERE"
                " (SELECT 1 FROM shots WHERE press_id = press AND at_ms BETWEEN since AND until LIMIT 1)",
                [value for one in part for value in one],
            )
            met.update(row[0] for row in found)
        return met
    # A question for each press, so that it goes to the one node that has it, but all sent at once (of a
    # single press that would take 0.1 ms longer).
    with as_ours(connection, _MEETS), driver_of(connection).cursor() as cursor:
        if len(stretches) == 1:
            cursor.execute(_MEETS, stretches[0])
        elif stretches:
            cursor.executemany(_MEETS, stretches, returning=True)
        for stretch in stretches:
            if cursor.fetchone() is not None:
                met.add(stretch[0])
            cursor.nextset()
    return met


def _known(
    connection: sa.Connection, press_id: int, rows: Sequence[ShotValues]
) -> dict[tuple[int, int], ShotValues]:
    """Rows already stored under the keys of `rows`."""
    columns = [shots.c[name] for name in _COLUMNS[1:]]
    found: dict[tuple[int, int], ShotValues] = {}
    for start in range(0, len(rows), _LOOK_UP):
        at = sorted({row[0] for row in rows[start : start + _LOOK_UP]})
        for row in connection.execute(
            sa.select(*columns).where(shots.c.press_id == press_id, shots.c.at_ms.in_(at))
        ):
            found[(row[0], row[1])] = tuple(row)
    return found


def note_arrivals(connection: sa.Connection, newest: Mapping[int, tuple[int, int]], *, now_ms: int) -> None:
    """Keep when presses last reported, and their newest shots: press_id to (at_ms, counter)."""
    if newest:
        mark = mark_of(connection)
        newer = f"last_shot_ms IS NULL OR last_shot_ms <= {mark}"
        # In one order everywhere, so that two batches of the same presses never wait for each other.
        rows = [
            (now_ms, at_ms, counter, at_ms, at_ms, press_id)
            for press_id, (at_ms, counter) in sorted(newest.items())
        ]
        do_each(
            connection,
            f"UPDATE press_states SET last_arrival_ms = {mark},"
            f" last_counter = CASE WHEN {newer} THEN {mark} ELSE last_counter END,"
            f" last_shot_ms = CASE WHEN {newer} THEN {mark} ELSE last_shot_ms END WHERE press_id = {mark}",
            rows,
        )


def note_arrival(
    connection: sa.Connection, press_id: int, *, last_shot_ms: int, last_counter: int, now_ms: int
) -> None:
    """Keep when one press last reported, and its newest shot."""
    note_arrivals(connection, {press_id: (last_shot_ms, last_counter)}, now_ms=now_ms)


def presses_known(connection: sa.Connection, codes: Iterable[str]) -> dict[str, tuple[int, bool]]:
    """Number of each press among `codes`, and whether it was accepted; all asked for at once."""
    found = _among(connection, "SELECT press, press_id, accepted FROM presses WHERE press IN", codes)
    # SQLite keeps truth as a number.
    return {press: (press_id, bool(accepted)) for press, press_id, accepted in found}


def setups_known(connection: sa.Connection, keys: Iterable[tuple[int, int]]) -> set[tuple[int, int]]:
    """Which of the set-ups (press_id, setup_id) are kept already; others of the same presses may be."""
    wanted = set(keys)
    mark = mark_of(connection)
    found: set[tuple[int, int]] = set()
    for part in _parts({press_id for press_id, _ in wanted}):
        some = set(part)
        query = f"SELECT press_id, setup_id FROM setups WHERE press_id IN ({', '.join([mark] * len(part))})"
        for ids in _parts({setup_id for press_id, setup_id in wanted if press_id in some}):
            rows = fetch(
                connection, f"{query} AND setup_id IN ({', '.join([mark] * len(ids))})", (*part, *ids)
            )
            found.update((row[0], row[1]) for row in rows)
    return found


def molds_known(connection: sa.Connection, codes: Iterable[str]) -> set[str]:
    """The molds among `codes`."""
    return {row[0] for row in _among(connection, "SELECT mold FROM molds WHERE mold IN", codes)}


def _among(connection: sa.Connection, query: str, wanted: Iterable[Any]) -> list[Any]:
    """Rows of a query that ends with IN, for every value wanted."""
    mark = mark_of(connection)
    return [
        row
        for part in _parts(wanted)
        for row in fetch(connection, f"{query} ({', '.join([mark] * len(part))})", tuple(part))
    ]


def _parts(wanted: Iterable[Any]) -> list[list[Any]]:
    every = sorted(set(wanted))
    return [every[at : at + _LOOK_UP] for at in range(0, len(every), _LOOK_UP)]


def read_columns(
    connection: sa.Connection,
    press_id: int,
    *,
    from_ms: int | None = None,
    to_ms: int | None = None,
    after: tuple[int, int] | None = None,
    names: Sequence[str] = SHOT_NUMBERS,
    limit: int = 100_000,
    newest: bool = False,
    setup_ids: Sequence[int] | None = None,
) -> Columns:
    """Shots in order of (at, counter) as one array a column.

    `from_ms` inclusive, `to_ms` exclusive, `after` an exclusive (at_ms, counter); `newest` takes
    the last `limit` shots instead of the first. Numbers are float64 with NaN for what is missing.
    """
    wanted = ("at_ms", "counter", "setup_id", *names)
    if after is not None and (from_ms, to_ms, newest, setup_ids) == (None, None, False, None):
        at, counter = after
        found = _following(wanted).rows(connection, press_id=press_id, at_ms=at, counter=counter, most=limit)
        return _as_columns(wanted, found)
    query = sa.select(*(shots.c[name] for name in wanted)).where(shots.c.press_id == press_id)
    if from_ms is not None:
        query = query.where(shots.c.at_ms >= from_ms)
    if to_ms is not None:
        query = query.where(shots.c.at_ms < to_ms)
    if after is not None:
        at, counter = after
        query = query.where(shots.c.at_ms >= at, sa.or_(shots.c.at_ms > at, shots.c.counter > counter))
    if setup_ids is not None:
        query = query.where(shots.c.setup_id.in_(list(setup_ids)))
    order = (shots.c.at_ms.desc(), shots.c.counter.desc()) if newest else (shots.c.at_ms, shots.c.counter)
    rows: Sequence[Any] = connection.execute(query.order_by(*order).limit(limit)).all()
    return _as_columns(wanted, rows[::-1] if newest else rows)


@functools.lru_cache(maxsize=16)
def _following(wanted: tuple[str, ...]) -> Asked:
    """The shots of a press after one: what evaluation asks with every shot."""
    at: sa.BindParameter[int] = sa.bindparam("at_ms", type_=sa.BigInteger)
    later = sa.or_(shots.c.at_ms > at, shots.c.counter > sa.bindparam("counter", type_=sa.BigInteger))
    here = shots.c.press_id == sa.bindparam("press_id", type_=sa.Integer)
    return Asked(
        sa.select(*(shots.c[name] for name in wanted))
        .where(here, shots.c.at_ms >= at, later)
        .order_by(shots.c.at_ms, shots.c.counter)
        .limit(sa.bindparam("most", type_=sa.Integer))
    )


def _as_columns(wanted: Sequence[str], rows: Sequence[Any]) -> Columns:
    parts: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * len(wanted)
    return {name: _column(name, part) for name, part in zip(wanted, parts, strict=True)}


def _column(name: str, part: tuple[Any, ...]) -> NDArray[Any]:
    if name in ("at_ms", "counter", "setup_id"):
        return np.array(part, dtype=np.int64)
    if name in SHOT_NUMBERS:
        return np.array(part, dtype=np.float64)
    return np.array(part, dtype=object)


def count_shots(connection: sa.Connection, press_id: int | None = None) -> int:
    query = sa.select(sa.func.count()).select_from(shots)
    if press_id is not None:
        query = query.where(shots.c.press_id == press_id)
    return int(connection.execute(query).scalar_one())
