"""Strokes of the newest shots, and likelihood paths, kept between page loads until something new came."""

import threading
from collections.abc import Callable, Hashable
from typing import Any, Generic, TypeVar

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.show.stroke_strip import Stroke
from server.store.page_queries import Row, score_path
from server.store.shots import read_columns
from server.valve.evidence import likelihood
from server.valve.signals import derive
from server.words.times import DAY, HOUR, MINUTE

Value = TypeVar("Value")

#: Shots a row's strip and the press page's strip rest on.
ROW_SHOTS, PAGE_SHOTS = 60, 200
_COLUMNS = ("shot_size_mm", "shot_size_cm3", "cushion_mm", "cushion_cm3", "transfer_position_mm")


class Kept(Generic[Value]):
    """Values by key, each made again when its mark has changed; safe between threads."""

    def __init__(self, most: int = 2_000) -> None:
        self._kept: dict[Hashable, tuple[Hashable, Value]] = {}
        self._lock = threading.Lock()
        self._most = most

    def get(self, key: Hashable, mark: Hashable, make: Callable[[], Value]) -> Value:
        with self._lock:
            known = self._kept.get(key)
        if known is not None and known[0] == mark:
            return known[1]
        value = make()
        with self._lock:
            if len(self._kept) >= self._most:
                self._kept.clear()
            self._kept[key] = (mark, value)
        return value


_strokes: Kept[Stroke | None] = Kept()
_paths: Kept[list[tuple[int, float]]] = Kept()


def newest_stroke(connection: sa.Connection, row: Row, *, shots: int = ROW_SHOTS) -> Stroke | None:
    """Where the newest shots of a press start and end; None without shots.

    A middle of 60 shots moves little with one: beside many others a press is looked at again once a
    minute, on its own page with every shot.
    """
    key = (str(connection.engine.url), row["press_id"], shots)
    newest = (row["last_shot_ms"], row["last_counter"])
    still = shots == ROW_SHOTS and row["last_shot_ms"] is not None
    mark = (row["last_shot_ms"] // MINUTE if still else newest, row["screw_diameter_mm"])

    def make() -> Stroke | None:
        columns = read_columns(connection, row["press_id"], names=_COLUMNS, limit=shots, newest=True)
        return stroke_of(columns, screw_diameter_mm=row["screw_diameter_mm"])

    return _strokes.get(key, mark, make)


def stroke_of(columns: dict[str, NDArray[Any]], *, screw_diameter_mm: float | None) -> Stroke | None:
    """Medians and the middle nine tenths of shot size and cushion."""
    if len(columns["at_ms"]) == 0:
        return None
    signals = derive(columns, dose_lag=0, screw_diameter_mm=screw_diameter_mm).signals
    size, cushion = _known(signals["shot_size_mm"]), _known(signals["cushion_mm"])
    if len(size) == 0 or len(cushion) == 0:
        return None
    transfer = _known(columns["transfer_position_mm"])
    return Stroke(
        shot_size_mm=float(np.median(size)),
        cushion_mm=float(np.median(cushion)),
        shot_size_band=_band(size),
        cushion_band=_band(cushion),
        transfer_mm=float(np.median(transfer)) if len(transfer) else None,
    )


def _known(values: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(values[np.isfinite(values)], dtype=np.float64)


def _band(values: NDArray[np.float64]) -> tuple[float, float]:
    low, high = np.quantile(values, (0.05, 0.95))
    return float(low), float(high)


def thirty_days(connection: sa.Connection, row: Row, *, now_ms: int) -> list[tuple[int, float]]:
    """The likelihood over 30 days in steps of 6 h, ending in the newest value."""
    key = (str(connection.engine.url), row["press_id"])
    # History may be rewritten by a late shot or a new record; within a quarter of an hour it shows.
    mark = (now_ms // (HOUR // 4), row["baseline_no"])

    def make() -> list[tuple[int, float]]:
        path = score_path(connection, row["press_id"], since_ms=now_ms - 30 * DAY, bucket_ms=6 * HOUR)
        return [(at_ms, likelihood(log_odds)) for at_ms, log_odds in path]

    path = _paths.get(key, mark, make)
    if row["score_ms"] is None or row["log_odds"] is None:
        return path
    newest = (int(row["score_ms"]), likelihood(float(row["log_odds"])))
    return [point for point in path if point[0] < newest[0]] + [newest]
