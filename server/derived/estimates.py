"""How much a press's valve leaks, and when its cushion runs out: read from what is stored."""

import dataclasses
import math
from typing import Final

import numpy as np
import sqlalchemy as sa

from server.derived.standing import likelihood_of, setups_compared
from server.language import N_
from server.maths.drift import Crossing, crossing, theil_sen
from server.maths.results import Undetermined
from server.store.evaluation import HOUR, TEN_MINUTES
from server.store.fine_summaries import grain_there
from server.store.plant import Press
from server.store.questions import Row, summaries
from server.store.records import Baseline, events_of, valves_of
from server.store.shots import Columns, read_columns
from server.valve.balance import MPA_PER_BAR, volume_stroke
from server.valve.estimates import LeakEstimate, leak_estimate
from server.valve.evidence import FACTS

#: Shots the present pressures, times and shot size are taken from.
RECENT: Final = 100
#: Stretch the forecast looks back over at most, and the one the rate of production is taken from.
LOOK_BACK_MS: Final = 60 * 86_400_000
RATE_MS: Final = 7 * 86_400_000
#: Beyond this stretch hours are taken instead of ten minutes.
_FINE_MS: Final = 5 * 86_400_000
#: Shots a summary needs to count as a level.
_LEVEL: Final = 5
#: A cushion at or below this is the screw at its end, where the press says nothing else.
_BOTTOM_MM: Final = 0.3
#: A forecast further off than this is none.
_FAR_MS: Final = 365 * 86_400_000
_COLUMNS: Final = (
    "shot_size_mm", "shot_size_cm3", "fill_time_s", "hold_time_s", "hold_pressure_bar", "peak_pressure_bar",
    "transfer_pressure_bar",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class RunOut:
    """When the cushion would be gone if the swept stroke goes on growing as it does, in milliseconds.

    to_ms None: it may take longer than a year. cushion_mm is what is left now, per_1000_mm what
    goes in a thousand shots; shots: left until then.
    """

    at_ms: int
    from_ms: int
    to_ms: int | None
    shots: int
    cushion_mm: float
    per_1000_mm: float


@dataclasses.dataclass(frozen=True)
class Estimates:
    """`leak` and `run_out`, each found or with the reason why not."""

    leak: LeakEstimate | Undetermined
    run_out: RunOut | Undetermined


def estimates_of(
    connection: sa.Connection, press: Press, row: Row, baseline: Baseline | None, *, onset_from_ms: int | None
) -> Estimates:
    """Both estimates of a press from its state, its last shots and its roll-ups.

    onset_from_ms: the early end of the estimated onset, None where none is estimated.
    """
    if baseline is None or row["facts"] is None or row["last_shot_ms"] is None:
        none = Undetermined(N_("no startup record to compare with"))
        return Estimates(none, none)
    recent = read_columns(connection, press.press_id, names=_COLUMNS, limit=RECENT, newest=True)
    return Estimates(
        leak=_leak(connection, press, row, recent),
        run_out=_run_out(connection, press, row, baseline, onset_from_ms, recent),
    )


def _leak(connection: sa.Connection, press: Press, row: Row, recent: Columns) -> LeakEstimate | Undetermined:
    value = likelihood_of(row)
    if value is None or value < 0.5:
        return Undetermined(N_("a leak is not the likelier story"))
    facts = dict(zip(FACTS, np.frombuffer(row["facts"], dtype="<f8").tolist(), strict=False))
    rise, rise_pct = facts.get("swept_rise_mm", math.nan), facts.get("swept_rise_pct", math.nan)
    noise_pct = facts.get("swept_noise_pct", math.nan)
    if not (math.isfinite(rise) and math.isfinite(noise_pct) and math.isfinite(rise_pct)) or rise_pct == 0.0:
        return Undetermined(N_("the swept stroke is not known"))
    noise = abs(noise_pct * rise / rise_pct)
    in_volume = not np.isfinite(recent["shot_size_mm"]).any()
    if in_volume and press.screw_diameter_mm is None:
        return Undetermined(N_("strokes come as volumes; the screw diameter is needed"))
    fill, hold = _middle(recent["fill_time_s"]), _middle(recent["hold_time_s"])
    fitted = next((one for one in valves_of(connection, press.press_id) if one.removed_ms is None), None)
    return leak_estimate(
        rise,
        noise_mm=noise,
        screw_diameter_mm=press.screw_diameter_mm,
        under_pressure_s=None if hold is None else hold + (fill or 0.0),
        pressure_mpa=_pressure_mpa(press, recent, fill, hold),
        nominal_clearance_mm=None if fitted is None else fitted.nominal_clearance_mm,
    )


def _pressure_mpa(press: Press, recent: Columns, fill: float | None, hold: float | None) -> float | None:
    """Mean specific pressure over fill and hold; half of the peak stands for the mean over fill.

    Common practice, no source: pressure rises about evenly while the mold fills.
    """
    held = _middle(recent["hold_pressure_bar"])
    peak = _middle(recent["peak_pressure_bar"]) or _middle(recent["transfer_pressure_bar"])
    if held is None or hold is None:
        return None
    total, time = held * hold, hold
    if peak is not None and fill is not None:
        total, time = total + 0.5 * peak * fill, time + fill
    bar = total / time
    if press.pressure_basis == "hydraulic":
        if press.intensification is None:
            return None
        bar *= press.intensification
    return MPA_PER_BAR * bar if bar > 0 else None


def _middle(column: np.ndarray) -> float | None:
    known = column[np.isfinite(column)]
    return float(np.median(known)) if len(known) and float(np.median(known)) > 0 else None


def _run_out(
    connection: sa.Connection,
    press: Press,
    row: Row,
    baseline: Baseline,
    onset_from_ms: int | None,
    recent: Columns,
) -> RunOut | Undetermined:
    """From the swept stroke and today's shot size, so that topping up the shot size hides nothing."""
    size = _shot_size(press, recent)
    if size is None:
        return Undetermined(N_("the shot size is not known"))
    begin, end = _since(connection, press, row, baseline, onset_from_ms), int(row["last_shot_ms"]) + 1
    shots, starts, swept = _course(connection, press, baseline, begin, end)
    drift = theil_sen(swept, at=shots)
    if isinstance(drift, Undetermined):
        return drift
    if drift.slope_lower <= 0.0:
        return Undetermined(N_("the cushion does not shrink for sure"))
    bottom = _BOTTOM_MM if press.bottom_mm is None else press.bottom_mm
    reached = crossing(drift, limit=size - bottom)
    if isinstance(reached, Undetermined):
        return reached
    per_ms = _rate(shots, starts, end)
    if per_ms is None:
        return Undetermined(N_("too little production lately to give a date"))
    made = float(shots[-1])
    left = size - (drift.level + drift.slope * (made - drift.at_middle))
    return _dated(reached, drift.slope, made=made, left=left, end=end, rate=per_ms)


def _dated(
    reached: Crossing, slope: float, *, made: float, left: float, end: int, rate: float
) -> RunOut | Undetermined:
    def when(shots: float) -> int:
        return end + int(max(0.0, shots - made) / rate)

    at = when(reached.at)
    if at - end > _FAR_MS:
        return Undetermined(N_("not within a year, if it goes on as it does"))
    late = None if reached.upper is None else when(reached.upper)
    return RunOut(
        at_ms=at,
        from_ms=when(reached.lower),
        to_ms=None if late is None or late - end > _FAR_MS else late,
        shots=round(max(0.0, reached.at - made)),
        cushion_mm=left,
        per_1000_mm=1000.0 * slope,
    )


def _shot_size(press: Press, recent: Columns) -> float | None:
    """Today's shot size in the unit of the swept stroke (mm; cm3 where the diameter is unknown)."""
    direct = _middle(recent["shot_size_mm"])
    volume = _middle(recent["shot_size_cm3"])
    if direct is not None or volume is None or press.screw_diameter_mm is None:
        return direct if direct is not None else volume
    return volume_stroke(volume, screw_diameter_mm=press.screw_diameter_mm)


def _since(
    connection: sa.Connection, press: Press, row: Row, baseline: Baseline, onset_from_ms: int | None
) -> int:
    """From where on the growth is one story: the onset, or the last thing somebody changed."""
    begin = max(baseline.to_ms + 1, int(row["last_shot_ms"]) - LOOK_BACK_MS)
    if onset_from_ms is not None:
        begin = max(begin, onset_from_ms)
    changes = [
        event.at_ms
        for event in events_of(connection, press.press_id, from_ms=begin)
        if event.kind in ("setting", "valve_change", "mold_start", "maintenance")
    ]
    return max([begin, *changes])


def _course(
    connection: sa.Connection, press: Press, baseline: Baseline, begin: int, end: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(shots made up to it, start, mean swept stroke) of each summary of this mold, material and set-up."""
    ids = setups_compared(connection, press, baseline)
    wanted = TEN_MINUTES if end - begin <= _FINE_MS else HOUR
    grain = grain_there(connection, press.press_id, wanted=wanted, from_ms=begin)
    found = summaries(
        connection,
        press.press_id,
        signal="swept_mm",
        grain=grain,
        from_ms=begin,
        to_ms=end,
        setup_ids=ids,
    )
    kept = [(bucket, part) for bucket, part in found if part[0] >= _LEVEL and bucket >= begin - grain * 1000]
    shots = np.cumsum([part[0] for _, part in kept], dtype=np.float64)
    starts = np.array([bucket for bucket, _ in kept], dtype=np.int64)
    return shots, starts, np.array([part[1] for _, part in kept], dtype=np.float64)


def _rate(shots: np.ndarray, starts: np.ndarray, end: int) -> float | None:
    """Shots a millisecond over the last week, pauses included."""
    lately = np.flatnonzero(starts >= end - RATE_MS)
    if not len(lately):
        return None
    first = int(lately[0])
    made = float(shots[-1] - (shots[first - 1] if first else 0.0))
    span = end - int(starts[first])
    return made / span if span > 0 and made > 0 else None
