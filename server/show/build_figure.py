"""Traces of the press page's chart: every shot when they fit, extremes and means per bucket when not."""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.show.build_press import SHOWN
from server.show.figure_bands import Most
from server.show.figures import EventMark, FindingBar, SignalLimits, Trace, Window, press_figure
from server.show.plant_words import Plant
from server.show.press_words import event_words
from server.show.startup_record import recorded_signals
from server.store.evaluation import GRAINS
from server.store.fine_summaries import grain_there
from server.store.page_queries import (
    Row,
    baselines_in_force,
    events_between,
    finding_stretches,
    first_shot_ms,
    press_with_state,
)
from server.store.questions import Pieces, shots_up_to, summaries_in_pieces
from server.store.shots import read_columns
from server.store.spreads import Spread, sketches_between, spreads
from server.valve.signals import derive
from server.words.catalogue import EVENT_NAMES, worded
from server.words.times import MINUTE

Floats = NDArray[np.float64]

#: Shots read and thinned here; longer stretches come from roll-ups: reading more than this takes longer
#: than a view may (`tests/benchmarks/bench_zoom.py`).
SHOTS_MAX = 6_000
#: Buckets of one signal read for a view; a stretch that has more is read in the next coarser ones.
BUCKETS_MAX = 3_000
#: Buckets of one signal whose sketches are read for a view.
SKETCHES_MAX = 1_500
#: What the signals shown are made from.
_COLUMNS = (
    "shot_size_mm", "shot_size_cm3", "cushion_mm", "cushion_cm3", "peak_pressure_bar", "fill_time_s",
    "recovery_time_s",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Asked:
    """The stretch the chart wants. Nothing given: the last `span_ms`, or everything without it."""

    from_ms: int | None = None
    to_ms: int | None = None
    span_ms: int | None = None
    points: int = 800


def build_figure(
    connection: sa.Connection, plant: Plant, *, press: str, asked: Asked
) -> dict[str, Any] | None:
    """plotly JSON of a stretch; None: the plant has no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    window = _window(connection, row, asked, plant.now_ms)
    record = baselines_in_force(connection, row["press_id"]).get(row["press_id"])
    limits = {
        name: SignalLimits(center=one.center, lower=one.lower, upper=one.upper)
        for name, one in recorded_signals(record).items()
    }
    return press_figure(
        _traces(connection, row, window, asked.points),
        window=window,
        limits=limits,
        findings=merged_bars(_bars(connection, row, window), window=window),
        events=_events(connection, row, window),
        units=plant.units,
        zone=plant.zone,
    )


def _window(connection: sa.Connection, row: Row, asked: Asked, now_ms: int) -> Window:
    if asked.from_ms is not None and asked.to_ms is not None and asked.to_ms > asked.from_ms:
        return Window(asked.from_ms, asked.to_ms)
    # Up to the newest shot: a press that stopped last week still shows its last week.
    end = (row["last_shot_ms"] or now_ms) + 1
    if asked.span_ms is not None:
        return Window(end - asked.span_ms, end)
    first = first_shot_ms(connection, row["press_id"])
    return Window(min(first if first is not None else end - 1, end - 1), end)


def _traces(connection: sa.Connection, row: Row, window: Window, points: int) -> list[Trace]:
    press_id = row["press_id"]
    count = shots_up_to(connection, press_id, from_ms=window.from_ms, to_ms=window.to_ms, limit=SHOTS_MAX + 1)
    if count > SHOTS_MAX:
        traces = _from_rollups(connection, press_id, window, points)
        if traces:
            return traces
    # Without summaries (nothing is judged yet) the newest shots stand alone.
    columns = read_columns(
        connection,
        press_id,
        from_ms=window.from_ms,
        to_ms=window.to_ms,
        names=_COLUMNS,
        limit=SHOTS_MAX,
        newest=True,
    )
    if not len(columns["at_ms"]):
        return []
    lag = row["dose_lag"] if row["dose_lag"] is not None else row["dose_lag_found"] or 0
    signals = derive(columns, dose_lag=int(lag), screw_diameter_mm=row["screw_diameter_mm"]).signals
    at = np.asarray(columns["at_ms"], dtype=np.int64)
    return [
        thinned(name, at, signals[name], points=points) for name in SHOWN if np.isfinite(signals[name]).any()
    ]


def thinned(signal: str, at_ms: NDArray[np.int64], values: Floats, *, points: int) -> Trace:
    """Every value when they fit; else mean, least and largest of each of `points` stretches of shots.

    Extremes are kept: a single shot that fell out is seen at any zoom. A pause of the press is a gap
    in the line, never a slope across it.
    """
    pauses = _pauses(at_ms, points)
    if len(values) <= 2 * points:
        at, (every,) = _with_gaps(at_ms, (values,), pauses, at_ms[pauses - 1])
        return Trace(signal, at_ms=at, mean=every)
    even = np.linspace(0, len(values), points, endpoint=False).astype(np.int64)
    starts = np.union1d(even, pauses)
    known = np.isfinite(values)
    counts = np.add.reduceat(known.astype(np.float64), starts)
    sums = np.add.reduceat(np.where(known, values, 0.0), starts)
    low = np.minimum.reduceat(np.where(known, values, np.inf), starts)
    high = np.maximum.reduceat(np.where(known, values, -np.inf), starts)
    some = counts > 0
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(some, sums / counts, np.nan)
    shown = (mean, np.where(some, low, np.nan), np.where(some, high, np.nan))
    places = np.searchsorted(starts, pauses)
    at, (means, lows, highs) = _with_gaps(at_ms[starts], shown, places, at_ms[pauses - 1])
    return Trace(signal, at_ms=at, mean=means, low=lows, high=highs)


def _pauses(at_ms: NDArray[np.int64], points: int) -> NDArray[np.int64]:
    """Indices of the first shots after a pause: longer than ten usual intervals, ten minutes and a point."""
    if len(at_ms) < 3:
        return np.empty(0, dtype=np.int64)
    apart = np.diff(at_ms)
    # A gap narrower than a point shows nowhere, and thousands of them would make the answer as long.
    point = (float(at_ms[-1]) - float(at_ms[0])) / points
    return np.flatnonzero(apart > max(10.0 * float(np.median(apart)), 10.0 * MINUTE, point)) + 1


def _with_gaps(
    at_ms: NDArray[np.int64],
    columns: Sequence[Floats],
    places: NDArray[np.int64],
    ends_ms: NDArray[np.int64],
) -> tuple[list[int], list[list[float]]]:
    """A missing value before each of `places`, a millisecond after the last shot there."""
    at = np.insert(at_ms, places, ends_ms + 1)
    return at.tolist(), [np.insert(column, places, np.nan).tolist() for column in columns]


def _from_rollups(connection: sa.Connection, press_id: int, window: Window, points: int) -> list[Trace]:
    """Pieces of whole buckets, no more than the chart has points; extremes are those of every shot."""
    length_ms = window.to_ms - window.from_ms
    wanted = next((one for one in GRAINS if length_ms / (one * 1000) <= BUCKETS_MAX), GRAINS[-1])
    grain_ms = 1000 * grain_there(connection, press_id, wanted=wanted, from_ms=window.from_ms)
    piece_ms = grain_ms * max(1, math.ceil(length_ms / grain_ms / points))
    pieces = summaries_in_pieces(
        connection,
        press_id,
        signals=SHOWN,
        grain=grain_ms // 1000,
        piece_ms=piece_ms,
        from_ms=window.from_ms,
        to_ms=window.to_ms,
    )
    if length_ms / grain_ms > SKETCHES_MAX:
        # Read whole, thousands of sketches take long: where most shots lay is said of longer pieces then.
        grain_ms = next(one * 1000 for one in GRAINS if one * 1000 > grain_ms or one == GRAINS[-1])
        piece_ms = grain_ms * math.ceil(piece_ms / grain_ms)
    most = _most(connection, press_id, window, grain_ms, piece_ms)
    return [_piece_trace(name, pieces[name], piece_ms, most.get(name)) for name in SHOWN if name in pieces]


def _piece_trace(signal: str, pieces: Pieces, piece_ms: int, most: Most | None) -> Trace:
    """A piece stands at its middle; where one is missing the line is broken."""
    times, (mean, low, high) = _broken(pieces.begin_ms, (pieces.mean, pieces.low, pieces.high), piece_ms)
    return Trace(signal, at_ms=times, mean=mean, low=low, high=high, most=most)


def _broken(
    begin_ms: Sequence[int] | NDArray[np.int64], columns: Sequence[Sequence[float] | Floats], piece_ms: int
) -> tuple[list[int], list[list[float]]]:
    at = np.array(begin_ms, dtype=np.int64) + piece_ms // 2
    shown = [np.array(column, dtype=np.float64) for column in columns]
    breaks = np.flatnonzero(np.diff(at) > 2 * piece_ms) + 1
    return _with_gaps(at, shown, breaks, at[breaks - 1])


def _most(
    connection: sa.Connection, press_id: int, window: Window, grain_ms: int, piece_ms: int
) -> dict[str, Most]:
    kept = sketches_between(
        connection,
        press_id,
        signals=SHOWN,
        grain=grain_ms // 1000,
        from_ms=window.from_ms,
        to_ms=window.to_ms,
    )
    return {signal: _most_of(one, piece_ms) for signal, one in spreads(kept, piece_ms=piece_ms).items()}


def _most_of(spread: Spread, piece_ms: int) -> Most:
    times, (low, median, high) = _broken(spread.begin_ms, list(spread.values.T), piece_ms)
    return Most(times, low, median, high)


def _bars(connection: sa.Connection, row: Row, window: Window) -> list[FindingBar]:
    """What rules marked, put together already where this zoom shows no gap between."""
    near = max(1, (window.to_ms - window.from_ms) // 300)
    found = finding_stretches(
        connection, row["press_id"], from_ms=window.from_ms, to_ms=window.to_ms, near_ms=near
    )
    return [
        FindingBar("cushion_mm" if rule == "bottoming" else signal, rule, from_ms, to_ms)
        for signal, rule, from_ms, to_ms in found
    ]


def merged_bars(bars: Sequence[FindingBar], *, window: Window) -> list[FindingBar]:
    """Bars of one signal that touch, or nearly do at this zoom, become one."""
    near = (window.to_ms - window.from_ms) // 300
    merged: list[FindingBar] = []
    for bar in sorted(bars, key=lambda bar: (bar.signal, bar.from_ms)):
        last = merged[-1] if merged else None
        if last is not None and last.signal == bar.signal and bar.from_ms <= last.to_ms + near:
            merged[-1] = dataclasses.replace(last, to_ms=max(last.to_ms, bar.to_ms))
        else:
            merged.append(bar)
    return merged


def _events(connection: sa.Connection, row: Row, window: Window) -> list[EventMark]:
    found = events_between(connection, row["press_id"], from_ms=window.from_ms, to_ms=window.to_ms)
    return [EventMark(at_ms=one["at_ms"], label=_short(one)) for one in found]


def _short(event: Mapping[str, Any]) -> str:
    text = event_words({**event, "note": ""})
    return text if len(text) <= 26 else worded(EVENT_NAMES, event["kind"])
