"""Where most shots of a signal lay: quantiles of pieces of time, from the sketches kept with summaries."""

import dataclasses
from collections.abc import Sequence
from typing import Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.maths.quantile_sketch import quantiles
from server.store.evaluation import TEN_MINUTES
from server.store.tables import rollups

#: One shot in twenty lies below the first, half below the second, one in twenty above the third.
SHOWN: Final = (0.05, 0.5, 0.95)

#: Signal, beginning of the bucket, its sketch where it is known.
Kept = tuple[str, int, bytes | None]


@dataclasses.dataclass(frozen=True)
class Spread:
    """Quantiles SHOWN of k pieces of time in order; begin_ms [k], values [k, 3] with NaN for not known."""

    begin_ms: NDArray[np.int64]
    values: NDArray[np.float64]


def sketches_between(
    connection: sa.Connection,
    press_id: int,
    *,
    signals: Sequence[str],
    grain: int,
    from_ms: int,
    to_ms: int,
) -> list[Kept]:
    """Sketches of the buckets that touch a stretch, several of a bucket where set-ups changed within it.

    The newest hour and day have none of their own yet: theirs are those of the ten minutes within.
    """
    found = _read(connection, press_id, signals, grain, from_ms - grain * 1000 + 1, to_ms)
    newest = max((bucket for _, bucket, _ in found), default=0)
    if grain == TEN_MINUTES or not any(sketch is None for _, bucket, sketch in found if bucket == newest):
        return found
    within = _read(connection, press_id, signals, TEN_MINUTES, newest, newest + grain * 1000)
    return [one for one in found if one[1] != newest] + [
        (signal, newest, sketch) for signal, _, sketch in within
    ]


def _read(
    connection: sa.Connection, press_id: int, signals: Sequence[str], grain: int, from_ms: int, to_ms: int
) -> list[Kept]:
    c = rollups.c
    rows = connection.execute(
        sa.select(c.signal, c.bucket_ms, c.sketch)
        .where(
            c.press_id == press_id,
            c.grain == grain,
            c.bucket_ms >= from_ms,
            c.bucket_ms < to_ms,
            c.signal.in_(list(signals)),
        )
        .order_by(c.bucket_ms, c.setup_id)
    )
    return [(str(signal), int(bucket), sketch) for signal, bucket, sketch in rows.all()]


def spreads(kept: Sequence[Kept], *, piece_ms: int) -> dict[str, Spread]:
    """Quantiles by signal and piece; pieces of `piece_ms` are counted from 1970."""
    names = sorted({signal for signal, _, _ in kept})
    number = {name: place for place, name in enumerate(names)}
    of = np.array([number[signal] for signal, _, _ in kept], dtype=np.int64)
    piece = np.array([bucket // piece_ms for _, bucket, _ in kept], dtype=np.int64)
    # One number for signal and piece, in this order.
    least = int(piece.min()) if len(piece) else 0
    length = int(piece.max()) - least + 1 if len(piece) else 1
    there, groups = np.unique(of * length + piece - least, return_inverse=True)
    values = quantiles(
        [sketch for _, _, sketch in kept], probabilities=SHOWN, groups=groups, count=len(there)
    )
    found = {}
    for place, name in enumerate(names):
        mine = there // length == place
        found[name] = Spread((there[mine] % length + least) * piece_ms, values[mine])
    return found
