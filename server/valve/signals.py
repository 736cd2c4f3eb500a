"""From the columns of consecutive shots to the signals that are charted and judged."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import SIGNALS
from server.language import N_
from server.maths.results import Undetermined

Floats = NDArray[np.float64]

#: A pause of this length cools the melt enough to disturb the next shots (common practice, no source).
PAUSE_MS = 300_000
LONG_PAUSE_MS = 900_000
#: Shots left out after a pause: 15 to 40 are seen on real presses after a quarter of an hour.
AFTER_PAUSE, AFTER_LONG_PAUSE = 15, 40


@dataclasses.dataclass(frozen=True)
class Before:
    """What must be known of the shots before a stretch. The default: nothing came before."""

    at_ms: int = -1
    counter: int = -1
    shot_size: float = math.nan
    transient_left: int = 0


@dataclasses.dataclass(frozen=True)
class Derived:
    """Signals of n shots, each float64 [n] with NaN where it cannot be said.

    restart_transient: bool [n], shots right after a pause. after: the `Before` of what follows.
    """

    signals: dict[str, Floats]
    restart_transient: NDArray[np.bool_]
    after: Before


def derive(
    columns: Mapping[str, NDArray[Any]],
    *,
    dose_lag: int,
    screw_diameter_mm: float | None,
    before: Before | None = None,
    cycle_ms: float = 0.0,
) -> Derived:
    """Derive the signals of consecutive shots, in order of (at, counter).

    Swept stroke = shot size - cushion, mm; decompression is left out, since that travel only
    re-compresses melt (derived from the mass balance). dose_lag 1: the shot size reported with
    a shot is the dose of the next one, so the one before is used, if its record is there.
    Volumes become strokes by s = 4000 V / (pi D^2), V in cm3, D in mm; without a diameter they
    are taken as they are. recovery_s_per_mm = recovery time / (shot size - cushion).

    >>> import numpy as np
    >>> one = {"at_ms": np.array([0, 20000]), "counter": np.array([1, 2]),
    ...        "shot_size_mm": np.array([80.0, 81.0]), "cushion_mm": np.array([6.0, 6.5])}
    >>> derive(one, dose_lag=0, screw_diameter_mm=None).signals["swept_mm"].tolist()
    [74.0, 74.5]
    >>> derive(one, dose_lag=1, screw_diameter_mm=None).signals["swept_mm"].tolist()
    [nan, 73.5]
    """
    before = before or Before()
    at, counter = columns["at_ms"], columns["counter"]
    size = _stroke(columns, "shot_size", screw_diameter_mm)
    cushion = _stroke(columns, "cushion", screw_diameter_mm)
    dose = _dose(size, counter, before) if dose_lag else size
    swept = dose - cushion
    travel = size - cushion
    with np.errstate(divide="ignore", invalid="ignore"):
        recovery = np.where(travel > 1e-6, _column(columns, "recovery_time_s", len(at)) / travel, np.nan)
    given = {"swept_mm": swept, "cushion_mm": cushion, "shot_size_mm": size, "recovery_s_per_mm": recovery}
    transient, left = _transient(at, before, cycle_ms)
    after = before
    if len(at):
        after = Before(int(at[-1]), int(counter[-1]), float(size[-1]), left)
    return Derived(
        signals={name: given.get(name, _column(columns, name, len(at))) for name in SIGNALS},
        restart_transient=transient,
        after=after,
    )


def _column(columns: Mapping[str, NDArray[Any]], name: str, length: int) -> Floats:
    found = columns.get(name)
    return np.full(length, np.nan) if found is None else np.asarray(found, dtype=np.float64)


def _stroke(columns: Mapping[str, NDArray[Any]], name: str, diameter_mm: float | None) -> Floats:
    length = len(columns["at_ms"])
    volume = _column(columns, name + "_cm3", length)
    per_cm3 = 1.0 if diameter_mm is None else 4000.0 / (math.pi * diameter_mm * diameter_mm)
    position = _column(columns, name + "_mm", length)
    return np.where(np.isnan(position), volume * per_cm3, position)


def _dose(size: Floats, counter: NDArray[Any], before: Before) -> Floats:
    earlier = np.concatenate(([before.shot_size], size[:-1])) if len(size) else size
    numbers = np.concatenate(([before.counter], counter[:-1])) if len(size) else counter
    return np.where(counter - numbers == 1, earlier, np.nan)


def _transient(at: NDArray[Any], before: Before, cycle_ms: float) -> tuple[NDArray[np.bool_], int]:
    """Which shots stand within a restart, and how many of it are still to come."""
    n = len(at)
    if n == 0:
        return np.zeros(0, dtype=bool), before.transient_left
    first = before.at_ms if before.at_ms >= 0 else int(at[0])
    pause = np.diff(at, prepend=first)
    shortest = max(PAUSE_MS, 6.0 * cycle_ms)
    reach = np.where(pause >= max(LONG_PAUSE_MS, shortest), AFTER_LONG_PAUSE, 0)
    reach = np.where((pause >= shortest) & (reach == 0), AFTER_PAUSE, reach)
    index = np.arange(n)
    ends = np.maximum.accumulate(np.where(reach > 0, index + reach, 0))
    ends = np.maximum(ends, before.transient_left)
    return index < ends, int(max(0, ends[-1] - n))


@dataclasses.dataclass(frozen=True)
class DoseLag:
    """Which dose a shot used, and how sure that is.

    lag: 0 the dose reported with it, 1 the one before, None where it is left open. scatter: mean
    cut move of swept stroke at lag 0 and at lag 1, in its unit. ratio: the worse over the better.
    needed: the ratio that chance alone stays below. moves: how many were compared.
    """

    lag: int | None
    scatter: tuple[float, float]
    ratio: float
    needed: float
    moves: int


def dose_lag_evidence(columns: Mapping[str, NDArray[Any]]) -> DoseLag | Undetermined:
    """Weigh both dose lags against each other on consecutive shots.

    At the right lag the cushion follows the shot size with slope 1, so the scatter of swept
    stroke from shot to shot is the smaller one (domain reasoning, derived). Differences of
    neighbours are compared, cut at four times their upper quartile, so that restarts and slow drift
    do not count; unless one lag is better by more than chance (four standard errors, 5 % at
    least) it is left open, as with a shot size that does not vary. `Undetermined` below 30 differences.

    >>> import numpy as np
    >>> size = 80 + 0.1 * np.sin(np.arange(200.0) * 1.7)
    >>> rows = {"at_ms": np.arange(200) * 20000, "counter": np.arange(200), "shot_size_mm": size,
    ...         "cushion_mm": size - 74.0 + 0.001 * np.cos(np.arange(200.0))}
    >>> found = dose_lag_evidence(rows)
    >>> found.lag, found.ratio > 20.0, round(found.needed, 2)
    (0, True, 1.28)
    """
    scatter = []
    moves = np.zeros(0)
    for lag in (0, 1):
        swept = derive(columns, dose_lag=lag, screw_diameter_mm=None).signals["swept_mm"]
        moves = np.abs(np.diff(swept))
        moves = moves[np.isfinite(moves)]
        if len(moves) < 30:
            return Undetermined(N_("{moves} of 30 differences of consecutive shots needed", moves=len(moves)))
        cut = 4.0 * float(np.quantile(moves, 0.75))
        scatter.append(float(np.mean(np.minimum(moves, cut))))
    needed = max(1.05, 1.0 + 4.0 / math.sqrt(len(moves)))
    ratio = max(scatter) / max(min(scatter), 1e-12) if max(scatter) > 0 else 1.0
    lag_found = int(np.argmin(scatter)) if ratio >= needed else None
    return DoseLag(lag_found, (scatter[0], scatter[1]), ratio, needed, len(moves))


def detect_dose_lag(columns: Mapping[str, NDArray[Any]]) -> int | None:
    """Which dose a shot used: 0 the one reported with it, 1 the one before; None when unclear.

    The verdict of `dose_lag_evidence`.

    >>> import numpy as np
    >>> size = 80 + 0.1 * np.sin(np.arange(200.0) * 1.7)
    >>> rows = {"at_ms": np.arange(200) * 20000, "counter": np.arange(200), "shot_size_mm": size,
    ...         "cushion_mm": np.concatenate(([6.0], size[:-1] - 74.0))}
    >>> detect_dose_lag(rows)
    1
    """
    found = dose_lag_evidence(columns)
    return None if isinstance(found, Undetermined) else found.lag
