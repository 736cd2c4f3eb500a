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
    edges = np.flatnonzero(np.diff(bucket)) + 1
    starts = [0, *edges.tolist()]
    ends = [*edges.tolist(), len(at_ms)]
    rows: list[dict[str, Any]] = []
    for start, end in zip(starts, ends, strict=True):
        here = setup_ids[start:end]
        for setup_id in np.unique(here):
            part = values[start:end][here == setup_id]
            rows += _rows(int(bucket[start]), int(setup_id), part)
    for row, sketch in zip(rows, _sketches(bucket, setup_ids, values), strict=True):
        row["sketch"] = sketch
    last = starts[-1]
    return Summed(rows, at_ms[last:].copy(), setup_ids[last:].copy(), values[last:].copy())


def _sketches(
    bucket: NDArray[np.int64], setup_ids: NDArray[np.int64], values: NDArray[np.float64]
) -> list[bytes | None]:
    """Of every bucket, set-up and signal with a value, in this order; made all at once, many times faster."""
    order = np.lexsort((setup_ids, bucket))
    new = (np.diff(bucket[order], prepend=-1) != 0) | (np.diff(setup_ids[order], prepend=-1) != 0)
    of_shot = np.empty(len(bucket), dtype=np.int64)
    of_shot[order] = np.cumsum(new) - 1
    known = np.isfinite(values)
    shot, column = np.nonzero(known)
    there, groups = np.unique(of_shot[shot] * values.shape[1] + column, return_inverse=True)
    return sketches(values[known], groups=groups.astype(np.int64), count=len(there))


def _rows(bucket_ms: int, setup_id: int, part: NDArray[np.float64]) -> list[dict[str, Any]]:
    known = np.isfinite(part)
    whole = known.all(axis=0)
    # Signals that every shot has are summed together: along rows, as each would be by itself.
    made = {**_sums(np.flatnonzero(whole), part)}
    for column in np.flatnonzero(known.any(axis=0) & ~whole).tolist():
        made |= _sums(np.array([column]), part[known[:, column]])
    rows = []
    for column in sorted(made):
        n, mean, m2, low, high = made[column]
        rows.append(
            {
                "bucket_ms": bucket_ms, "setup_id": setup_id, "signal": SIGNALS[column],
                "n": n, "mean": mean, "m2": m2, "low": low, "high": high,
            }
        )  # fmt: skip
    return rows


def _sums(
    columns: NDArray[np.intp], part: NDArray[np.float64]
) -> dict[int, tuple[int, float, float, float, float]]:
    """(n, mean, m2, low, high) of columns of part [n, signals], none of whose values is missing."""
    x = np.ascontiguousarray(part[:, columns].T)
    n = x.shape[1]
    mean = np.add.reduce(x, axis=1) / n
    m2 = np.add.reduce((x - mean[:, None]) ** 2, axis=1)
    found = zip(mean.tolist(), m2.tolist(), x.min(axis=1).tolist(), x.max(axis=1).tolist(), strict=True)
    return {column: (n, *one) for column, one in zip(columns.tolist(), found, strict=True)}
