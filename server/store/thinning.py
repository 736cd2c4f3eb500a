"""Raw shots that were thinned out: how far, what is kept nevertheless, and where evaluation goes on from.

Before a press's floor only some raw shots are left; what was computed from the others (roll-ups, scores,
findings) can never be computed again, so evaluation must never begin before the floor. The checkpoint it
goes on from is kept here, where no later one takes its place.
"""

import dataclasses
from collections.abc import Iterable

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.evaluation import TEN_MINUTES, Checkpoint, bucket_of
from server.store.numbering import next_of_press
from server.store.tables import alarms, baselines, checkpoints, intake, scores, shots, studies, thinnings

#: Around a kept stretch: the shots that its first and last ones are read together with.
MARGIN_MS = 600_000
#: Kinds of alarm whose shots may have to be found again.
CONTAINED = ("leak", "bottoming")
#: Rows in one transaction, so that whoever writes waits for milliseconds only.
AT_A_TIME = 2_000

Stretch = tuple[int, int]


@dataclasses.dataclass(frozen=True)
class Floor:
    """Every raw shot from `floor_ms` on is there; `checkpoint` is the state evaluation goes on from."""

    floor_ms: int
    checkpoint: Checkpoint


_FLOOR_AND_STATE = ("floor_ms", "at_ms", "counter", "ordinal", "codec", "state")
_FLOOR = Asked(
    sa.select(*(thinnings.c[name] for name in _FLOOR_AND_STATE))
    .where(thinnings.c.press_id == sa.bindparam("press_id", type_=sa.Integer))
    .order_by(thinnings.c.thinning_no.desc())
    .limit(sa.literal_column("1"))
)


def floor_of(connection: sa.Connection, press_id: int) -> Floor | None:
    """The newest floor of a press; None when nothing of it was ever thinned."""
    row = _FLOOR.row(connection, press_id=press_id)
    return None if row is None else Floor(row[0], Checkpoint(*row[1:]))


def last_thinning(connection: sa.Connection) -> tuple[int, str] | None:
    """When a floor was last set, and by whom; None when nothing was ever thinned."""
    row = connection.execute(
        sa.select(thinnings.c.made_ms, thinnings.c.who).order_by(thinnings.c.made_ms.desc()).limit(1)
    ).one_or_none()
    return None if row is None else (int(row.made_ms), str(row.who))


def floor_at(connection: sa.Connection, press_id: int, *, before_ms: int, codec: int) -> Floor | None:
    """How far a press could be thinned: to its last checkpoint before a moment, none when it has none.

    None also while anything before that moment waits for evaluation.
    """
    earliest = sa.select(sa.func.min(intake.c.earliest_ms)).where(intake.c.press_id == press_id)
    waits = connection.execute(earliest).scalar_one()
    if waits is not None and int(waits) < before_ms:
        return None
    row = connection.execute(
        sa.select(checkpoints)
        .where(
            checkpoints.c.press_id == press_id, checkpoints.c.at_ms < before_ms, checkpoints.c.codec == codec
        )
        .order_by(checkpoints.c.at_ms.desc(), checkpoints.c.counter.desc())
        .limit(1)
    ).one_or_none()
    if row is None:
        return None
    kept = Checkpoint(row.at_ms, row.counter, row.ordinal, row.codec, bytes(row.state))
    # Its ten minutes stay raw, so that their summary can be computed again from whole shots.
    return Floor(bucket_of(row.at_ms, TEN_MINUTES), kept)


def keep_floor(connection: sa.Connection, press_id: int, floor: Floor, *, who: str, now_ms: int) -> None:
    """From this transaction on nothing is evaluated from before the floor."""
    number = next_of_press(connection, thinnings.c.thinning_no, press_id)
    connection.execute(
        sa.insert(thinnings).values(
            press_id=press_id,
            thinning_no=number,
            floor_ms=floor.floor_ms,
            made_ms=now_ms,
            who=who,
            **dataclasses.asdict(floor.checkpoint),
        )
    )


def kept_stretches(connection: sa.Connection, press_id: int, *, until_ms: int) -> list[Stretch]:
    """Stretches (both ends included) whose raw shots stay: records, contained shots, days of studies."""
    found: list[Stretch] = []
    for from_ms, to_ms in connection.execute(
        sa.select(baselines.c.from_ms, baselines.c.to_ms).where(baselines.c.press_id == press_id)
    ):
        found.append((from_ms - MARGIN_MS, to_ms + MARGIN_MS))
    for opened_ms, ended_ms in connection.execute(
        sa.select(alarms.c.opened_ms, alarms.c.ended_ms).where(
            alarms.c.press_id == press_id, alarms.c.kind.in_(CONTAINED)
        )
    ):
        # Suspect since the last score below one half before somebody was called.
        since = connection.execute(
            sa.select(sa.func.max(scores.c.at_ms)).where(
                scores.c.press_id == press_id, scores.c.at_ms <= opened_ms, scores.c.log_odds < 0.0
            )
        ).scalar_one()
        begin = opened_ms if since is None else int(since)
        found.append((begin - MARGIN_MS, (until_ms if ended_ms is None else int(ended_ms)) + MARGIN_MS))
    for (at_ms,) in connection.execute(sa.select(studies.c.at_ms).where(studies.c.press_id == press_id)):
        found.append((at_ms - 86_400_000, at_ms + MARGIN_MS))
    return _joined(one for one in found if one[0] < until_ms)


def _joined(found: Iterable[Stretch]) -> list[Stretch]:
    joined: list[Stretch] = []
    for begin, end in sorted(found):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _goes(press_id: int, floor_ms: int, kept: list[Stretch]) -> list[sa.ColumnElement[bool]]:
    at = shots.c.at_ms
    return [shots.c.press_id == press_id, at < floor_ms, *(sa.not_(at.between(*one)) for one in kept)]


def count_going(connection: sa.Connection, press_id: int, floor_ms: int, kept: list[Stretch]) -> int:
    """Raw shots that a thinning to this floor removes."""
    query = sa.select(sa.func.count()).select_from(shots).where(*_goes(press_id, floor_ms, kept))
    return int(connection.execute(query).scalar_one())


def remove_some(connection: sa.Connection, press_id: int, floor_ms: int, kept: list[Stretch]) -> int:
    """Remove the oldest of them, AT_A_TIME at most; how many went."""
    times = (
        sa.select(shots.c.at_ms)
        .where(*_goes(press_id, floor_ms, kept))
        .order_by(shots.c.at_ms)
        .limit(AT_A_TIME)
        .subquery()
    )
    last = connection.execute(sa.select(sa.func.max(times.c.at_ms))).scalar_one()
    if last is None:
        return 0
    gone = connection.execute(
        sa.delete(shots).where(*_goes(press_id, floor_ms, kept), shots.c.at_ms <= int(last))
    )
    return int(gone.rowcount)
