"""What evaluation reads and writes: checkpoints, findings, scores, roll-ups, the press's state.

`apply` is the one place where an evaluation lands: everything after the restored checkpoint is
replaced, so that evaluating again is the same as having evaluated once.
"""

import dataclasses
import functools
import itertools
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from server.maths.quantile_sketch import merged as merged_by_group
from server.store import intake
from server.store.asked import EVER, Asked, do, do_each, mark_of
from server.store.bulk import insert_rows
from server.store.records import Event
from server.store.reported import BY_SHOTS, keep_reported
from server.store.tables import (
    baselines,
    checkpoints,
    events,
    findings,
    press_states,
    presses,
    rollups,
    scores,
)

TEN_MINUTES, HOUR, DAY = 600, 3_600, 86_400
GRAINS = (TEN_MINUTES, HOUR, DAY)

#: Of older checkpoints one in so many shots is kept.
CHECKPOINT_EVERY = 2_000


@dataclasses.dataclass(frozen=True)
class Checkpoint:
    """A codec's state after the shot (at_ms, counter)."""

    at_ms: int
    counter: int
    ordinal: int
    codec: int
    state: bytes


@dataclasses.dataclass(frozen=True)
class Evaluation:
    """Rows computed for one press, ready to be stored. Rows are dicts without `press_id`."""

    press_id: int
    batch_ids: tuple[int, ...]
    #: Everything after this (at_ms, counter) is replaced; None: from the beginning.
    after: tuple[int, int] | None
    checkpoints: list[Checkpoint]
    findings: list[dict[str, Any]]
    scores: list[dict[str, Any]]
    rollups: list[dict[str, Any]]
    state: dict[str, Any]
    #: Where to go on, when the work was cut into pieces.
    rest_from_ms: int | None = None
    rest_shots: int = 0
    rest_of_rebuild: bool = False
    #: Stretches with a cushion at the bottom that ended or go on within this evaluation.
    bottomed: bool = False
    #: Changes of set-points that shots reported, as events without number, author and press.
    settings: list[dict[str, Any]] = dataclasses.field(default_factory=list)


_HERE: sa.BindParameter[int] = sa.bindparam("press_id", type_=sa.Integer)
_SINCE: sa.BindParameter[int] = sa.bindparam("since_ms", type_=sa.BigInteger)
_STATE_AT = Asked(
    sa.select(*(checkpoints.c[field.name] for field in dataclasses.fields(Checkpoint)))
    .where(
        checkpoints.c.press_id == _HERE,
        checkpoints.c.at_ms < sa.bindparam("before_ms", type_=sa.BigInteger),
        checkpoints.c.codec == sa.bindparam("codec", type_=sa.Integer),
    )
    .order_by(checkpoints.c.at_ms.desc(), checkpoints.c.counter.desc())
    .limit(sa.literal_column("1"))
)
_IN_FORCE = Asked(
    sa.select(baselines)
    .where(baselines.c.press_id == _HERE, baselines.c.state == "approved")
    .order_by(baselines.c.to_ms, baselines.c.baseline_no)
)
_EVENTS = Asked(
    sa.select(events)
    .where(events.c.press_id == _HERE, events.c.at_ms >= _SINCE, events.c.author != BY_SHOTS)
    .order_by(events.c.at_ms, events.c.event_no)
)
_OF_ROLLUP = (
    "press_id", "grain", "bucket_ms", "setup_id", "signal", "n", "mean", "m2", "low", "high", "sketch",
)  # fmt: skip
_FINER = Asked(
    sa.select(
        *(rollups.c[name] for name in _OF_ROLLUP[2:-1]),
        sa.case((rollups.c.bucket_ms < sa.bindparam("newest_ms", type_=sa.BigInteger), rollups.c.sketch)),
    )
    .where(
        rollups.c.press_id == _HERE,
        rollups.c.grain == sa.bindparam("grain", type_=sa.Integer),
        rollups.c.bucket_ms >= _SINCE,
        rollups.c.bucket_ms < sa.bindparam("until_ms", type_=sa.BigInteger),
    )
    .order_by(rollups.c.bucket_ms)
)
_FORGET_STATES = Asked(
    sa.delete(checkpoints).where(
        checkpoints.c.press_id == _HERE,
        checkpoints.c.ordinal >= sa.bindparam("first", type_=sa.BigInteger),
        checkpoints.c.ordinal <= sa.bindparam("last", type_=sa.BigInteger),
    )
)


def checkpoint_before(connection: sa.Connection, press_id: int, at_ms: int, codec: int) -> Checkpoint | None:
    """The last checkpoint strictly before the first shot that could stand at `at_ms`."""
    row = _STATE_AT.row(connection, press_id=press_id, before_ms=at_ms, codec=codec)
    return None if row is None else Checkpoint(*row)


def baselines_in_force(connection: sa.Connection, press_id: int) -> list[Mapping[str, Any]]:
    """Approved baselines in the order they came into force."""
    return list(_IN_FORCE.dicts(connection, press_id=press_id))


def events_since(connection: sa.Connection, press_id: int, at_ms: int) -> list[Mapping[str, Any]]:
    """What people recorded since then; what the shots tell by themselves is read from the shots."""
    return list(_EVENTS.dicts(connection, press_id=press_id, since_ms=at_ms))


def apply(
    connection: sa.Connection,
    evaluation: Evaluation,
    *,
    now_ms: int,
    also: Mapping[str, Any] | None = None,
) -> list[Event]:
    """Replace what stands after `evaluation.after` by the rows computed, and clear its intake.

    also: what else changes in the press's state. Returns changes of set-points that were not known before.
    On PostgreSQL the press is locked from here on, as by `numbering.lock_press`.
    """
    press_id = evaluation.press_id
    keep_state(connection, press_id, {**evaluation.state, **(also or {})})
    _clear(connection, press_id, evaluation.after)
    own = {"press_id": press_id}
    _keep_findings(connection, [own | row for row in evaluation.findings], after=evaluation.after)
    _insert_many(connection, scores, [own | row for row in evaluation.scores])
    _insert_many(connection, rollups, [own | {"grain": TEN_MINUTES} | row for row in evaluation.rollups])
    roll_up_further(connection, press_id, evaluation.rollups)
    _keep_checkpoints(connection, press_id, evaluation.checkpoints)
    new = keep_reported(
        connection,
        press_id,
        evaluation.settings,
        after_ms=evaluation.after[0] if evaluation.after else None,
        until_ms=evaluation.state["evaluated_ms"],
        now_ms=now_ms,
    )
    intake.remove(connection, press_id, evaluation.batch_ids)
    if evaluation.rest_from_ms is not None:
        intake.add(
            connection,
            press_id,
            earliest_ms=evaluation.rest_from_ms,
            shots=evaluation.rest_shots,
            reason=intake.REBUILD if evaluation.rest_of_rebuild else intake.REST,
            now_ms=now_ms,
        )
    return new


def _clear(connection: sa.Connection, press_id: int, after: tuple[int, int] | None) -> None:
    at, counter = after if after is not None else (EVER, -1)
    mark = mark_of(connection)
    for table, time, number in (
        ("findings", "from_ms", "from_counter"),
        ("scores", "at_ms", "counter"),
        ("checkpoints", "at_ms", "counter"),
    ):
        do(
            connection,
            f"DELETE FROM {table} WHERE press_id = {mark} AND {time} >= {mark}"
            f" AND ({time} > {mark} OR {number} > {mark})",
            (press_id, at, at, counter),
        )
    for grain in GRAINS:
        do(
            connection,
            f"DELETE FROM rollups WHERE press_id = {mark} AND grain = {mark} AND bucket_ms >= {mark}",
            (press_id, grain, bucket_of(at, grain)),
        )


def bucket_of(at_ms: int, grain: int) -> int:
    """Start of the bucket of `grain` seconds that holds `at_ms`."""
    return at_ms - at_ms % (grain * 1000)


def _insert_many(connection: sa.Connection, table: sa.Table, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        names = list(rows[0])
        insert_rows(
            connection, table, names, [tuple(row[name] for name in names) for row in rows], raced=False
        )


def _keep_findings(
    connection: sa.Connection, rows: Sequence[dict[str, Any]], *, after: tuple[int, int] | None
) -> None:
    """Findings that begin after `after` were cleared; an earlier one that goes on takes its own place."""
    keys = [column.name for column in findings.primary_key.columns]
    goes_on = [row for row in rows if after is not None and (row["from_ms"], row["from_counter"]) <= after]
    mark = mark_of(connection)
    do_each(
        connection,
        f"DELETE FROM findings WHERE {' AND '.join(f'{name} = {mark}' for name in keys)}",
        [tuple(row[name] for name in keys) for row in goes_on],
    )
    _insert_many(connection, findings, rows)


def roll_up_further(connection: sa.Connection, press_id: int, fine: Sequence[Mapping[str, Any]]) -> None:
    """Hours from ten minutes and days from hours: always from the whole finer buckets.

    The newest hour and day are not over: their sketches are made once they are, not with every shot.
    """
    touched = sorted({row["bucket_ms"] for row in fine})
    if not touched:
        return
    made: list[tuple[Any, ...]] = []
    for finer, grain in ((TEN_MINUTES, HOUR), (HOUR, DAY)):
        first, last = bucket_of(touched[0], grain), bucket_of(touched[-1], grain)
        # Hours just made are not stored yet, and none is stored behind them.
        until = last + grain * 1000 if grain == HOUR else bucket_of(touched[0], HOUR)
        rows = _FINER.rows(
            connection, press_id=press_id, grain=finer, since_ms=first, until_ms=until, newest_ms=last
        )
        just_made = [row[2:] for row in made]
        made += _coarser(press_id, grain, [*rows, *just_made], newest_ms=last)
    insert_rows(connection, rollups, _OF_ROLLUP, made, raced=False)


def _coarser(
    press_id: int, grain: int, rows: Sequence[tuple[Any, ...]], *, newest_ms: int
) -> list[tuple[Any, ...]]:
    """Rows of `_OF_ROLLUP` that sum up finer ones, which come without press and grain, in order of time."""
    merged: dict[tuple[int, int, str], tuple[int, float, float, float, float]] = {}
    parts: dict[tuple[int, int, str], list[bytes | None]] = {}
    for bucket_ms, setup_id, signal, n, mean, m2, low, high, sketch in rows:
        key = (bucket_of(bucket_ms, grain), setup_id, signal)
        part = (n, mean, m2, low, high)
        merged[key] = merge_summaries(merged[key], part) if key in merged else part
        if key[0] < newest_ms:
            parts.setdefault(key, []).append(sketch)
    sketches = dict(zip(parts, merged_sketches(list(parts.values())), strict=True))
    return [(press_id, grain, *key, *part, sketches.get(key)) for key, part in merged.items()]


def merged_sketches(parts: Sequence[Sequence[bytes | None]]) -> list[bytes | None]:
    """One sketch of each sequence of parts; None where one of its parts has none."""
    if not parts:
        return []
    groups = np.repeat(np.arange(len(parts)), [len(one) for one in parts])
    return merged_by_group(list(itertools.chain.from_iterable(parts)), groups=groups, count=len(parts))


def merge_summaries(
    one: tuple[int, float, float, float, float], other: tuple[int, float, float, float, float]
) -> tuple[int, float, float, float, float]:
    """Summary (n, mean, m2, low, high) of two stretches (Chan, Golub & LeVeque 1983, memory)."""
    n = one[0] + other[0]
    gap = other[1] - one[1]
    mean = one[1] + gap * (other[0] / n)
    m2 = one[2] + other[2] + gap * gap * (one[0] * other[0] / n)
    return n, mean, m2, min(one[3], other[3]), max(one[4], other[4])


def _keep_checkpoints(connection: sa.Connection, press_id: int, made: Sequence[Checkpoint]) -> None:
    for one in made:
        start = one.ordinal - one.ordinal % CHECKPOINT_EVERY
        _FORGET_STATES.run(connection, press_id=press_id, first=start, last=one.ordinal)
        _insert_many(connection, checkpoints, [{"press_id": press_id, **dataclasses.asdict(one)}])


def with_unseen(connection: sa.Connection, evaluation: Evaluation, *, seen_ms: int | None) -> Evaluation:
    """The evaluation with the findings and scores of the pieces before it that alarms have not seen."""
    if seen_ms is None or evaluation.after is None or evaluation.after[0] <= seen_ms:
        return evaluation
    here = evaluation.press_id
    found = connection.execute(
        sa.select(findings).where(findings.c.press_id == here, findings.c.to_ms > seen_ms)
    )
    judged = connection.execute(
        sa.select(scores.c.at_ms, scores.c.log_odds).where(
            scores.c.press_id == here, scores.c.at_ms > seen_ms
        )
    )
    return dataclasses.replace(
        evaluation,
        findings=[dict(row._mapping) for row in found],
        scores=[dict(row._mapping) for row in judged],
    )


_SEEN = Asked(
    sa.select(press_states.c.alarms_seen_ms)
    .join(presses, presses.c.press_id == press_states.c.press_id)
    .where(press_states.c.press_id == _HERE, presses.c.accepted)
)


def alarms_seen_ms(connection: sa.Connection, press_id: int) -> int | None:
    """Up to when alarms of a press of the plant have reacted to its shots; None: to nothing yet."""
    row = _SEEN.row(connection, press_id=press_id)
    return None if row is None else row[0]


@functools.lru_cache(maxsize=16)
def _keeping(names: tuple[str, ...]) -> Asked:
    of = {name: sa.bindparam(name, type_=press_states.c[name].type) for name in names}
    return Asked(
        sa.update(press_states)
        .where(press_states.c.press_id == sa.bindparam("of_press", type_=sa.Integer))
        .values(**of)
    )


def keep_state(connection: sa.Connection, press_id: int, state: Mapping[str, Any]) -> None:
    """Keep what is now known of a press: columns of its state by name."""
    _keeping(tuple(state)).run(connection, of_press=press_id, **state)


def note_trouble(connection: sa.Connection, press_id: int, text: str) -> None:
    """Keep why a press could not be evaluated; its page says so."""
    connection.execute(
        sa.update(press_states).where(press_states.c.press_id == press_id).values(trouble=text)
    )
