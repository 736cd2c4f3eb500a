"""Questions the reading calls ask: presses a page at a time, histories by keyset, suspect shots."""

import dataclasses
import itertools
import operator
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.store.evaluation import GRAINS, merge_summaries
from server.store.tables import (
    alarms,
    findings,
    press_states,
    presses,
    quarantine,
    rollups,
    scores,
    setups,
    shots,
    thinnings,
)

Row = Mapping[str, Any]
Summary = tuple[int, float, float, float, float]


def _rows(connection: sa.Connection, query: sa.Select[Any]) -> list[Row]:
    return [dict(row._mapping) for row in connection.execute(query)]


# --- presses ------------------------------------------------------------------------------------


def _with_state() -> sa.Select[Any]:
    state = [column for column in press_states.c if column.name not in ("press_id", "dose_lag")]
    return sa.select(presses, press_states.c.dose_lag.label("dose_lag_found"), *state).join_from(
        presses, press_states, presses.c.press_id == press_states.c.press_id, isouter=True
    )


def presses_page(
    connection: sa.Connection, *, after: str | None, limit: int, mold: str | None = None
) -> list[Row]:
    """Presses of the plant with their state beside them, by code, after a code; mold: that run it now."""
    query = _with_state().where(presses.c.accepted)
    if mold is not None:
        query = query.where(press_states.c.mold == mold)
    if after is not None:
        query = query.where(presses.c.press > after)
    return _rows(connection, query.order_by(presses.c.press).limit(limit))


def press_with_state(connection: sa.Connection, press_id: int) -> Row:
    """One press with its state beside it."""
    return _rows(connection, _with_state().where(presses.c.press_id == press_id))[0]


def open_alarm_counts(connection: sa.Connection) -> dict[int, int]:
    """Open alarms by press; presses without any are left out."""
    rows = connection.execute(
        sa.select(alarms.c.press_id, sa.func.count())
        .where(alarms.c.open_mark == 1)
        .group_by(alarms.c.press_id)
    )
    return {int(press_id): int(count) for press_id, count in rows}


# --- histories ----------------------------------------------------------------------------------


def _span(
    query: sa.Select[Any], begin: sa.Column[Any], end: sa.Column[Any], from_ms: int | None, to_ms: int | None
) -> sa.Select[Any]:
    if from_ms is not None:
        query = query.where(end >= from_ms)
    if to_ms is not None:
        query = query.where(begin < to_ms)
    return query


def scores_page(
    connection: sa.Connection,
    press_id: int,
    *,
    from_ms: int | None = None,
    to_ms: int | None = None,
    after: Sequence[int] | None = None,
    limit: int,
) -> list[Row]:
    """Kept scores in order of (at_ms, counter), after such a key."""
    at = scores.c.at_ms
    query = _span(sa.select(scores).where(scores.c.press_id == press_id), at, at, from_ms, to_ms)
    if after is not None:
        later = sa.or_(at > after[0], scores.c.counter > after[1])
        query = query.where(at >= after[0], later)
    return _rows(connection, query.order_by(at, scores.c.counter).limit(limit))


#: What tells one finding of a press from another, in the order of the key.
FINDING_KEY = ("from_ms", "from_counter", "signal", "rule", "baseline_no")


def findings_page(
    connection: sa.Connection,
    press_id: int,
    *,
    from_ms: int | None = None,
    to_ms: int | None = None,
    signal: str | None = None,
    baseline_no: int | None = None,
    after: Sequence[Any] | None = None,
    limit: int,
) -> list[Row]:
    """Episodes that touch from_ms (inclusive) to to_ms (exclusive), newest first, past a FINDING_KEY."""
    c = findings.c
    query = _span(sa.select(findings).where(c.press_id == press_id), c.from_ms, c.to_ms, from_ms, to_ms)
    if signal is not None:
        query = query.where(c.signal == signal)
    if baseline_no is not None:
        query = query.where(c.baseline_no.in_((0, baseline_no)))
    key = [c[name] for name in FINDING_KEY]
    if after is not None:
        further = [
            sa.and_(*(key[j] == after[j] for j in range(i)), key[i] < after[i]) for i in range(len(key))
        ]
        query = query.where(c.from_ms <= after[0], sa.or_(*further))
    return _rows(connection, query.order_by(*(one.desc() for one in key)).limit(limit))


def quarantine_page(
    connection: sa.Connection, *, press: str | None, after: Sequence[int] | None, limit: int
) -> list[Row]:
    """Rows kept apart, newest first, past an (arrived_ms, row_id)."""
    c = quarantine.c
    query = sa.select(quarantine)
    if press is not None:
        query = query.where(c.press == press)
    if after is not None:
        query = query.where(c.arrived_ms <= after[0], sa.or_(c.arrived_ms < after[0], c.row_id < after[1]))
    return _rows(connection, query.order_by(c.arrived_ms.desc(), c.row_id.desc(), c.press).limit(limit))


# --- shots and roll-ups -------------------------------------------------------------------------


def _shots_from(press_id: int, from_ms: int | None, to_ms: int | None) -> list[sa.ColumnElement[bool]]:
    where: list[sa.ColumnElement[bool]] = [shots.c.press_id == press_id]
    if from_ms is not None:
        where.append(shots.c.at_ms >= from_ms)
    if to_ms is not None:
        where.append(shots.c.at_ms < to_ms)
    return where


def _thinned(connection: sa.Connection, press_id: int, from_ms: int | None) -> bool:
    floor = connection.execute(
        sa.select(sa.func.max(thinnings.c.floor_ms)).where(thinnings.c.press_id == press_id)
    ).scalar_one()
    return floor is not None and (from_ms is None or from_ms < int(floor))


def _first_summary(
    connection: sa.Connection, press_id: int, *, from_ms: int | None, to_ms: int | None
) -> int | None:
    c = rollups.c
    firsts = []
    # Ten minutes may have been let go, hours never.
    for grain in GRAINS[:2]:
        query = sa.select(sa.func.min(c.bucket_ms)).where(c.press_id == press_id, c.grain == grain)
        if from_ms is not None:
            query = query.where(c.bucket_ms >= from_ms)
        if to_ms is not None:
            query = query.where(c.bucket_ms < to_ms)
        firsts.append(connection.execute(query).scalar_one())
    return min((int(one) for one in firsts if one is not None), default=None)


def shots_up_to(
    connection: sa.Connection, press_id: int, *, from_ms: int | None, to_ms: int | None, limit: int
) -> int:
    """How many shots lie in a stretch, counted no further than `limit`.

    A stretch that begins before the press's floor held more than is left: it counts as `limit`, so that
    whoever asks reads summaries instead.
    """
    if _thinned(connection, press_id, from_ms):
        return limit
    some = sa.select(sa.literal(1)).where(*_shots_from(press_id, from_ms, to_ms)).limit(limit).subquery()
    return int(connection.execute(sa.select(sa.func.count()).select_from(some)).scalar_one())


def span_of_shots(
    connection: sa.Connection, press_id: int, *, from_ms: int | None, to_ms: int | None
) -> tuple[int, int] | None:
    """Times of the first and the last shot of a stretch; None without shots."""
    where = _shots_from(press_id, from_ms, to_ms)
    ends = []
    for order in (shots.c.at_ms.asc(), shots.c.at_ms.desc()):
        ends.append(
            connection.execute(sa.select(shots.c.at_ms).where(*where).order_by(order).limit(1)).scalar()
        )
    first, last = ends
    if _thinned(connection, press_id, from_ms):
        first = _first_summary(connection, press_id, from_ms=from_ms, to_ms=to_ms) or first
    return None if first is None or last is None else (int(first), int(last))


def summaries(
    connection: sa.Connection,
    press_id: int,
    *,
    signal: str,
    grain: int,
    from_ms: int,
    to_ms: int,
    setup_ids: Sequence[int] | None = None,
) -> list[tuple[int, Summary]]:
    """(bucket_ms, (n, mean, m2, low, high)) of the buckets that touch a stretch, set-ups merged."""
    c = rollups.c
    query = sa.select(c.bucket_ms, c.n, c.mean, c.m2, c.low, c.high).where(
        c.press_id == press_id,
        c.grain == grain,
        c.bucket_ms > from_ms - grain * 1000,
        c.bucket_ms < to_ms,
        c.signal == signal,
    )
    if setup_ids is not None:
        query = query.where(c.setup_id.in_(list(setup_ids)))
    merged: dict[int, Summary] = {}
    for bucket, *part in connection.execute(query.order_by(c.bucket_ms, c.setup_id)):
        one: Summary = (int(part[0]), float(part[1]), float(part[2]), float(part[3]), float(part[4]))
        merged[bucket] = merge_summaries(merged[bucket], one) if bucket in merged else one
    return list(merged.items())


@dataclasses.dataclass(frozen=True)
class Pieces:
    """Every shot of a signal in k pieces of time: where each begins, its mean, least and largest value."""

    begin_ms: Sequence[int]
    mean: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


def summaries_in_pieces(
    connection: sa.Connection,
    press_id: int,
    *,
    signals: Sequence[str],
    grain: int,
    piece_ms: int,
    from_ms: int,
    to_ms: int,
) -> dict[str, Pieces]:
    """Summaries of a stretch put together by the database, set-ups merged, in order of time by signal.

    `piece_ms` is a multiple of the grain (s); pieces are counted from 1970, so that a piece is the same
    whatever stretch is asked for.
    """
    c = rollups.c
    # Written out: bound, it would be another expression each time, and PostgreSQL groups by none of them.
    piece = c.bucket_ms // sa.literal(piece_ms, literal_execute=True)
    shots_there = sa.func.sum(c.n)
    mean = sa.func.sum(c.mean * c.n) / shots_there
    rows = connection.execute(
        sa.select(c.signal, piece, mean, sa.func.min(c.low), sa.func.max(c.high))
        .where(
            c.press_id == press_id,
            c.grain == grain,
            c.bucket_ms > from_ms - grain * 1000,
            c.bucket_ms < to_ms,
            c.signal.in_(list(signals)),
        )
        .group_by(c.signal, piece)
        .order_by(c.signal, piece)
    )
    found = {}
    # All at once: a row at a time took twice as long.
    for signal, group in itertools.groupby(rows.all(), key=operator.itemgetter(0)):
        _, numbers, means, lows, highs = zip(*group, strict=True)
        found[signal] = Pieces([number * piece_ms for number in numbers], means, lows, highs)
    return found


# --- containment --------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Suspects:
    """Where the shots of a stretch went; each list in order of its first shot.

    `serials` are the first of `serial_count` shots that carry one.
    """

    shots: int
    first_ms: int | None
    last_ms: int | None
    lots: list[str]
    boxes: list[str]
    serials: list[str]
    serial_count: int
    molds: list[str]


def suspects(
    connection: sa.Connection,
    press_id: int,
    *,
    from_ms: int,
    to_ms: int | None = None,
    serials: int = 1_000,
    mold: str | None = None,
) -> Suspects:
    """Everything the shots since then can be found by; mold: those made with it alone."""
    where = _shots_from(press_id, from_ms, to_ms)
    if mold is not None:
        ran = sa.select(setups.c.setup_id).where(setups.c.press_id == press_id, setups.c.mold == mold)
        where = [*where, shots.c.setup_id.in_(ran)]
    count, first, last, marked = connection.execute(
        sa.select(
            sa.func.count(),
            sa.func.min(shots.c.at_ms),
            sa.func.max(shots.c.at_ms),
            sa.func.count(shots.c.serial),
        ).where(*where)
    ).one()

    def named(column: sa.ColumnElement[Any], query: sa.Select[Any], limit: int | None = None) -> list[str]:
        chosen = (
            query.where(*where, column.is_not(None), column != "")
            .group_by(column)
            .order_by(sa.func.min(shots.c.at_ms), column)
        )
        return [str(value) for value in connection.execute(chosen.limit(limit)).scalars()]

    same = sa.and_(setups.c.press_id == shots.c.press_id, setups.c.setup_id == shots.c.setup_id)
    return Suspects(
        shots=int(count),
        first_ms=None if first is None else int(first),
        last_ms=None if last is None else int(last),
        lots=named(shots.c.lot, sa.select(shots.c.lot)),
        boxes=named(shots.c.box, sa.select(shots.c.box)),
        serials=named(shots.c.serial, sa.select(shots.c.serial), serials),
        serial_count=int(marked),
        molds=named(setups.c.mold, sa.select(setups.c.mold).join_from(shots, setups, same)),
    )


def shot_hours(
    connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int | None = None
) -> list[int]:
    """Starts of the quarters of an hour of a stretch in which there were shots, in order."""
    quarter = (shots.c.at_ms // 900_000).label("quarter")
    rows = connection.execute(
        sa.select(quarter).where(*_shots_from(press_id, from_ms, to_ms)).group_by(quarter).order_by(quarter)
    )
    return [int(row[0]) * 900_000 for row in rows]


def score_turn(connection: sa.Connection, press_id: int, *, baseline_no: int) -> tuple[int, int] | None:
    """(last moment with a score below one half, first one after it), against this baseline.

    Before the first score stands 0. None where the newest score kept is below one half.
    """
    here = (scores.c.press_id == press_id, scores.c.baseline_no == baseline_no)
    before = connection.execute(
        sa.select(sa.func.max(scores.c.at_ms)).where(*here, scores.c.log_odds < 0.0)
    ).scalar_one()
    last_low = int(before or 0)
    first = connection.execute(
        sa.select(sa.func.min(scores.c.at_ms)).where(*here, scores.c.at_ms > last_low)
    ).scalar_one()
    return None if first is None else (last_low, int(first))
