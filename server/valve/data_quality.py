"""How far a press's record can be trusted: completeness, its clock, and sensors that stand still."""

import dataclasses
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.language import N_
from server.maths.results import Undetermined
from server.maths.rounding import rounding_step

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


# --- completeness -----------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class DayCount:
    """Shots of one day: `expected` from the counters against `stored`; resets and leaps of the counter."""

    day: int
    stored: int
    expected: int
    resets: int
    leaps: int

    @property
    def share(self) -> float:
        """Stored of expected, 0 to 1."""
        return self.stored / self.expected if self.expected else 1.0


@dataclasses.dataclass(frozen=True)
class Gap:
    """A stretch without its shots: the counters on both sides and how many are missing between."""

    from_ms: int
    to_ms: int
    from_counter: int
    to_counter: int
    missing: int


@dataclasses.dataclass(frozen=True)
class Completeness:
    """days: one `DayCount` each, in order. gaps: the largest first."""

    days: tuple[DayCount, ...]
    gaps: tuple[Gap, ...]

    @property
    def share(self) -> float:
        expected = sum(one.expected for one in self.days)
        return sum(one.stored for one in self.days) / expected if expected else 1.0


def completeness(at_ms: Ints, counter: Ints, day: Ints, *, most_gaps: int = 20) -> Completeness:
    """Shots expected from the cycle counters against shots stored, by day.

    at_ms, counter, day: int64 [n], in order of (at, counter); `day` numbers the plant's days. A step
    of the counter by k means k - 1 shots are missing. A counter that falls was reset: a new count
    begins, nothing is missing there that anybody could know of. A leap no press could have made in
    the time between (more than twice what the usual cycle gives, and five) was set by hand: no gap
    either (domain reasoning, derived; the factor is common practice, no source). Missing shots count
    for the day of the shot after them.

    >>> import numpy as np
    >>> at, counter = np.array([0, 20, 80, 100]) * 1000, np.array([1, 2, 5, 1])
    >>> found = completeness(at, counter, np.zeros(4, dtype=np.int64))
    >>> found.days[0].expected, found.days[0].stored, found.days[0].resets, found.gaps[0].missing
    (6, 4, 1, 2)
    """
    at, number = np.asarray(at_ms, dtype=np.int64), np.asarray(counter, dtype=np.int64)
    days = np.asarray(day, dtype=np.int64)
    if not len(at):
        return Completeness((), ())
    steps, pauses = np.diff(number), np.diff(at)
    one_by_one = pauses[steps == 1]
    cycle = float(np.median(one_by_one)) if len(one_by_one) else 0.0
    possible = 5.0 + (2.0 * pauses / cycle if cycle > 0.0 else 0.0)
    reset, leap = steps < 0, steps > possible
    missing = np.where(reset | leap | (steps == 0), 0, steps - 1)
    gaps = [
        Gap(int(at[i]), int(at[i + 1]), int(number[i]), int(number[i + 1]), int(missing[i]))
        for i in np.argsort(-missing, kind="stable")[:most_gaps]
        if missing[i] > 0
    ]
    found = []
    for one in np.unique(days):
        here, later = days == one, days[1:] == one
        stored = int(here.sum())
        found.append(
            DayCount(
                int(one), stored, stored + int(missing[later].sum()), int(reset[later].sum()),
                int(leap[later].sum()),
            )
        )  # fmt: skip
    return Completeness(tuple(found), tuple(gaps))


# --- the press's clock ------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class ClockDrift:
    """How a press's clock stands to the server's. offset_ms: arrival minus the shot's time, at least;
    negative: the press is ahead. per_day_ms: how it moves. days: with a reading."""

    offset_ms: float
    per_day_ms: float
    days: int

    @property
    def is_ahead(self) -> bool:
        """Shots from the future, by more than a network's own uncertainty."""
        return self.offset_ms < -2_000.0

    @property
    def is_behind(self) -> bool:
        """A minute late at best: a clock that is behind, or a slow way to the server."""
        return self.offset_ms > 60_000.0

    @property
    def is_drifting(self) -> bool:
        return self.days >= 3 and abs(self.per_day_ms) > 1_000.0


def clock_drift(day: Ints, least_lag_ms: Ints) -> ClockDrift | Undetermined:
    """The press's clock against the server's, from the shortest lag (arrival minus at) of each day.

    A network only adds to the lag, so the least of a day is the best reading of both clocks
    (common practice, no source). The slope is the median of pairwise slopes (Theil 1950, Sen 1968).
    day, least_lag_ms: int64 [n], one a day. `Undetermined` without a reading.

    >>> import numpy as np
    >>> clock_drift(np.arange(5), np.arange(5) * -1500).per_day_ms
    -1500.0
    """
    days, lags = np.asarray(day, dtype=np.float64), np.asarray(least_lag_ms, dtype=np.float64)
    if not len(days):
        return Undetermined(N_("no shot has come live yet, so nothing compares the clocks"))
    first, second = np.triu_indices(len(days), 1)
    apart = days[second] - days[first]
    slopes = (lags[second] - lags[first])[apart > 0] / apart[apart > 0]
    return ClockDrift(
        offset_ms=float(lags[np.argmax(days)]),
        per_day_ms=float(np.median(slopes)) if len(slopes) else 0.0,
        days=len(days),
    )


# --- sensors ----------------------------------------------------------------------------------

#: Equal readings in a row before a sensor is called stuck: chance does so once in many years, see below.
STUCK_FROM: Final = 50


@dataclasses.dataclass(frozen=True)
class SensorState:
    """How a signal reads. verdict: `alive`, `stuck` (stands still where it used to move), `constant` (never
    moved) or `coarse` (its display step hides its scatter). run: equal readings at the end."""

    verdict: str
    run: int
    readings: int
    step: float | None
    equal_share: float


def sensor_state(values: Floats) -> SensorState | Undetermined:
    """Whether a sensor moves, from consecutive readings, float64 [n], NaN where missing.

    With a share p of equal neighbours in the part before, a run of r equal ones at the end has the
    chance p^r; below one in a million, and from 50 on, it is called stuck. A display step over 3
    standard deviations is called coarse: sigma from differences collapses there (see
    `maths.rounding`). Limits: common practice, no source. `Undetermined` below 20 readings.

    >>> import numpy as np
    >>> moving = 6 + 0.01 * (np.arange(200) % 5)
    >>> sensor_state(np.concatenate((moving, np.full(80, 6.0)))).verdict, sensor_state(moving).verdict
    ('stuck', 'alive')
    """
    array = np.asarray(values, dtype=np.float64)
    array = array[np.isfinite(array)]
    if len(array) < 20:
        return Undetermined(N_("{array} of 20 readings needed", array=len(array)))
    equal = np.diff(array) == 0.0
    share = float(equal.mean())
    if equal.all():
        return SensorState("constant", len(array), len(array), None, 1.0)
    run = len(array) - 1 - int(np.flatnonzero(~equal)[-1])
    before = equal[: len(equal) - run + 1]
    usual = float(before.mean()) if len(before) else 0.0
    step = rounding_step(array[-500:])
    stuck = run >= STUCK_FROM and usual < 0.98 and (usual <= 0.0 or run * np.log10(usual) < -6.0)
    scatter = float(np.std(array[-500:]))
    verdict = "alive"
    if stuck:
        verdict = "stuck"
    elif step is not None and step > 3.0 * scatter:
        verdict = "coarse"
    return SensorState(verdict, run, len(array), step, share)


def sensor_states(columns: Mapping[str, Floats]) -> dict[str, SensorState]:
    """The state of every signal that was read often enough to say.

    >>> import numpy as np
    >>> sensor_states({"cushion_mm": np.full(30, 6.0), "drift_mm": np.full(30, np.nan)})["cushion_mm"].verdict
    'constant'
    """
    found = {name: sensor_state(values) for name, values in columns.items()}
    return {name: one for name, one in found.items() if isinstance(one, SensorState)}
