"""Ten-minute roll-ups: each bucket computed from all of its shots at once."""

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import SIGNALS
from server.maths.quantile_sketch import sketches
from server.store.evaluation import TEN_MINUTES

_SPAN = TEN_MINUTES * 1000


@dataclasses.dataclass(frozen=True)
class Summed:
    """Roll-up rows of every bucket touched, and the shots of the last one to carry on."""

    rows: list[dict[str, Any]]
    at_ms: NDArray[np.int64]
    setup_ids: NDArray[np.int64]
    values: NDArray[np.float64]


def sum_up(at_ms: NDArray[np.int64], setup_ids: NDArray[np.int64], values: NDArray[np.float64]) -> Summed:
    """Summaries of shots in time order; the first ones may be carried from before.

    values [n, len(SIGNALS)], NaN where missing. A bucket's numbers depend on its shots alone.
    """
    if not len(at_ms):
        return Summed([], at_ms, setup_ids, values)
    bucket = at_ms - at_ms % _SPAN
    order = np.lexsort((setup_ids, bucket))
    starts = np.flatnonzero(
        (np.diff(bucket[order], prepend=-1) != 0) | (np.diff(setup_ids[order], prepend=-1) != 0)
    )
    rows = _rows(bucket[order], setup_ids[order], values[order], starts)
    last = int(np.searchsorted(bucket, bucket[-1]))
    return Summed(rows, at_ms[last:].copy(), setup_ids[last:].copy(), values[last:].copy())


def _rows(
    bucket: NDArray[np.int64],
    setup_ids: NDArray[np.int64],
    values: NDArray[np.float64],
    starts: NDArray[np.intp],
) -> list[dict[str, Any]]:
    """A row for each stretch from `starts` on and each signal it has a value of."""
    x = np.ascontiguousarray(values.T)
    known = np.isfinite(x)
    n = np.add.reduceat(known, starts, axis=1, dtype=np.int64)
    of = np.repeat(np.arange(len(starts)), np.diff(starts, append=len(bucket)))
    mean = np.add.reduceat(np.where(known, x, 0.0), starts, axis=1) / np.maximum(n, 1)
    away = np.where(known, x - mean[:, of], 0.0)
    numbers = zip(
        n.T[n.T > 0].tolist(),
        mean.T[n.T > 0].tolist(),
        np.add.reduceat(away * away, starts, axis=1).T[n.T > 0].tolist(),
        np.minimum.reduceat(np.where(known, x, np.inf), starts, axis=1).T[n.T > 0].tolist(),
        np.maximum.reduceat(np.where(known, x, -np.inf), starts, axis=1).T[n.T > 0].tolist(),
        strict=True,
    )
    groups, columns = np.nonzero(n.T)
    shot, column = np.nonzero(known.T)
    place = np.cumsum(n.T > 0) - 1
    made = sketches(values[known.T], groups=place[of[shot] * len(SIGNALS) + column], count=len(groups))
    return [
        {
            "bucket_ms": bucket_ms, "setup_id": setup_id, "signal": SIGNALS[signal],
            "n": count, "mean": middle, "m2": m2, "low": low, "high": high, "sketch": sketch,
        }
        for bucket_ms, setup_id, signal, (count, middle, m2, low, high), sketch in zip(
            bucket[starts[groups]].tolist(), setup_ids[starts[groups]].tolist(), columns.tolist(),
            numbers, made, strict=True,
        )
    ]  # fmt: skip
