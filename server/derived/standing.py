"""How a press stands, read from its state: running or not, judged or not, since when it leaks."""

import dataclasses
import math
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.values import read_values
from server.maths.drift import change_point
from server.maths.onset import ramp_start
from server.maths.results import Undetermined
from server.store.evaluation import HOUR, TEN_MINUTES
from server.store.fine_summaries import grain_there
from server.store.plant import Press, setups_of
from server.store.questions import Row, score_turn, shots_up_to, summaries
from server.store.records import Baseline, events_of
from server.valve.evidence import likelihood

#: A judgement older than this by arrival describes the past: it stays, marked as stale.
STALE_MS: Final = 24 * 3_600_000
#: Up to so many shots since the record began the onset is sought in the shots themselves.
RAW_SHOTS: Final = 6_000
#: Shots in one mean of those.
BLOCK: Final = 5
#: Beyond this the hours are taken instead of the ten minutes.
FINE_MS: Final = 14 * 24 * 3_600_000
#: A change less clear than this is none (common practice, no source).
CLEAR_P: Final = 0.05
#: Two descriptions whose scatters differ by less are equally good (common practice, no source).
ALIKE: Final = 1.02


def press_status(row: Row, *, silent_after_s: float, now_ms: int) -> str:
    """`running`, `silent` (nothing has arrived for longer than the press may pause) or `no_shots`."""
    last = row["last_arrival_ms"]
    if last is None:
        return "no_shots"
    limit_s = row["silent_after_s"] or silent_after_s
    return "silent" if now_ms - last > limit_s * 1000 else "running"


def shown_status(row: Row, *, now_ms: int) -> str:
    """The leak status; `ok` becomes `stale` when nothing has arrived for a day."""
    status = str(row["leak_status"] or "no_baseline")
    last = row["last_arrival_ms"]
    if status == "ok" and last is not None and now_ms - last > STALE_MS:
        return "stale"
    return status


def likelihood_of(row: Row) -> float | None:
    """The leak-likelihood; None where the press is not judged."""
    if row["log_odds"] is None or row["leak_status"] not in ("ok", "stale"):
        return None
    return likelihood(float(row["log_odds"]))


# --- onset --------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Onset:
    """When the leak began: the likeliest moment within from_ms and to_ms (95 %).

    `shows_in`: `level` or `scatter` of the swept stroke, or the `score` itself: its last turn from
    below one half, with the last score below as `from_ms`; that one is no confidence interval.
    """

    at_ms: int
    from_ms: int
    to_ms: int
    shows_in: str


@dataclasses.dataclass(frozen=True)
class _Course:
    """Means and scatter of the swept stroke over time; starts and ends in milliseconds, all [k].

    shots: how many were made up to each, since a valve wears with shots and not over a weekend.
    """

    shots: NDArray[np.int64]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    mean: NDArray[np.float64]
    scatter: NDArray[np.float64]


def find_onset(connection: sa.Connection, press: Press, row: Row, baseline: Baseline | None) -> Onset | None:
    """When the swept stroke left its level or its scatter, where a leak is the likelier story."""
    value = likelihood_of(row)
    if value is None or value < 0.5 or baseline is None:
        return None
    course = _course(connection, press, row, baseline)
    for name, numbers in (("level", course.mean), ("scatter", course.scatter)):
        found = _turn(numbers, course.shots)
        if found is None:
            continue
        index, lower, upper = found
        # The change may lie within the stretch before the first one that shows it.
        first = int(course.starts[max(0, lower - 1)])
        at = max(int(course.starts[index]), baseline.to_ms)
        return Onset(
            at_ms=at,
            from_ms=min(at, max(first, baseline.to_ms)),
            to_ms=max(at, int(course.ends[upper])),
            shows_in=name,
        )
    return _turn_of_the_score(connection, press, baseline)


def _turn_of_the_score(connection: sa.Connection, press: Press, baseline: Baseline) -> Onset | None:
    """Where neither level nor scatter turns clearly: since when the score stays on the leak's side."""
    turned = score_turn(connection, press.press_id, baseline_no=baseline.baseline_no)
    # A valve that was never seen below one half shows no turn: its record is suspect as a whole.
    if turned is None or turned[0] < _began(connection, press, baseline):
        return None
    before_ms, first_ms = turned
    return Onset(at_ms=first_ms, from_ms=max(before_ms, baseline.to_ms), to_ms=first_ms, shows_in="score")


def _turn(numbers: NDArray[np.float64], shots: NDArray[np.int64]) -> tuple[int, int, int] | None:
    """(index, lower, upper) of a clear rise: a step, or the start of a ramp where that fits better.

    Where both fit about equally well the interval holds the intervals of both.
    """
    step = change_point(numbers)
    if isinstance(step, Undetermined) or step.p > CLEAR_P or step.after <= step.before:
        return None
    found = (step.index, step.lower, step.upper)
    ramp = ramp_start(numbers, at=shots)
    if isinstance(ramp, Undetermined) or ramp.slope <= 0:
        return found
    other = (ramp.index, ramp.lower, ramp.upper)
    if ramp.sigma > ALIKE * step.sigma:
        return found
    if step.sigma > ALIKE * ramp.sigma:
        return other
    index = step.index if step.sigma <= ramp.sigma else ramp.index
    return index, min(found[1], other[1]), max(found[2], other[2])


def _began(connection: sa.Connection, press: Press, baseline: Baseline) -> int:
    """The record's beginning, or the last change of the valve since then: one valve, one story."""
    changes = [
        event.at_ms
        for event in events_of(connection, press.press_id, from_ms=baseline.to_ms)
        if event.kind == "valve_change"
    ]
    return max(changes, default=baseline.from_ms)


def setups_compared(connection: sa.Connection, press: Press, baseline: Baseline) -> list[int]:
    """Ids of the set-ups whose shots are compared with a baseline."""
    return [
        one.setup_id
        for one in setups_of(connection, press.press_id).values()
        if one.mold == baseline.mold
        and one.material == baseline.material
        and baseline.setup in (None, one.setup)
    ]


def _course(connection: sa.Connection, press: Press, row: Row, baseline: Baseline) -> _Course:
    """From the record on, so that what it was like before the leak is in it."""
    begin = _began(connection, press, baseline)
    end = int(row["last_shot_ms"] or baseline.to_ms) + 1
    ids = setups_compared(connection, press, baseline)
    few = shots_up_to(connection, press.press_id, from_ms=begin, to_ms=end, limit=RAW_SHOTS + 1)
    if few <= RAW_SHOTS:
        return _course_of_shots(connection, press, row, begin, ids, end)
    wanted = TEN_MINUTES if end - begin <= FINE_MS else HOUR
    grain = grain_there(connection, press.press_id, wanted=wanted, from_ms=begin)
    rows = summaries(
        connection,
        press.press_id,
        signal="swept_mm",
        grain=grain,
        from_ms=begin,
        to_ms=end,
        setup_ids=ids,
    )
    kept = [(bucket, part) for bucket, part in rows if part[0] >= BLOCK]
    starts = np.array([bucket for bucket, _ in kept], dtype=np.int64)
    return _Course(
        shots=np.cumsum([part[0] for _, part in kept], dtype=np.int64),
        starts=starts,
        ends=starts + grain * 1000,
        mean=np.array([part[1] for _, part in kept], dtype=np.float64),
        scatter=np.array([_log_scatter(part[2], part[0]) for _, part in kept], dtype=np.float64),
    )


def _course_of_shots(
    connection: sa.Connection, press: Press, row: Row, begin: int, ids: list[int], end: int
) -> _Course:
    found = read_values(
        connection,
        press,
        signal="swept_mm",
        dose_lag=int(row["dose_lag_found"] or 0),
        from_ms=begin,
        to_ms=end,
        limit=RAW_SHOTS,
        setup_ids=ids,
    )
    usable = np.isfinite(found.values) & ~found.restart
    made = int(usable.sum()) // BLOCK
    values = found.values[usable][: made * BLOCK].reshape(made, BLOCK)
    times = found.at_ms[usable][: made * BLOCK].reshape(made, BLOCK)
    mean = values.mean(axis=1) if made else np.empty(0)
    squares = np.square(values - mean[:, None]).sum(axis=1)
    return _Course(
        shots=np.arange(made) * BLOCK,
        starts=times[:, 0],
        ends=times[:, -1],
        mean=mean,
        scatter=np.array([_log_scatter(float(one), BLOCK) for one in squares], dtype=np.float64),
    )


def _log_scatter(squares: float, n: int) -> float:
    """Logarithm of the standard deviation: its changes are multiples, and it is near normal."""
    return 0.5 * math.log(squares / (n - 1)) if squares > 0 and n > 1 else math.nan


def onset_item(onset: Onset | None, text: Any) -> dict[str, Any] | None:
    """An onset as the API writes it; `text` turns milliseconds into text."""
    if onset is None:
        return None
    return {
        "at": text(onset.at_ms),
        "from": text(onset.from_ms),
        "to": text(onset.to_ms),
        "shows_in": onset.shows_in,
    }
