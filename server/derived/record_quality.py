"""How far a press's record can be trusted: one judgement of stored shots, for the page and the API."""

import dataclasses
import datetime as dt
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.contract import SHOT_NUMBERS
from server.maths.results import Undetermined
from server.store.clocks import DAY_MS, lags_of
from server.store.plant import Press
from server.store.quarantine import counts_by_code
from server.store.shots import read_columns
from server.valve.data_quality import (
    ClockDrift,
    Completeness,
    SensorState,
    clock_drift,
    completeness,
    sensor_states,
)
from server.valve.log_checks import (
    ConstantSum,
    Suspicion,
    TwoPresses,
    constant_sum,
    two_counters,
    unit_suspicions,
    wrapped_suspicions,
)
from server.valve.signals import DoseLag, dose_lag_evidence

#: Shots whose counters are compared at most, and the newest whose signals are looked at.
COUNTED_MAX, LOOKED_AT = 400_000, 2_000


@dataclasses.dataclass(frozen=True)
class RecordQuality:
    """What is known of a press's record. dates: the day each `DayCount` of `completeness` is.

    apart: rows of the press kept apart, by code. constant_sum: of the shot size. shots: looked at.
    """

    press: str
    from_ms: int
    completeness: Completeness
    dates: tuple[str, ...]
    clock: ClockDrift | Undetermined
    sensors: dict[str, SensorState]
    suspicions: tuple[Suspicion, ...]
    two_presses: TwoPresses | None
    apart: tuple[tuple[str, int], ...]
    constant_sum: ConstantSum | Undetermined
    dose_lag: DoseLag | Undetermined
    dose_lag_set: int | None
    shots: int


def record_quality(
    connection: sa.Connection, press: Press, *, days: int, zone: ZoneInfo, now_ms: int
) -> RecordQuality:
    """Judge the last `days` days, in the plant's days."""
    from_ms = _midnight(now_ms, zone) - (days - 1) * DAY_MS
    keys = read_columns(connection, press.press_id, from_ms=from_ms, names=(), limit=COUNTED_MAX, newest=True)
    newest = read_columns(connection, press.press_id, names=SHOT_NUMBERS, limit=LOOKED_AT, newest=True)
    day = _days(keys["at_ms"], zone)
    counted = completeness(keys["at_ms"], keys["counter"], day)
    numbers: dict[str, NDArray[np.float64]] = {name: newest[name] for name in SHOT_NUMBERS}
    size, cushion = _volumes(newest)
    return RecordQuality(
        press=press.press,
        from_ms=from_ms,
        completeness=counted,
        dates=tuple(dt.date.fromordinal(one.day).isoformat() for one in counted.days),
        clock=clock_drift(*lags_of(connection, press.press_id, days=max(days, 7))),
        sensors=sensor_states(numbers),
        suspicions=(*unit_suspicions(numbers), *wrapped_suspicions(numbers)),
        two_presses=two_counters(newest["at_ms"], newest["counter"]),
        apart=tuple(counts_by_code(connection, press.press, since_ms=from_ms)),
        constant_sum=constant_sum(size, cushion),
        dose_lag=dose_lag_evidence(newest),
        dose_lag_set=press.dose_lag,
        shots=len(newest["at_ms"]),
    )


def _volumes(columns: dict[str, NDArray[Any]]) -> Sequence[NDArray[np.float64]]:
    """Shot size and cushion in the same unit: as positions where both are, else as volumes."""
    for unit in ("_mm", "_cm3"):
        pair = columns["shot_size" + unit], columns["cushion" + unit]
        if all(np.isfinite(one).any() for one in pair):
            return pair
    return columns["shot_size_cm3"], columns["cushion_cm3"]


def _midnight(at_ms: int, zone: ZoneInfo) -> int:
    local = dt.datetime.fromtimestamp(at_ms / 1000, zone)
    start = local.replace(hour=0, minute=0, second=0, microsecond=0)
    return int(start.timestamp() * 1000)


def _days(at_ms: NDArray[np.int64], zone: ZoneInfo) -> NDArray[np.int64]:
    """The plant's day of each shot; offsets change within the hour only, so each hour is asked once."""
    hours, place = np.unique(at_ms // 3_600_000, return_inverse=True)
    starts = [dt.datetime.fromtimestamp(int(hour) * 3600, zone).toordinal() for hour in hours]
    return np.array(starts, dtype=np.int64)[place] if len(hours) else np.zeros(0, dtype=np.int64)
