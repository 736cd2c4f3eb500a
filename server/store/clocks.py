"""Readings of the presses' clocks: the shortest time a live shot took to arrive, by day."""

from collections.abc import Mapping

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.store.tables import clock_readings

DAY_MS = 86_400_000
#: A shot later than this was no live one, but waited somewhere or was sent again.
LATE_MS = 600_000


def note_lags(connection: sa.Connection, newest: Mapping[int, tuple[int, int]], *, now_ms: int) -> None:
    """Note how long the newest shot of each press took: (at_ms, counter) by press."""
    lags = {press_id: now_ms - at_ms for press_id, (at_ms, _) in newest.items()}
    rows = [
        (press_id, now_ms // DAY_MS, lag) for press_id, lag in sorted(lags.items()) if abs(lag) <= LATE_MS
    ]
    if not rows:
        return
    mark = "?" if connection.dialect.name == "sqlite" else "%s"
    connection.exec_driver_sql(
        "INSERT INTO clock_readings (press_id, day, readings, least_lag_ms)"
        f" VALUES ({mark}, {mark}, 1, {mark}) ON CONFLICT (press_id, day) DO UPDATE SET"
        " readings = clock_readings.readings + 1,"
        " least_lag_ms = CASE WHEN excluded.least_lag_ms < clock_readings.least_lag_ms"
        " THEN excluded.least_lag_ms ELSE clock_readings.least_lag_ms END",
        rows,
    )


def lags_of(
    connection: sa.Connection, press_id: int, *, days: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Days (since 1970) and the shortest lag of each, ms; the newest `days` readings, in order."""
    rows = connection.execute(
        sa.select(clock_readings.c.day, clock_readings.c.least_lag_ms)
        .where(clock_readings.c.press_id == press_id)
        .order_by(clock_readings.c.day.desc())
        .limit(days)
    ).all()[::-1]
    table = np.array([tuple(row) for row in rows], dtype=np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]
