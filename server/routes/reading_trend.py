"""A signal over time in a bounded number of pieces, from shots or from their summaries."""

import dataclasses
import math
from typing import Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.values import read_values
from server.maths.quantile_sketch import quantiles, quantiles_of_stretches
from server.store.evaluation import GRAINS, merge_summaries
from server.store.fine_summaries import grain_there
from server.store.plant import Press
from server.store.questions import Summary, shots_up_to, span_of_shots, summaries
from server.store.spreads import SHOWN, Kept, sketches_between

#: Up to so many shots are read themselves.
RAW_MAX: Final = 20_000


@dataclasses.dataclass(frozen=True)
class Trend:
    """k pieces in order: at_ms int64 [k] (the first moment), n int64 [k], low, high, mean [k].

    spread [k, 3]: quantiles `store.spreads.SHOWN`, NaN where they are not known.
    grain_s: length of the summaries it was made from, 0: from the shots themselves.
    """

    grain_s: int
    at_ms: NDArray[np.int64]
    n: NDArray[np.int64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    mean: NDArray[np.float64]
    spread: NDArray[np.float64]


def read_trend(
    connection: sa.Connection,
    press: Press,
    *,
    signal: str,
    dose_lag: int,
    from_ms: int | None,
    to_ms: int | None,
    points: int,
) -> Trend:
    """At most `points` pieces; every piece knows its extremes, so none is lost."""
    few = shots_up_to(connection, press.press_id, from_ms=from_ms, to_ms=to_ms, limit=RAW_MAX + 1)
    if few <= RAW_MAX:
        found = read_values(
            connection,
            press,
            signal=signal,
            dose_lag=dose_lag,
            from_ms=from_ms,
            to_ms=to_ms,
            limit=RAW_MAX,
        )
        known = np.isfinite(found.values)
        return thin(found.at_ms[known], found.values[known], points=points)
    span = span_of_shots(connection, press.press_id, from_ms=from_ms, to_ms=to_ms)
    assert span is not None
    first, last = span
    wanted = fitting_grain(last + 1 - first, points)
    grain = grain_there(connection, press.press_id, wanted=wanted, from_ms=first)
    rows = summaries(connection, press.press_id, signal=signal, grain=grain, from_ms=first, to_ms=last + 1)
    kept = sketches_between(
        connection, press.press_id, signals=[signal], grain=grain, from_ms=first, to_ms=last + 1
    )
    return _joined(rows, kept, grain=grain, points=points)


def fitting_grain(length_ms: int, points: int) -> int:
    """The grain whose number of pieces over a length of time is nearest to `points`.

    >>> day = 86_400_000
    >>> fitting_grain(60 * day, 1_000), fitting_grain(60 * day, 60), fitting_grain(5 * day, 1_000)
    (3600, 86400, 600)
    """
    return min(GRAINS, key=lambda grain: abs(math.log(max(1.0, length_ms / (grain * 1000)) / points)))


def thin(at_ms: NDArray[np.int64], values: NDArray[np.float64], *, points: int) -> Trend:
    """Shots in at most `points` pieces of equal length in time; empty ones are left out.

    >>> t = thin(np.array([0, 1, 2, 9]), np.array([1.0, 3.0, 2.0, 5.0]), points=2)
    >>> t.at_ms.tolist(), t.low.tolist(), t.high.tolist(), t.mean.tolist()
    ([0, 9], [1.0, 5.0], [3.0, 5.0], [2.0, 5.0])
    """
    if not len(values):
        nothing = np.empty(0)
        whole = np.empty(0, np.int64)
        return Trend(0, whole, whole, nothing, nothing, nothing, np.empty((0, len(SHOWN))))
    starts = np.arange(len(values))
    if len(values) > points:
        width = -(-int(at_ms[-1] - at_ms[0] + 1) // points)
        piece = (at_ms - at_ms[0]) // width
        starts = np.flatnonzero(np.diff(piece, prepend=-1))
    n = np.diff(np.append(starts, len(values)))
    return Trend(
        grain_s=0,
        at_ms=at_ms[starts],
        n=n.astype(np.int64),
        low=np.minimum.reduceat(values, starts),
        high=np.maximum.reduceat(values, starts),
        mean=np.add.reduceat(values, starts) / n,
        spread=quantiles_of_stretches(values, starts=starts, probabilities=SHOWN),
    )


def _joined(rows: list[tuple[int, Summary]], kept: list[Kept], *, grain: int, points: int) -> Trend:
    """Summaries in at most `points` pieces of equally many neighbours, with the sketches of their buckets."""
    together = -(-len(rows) // points) if rows else 1
    pieces: list[tuple[int, Summary]] = []
    piece_of = {bucket: i // together for i, (bucket, _) in enumerate(rows)}
    groups = np.array([piece_of[bucket] for _, bucket, _ in kept], dtype=np.int64)
    for i, (bucket, part) in enumerate(rows):
        if i % together:
            pieces[-1] = (pieces[-1][0], merge_summaries(pieces[-1][1], part))
        else:
            pieces.append((bucket, part))
    low = np.array([part[3] for _, part in pieces], dtype=np.float64)
    high = np.array([part[4] for _, part in pieces], dtype=np.float64)
    spread = quantiles(
        [sketch for _, _, sketch in kept], probabilities=SHOWN, groups=groups, count=len(pieces)
    )
    return Trend(
        grain_s=grain,
        at_ms=np.array([bucket for bucket, _ in pieces], dtype=np.int64),
        n=np.array([part[0] for _, part in pieces], dtype=np.int64),
        low=low,
        high=high,
        mean=np.array([part[1] for _, part in pieces], dtype=np.float64),
        # The middle of the first bin may lie outside of what there was.
        spread=np.clip(spread, low[:, None], high[:, None]),
    )
