"""A stretch of shots as a baseline: each signal's level, scatter and limits, and what was left out."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import SIGNALS
from server.errors import InvalidError
from server.language import N_
from server.maths.baseline import PhaseOne, phase_one
from server.maths.results import Undetermined
from server.valve.signals import Before, derive, detect_dose_lag

#: Without this signal there is no baseline: everything about the valve rests on it.
NEEDED_SIGNAL: Final = "swept_mm"
#: Shots somebody called other than good say nothing about good ones.
_BAD: Final = frozenset({"short", "flash", "other"})


@dataclasses.dataclass(frozen=True)
class Captured:
    """The signals that could be judged, as JSON can carry them, and why the others could not."""

    signals: dict[str, dict[str, Any]]
    missing: dict[str, str]
    dose_lag: int
    cycle_ms: float
    #: Set-points at the end of the stretch, canonical JSON.
    setpoints: str = "{}"

    @property
    def document(self) -> dict[str, Any]:
        """What is kept of it."""
        return {
            "signals": self.signals,
            "missing": self.missing,
            "dose_lag": self.dose_lag,
            "cycle_ms": self.cycle_ms,
            "setpoints": self.setpoints,
        }


def capture(
    columns: Mapping[str, NDArray[Any]],
    *,
    dose_lag: int | None,
    screw_diameter_mm: float | None,
    before: Before | None = None,
) -> Captured:
    """Judge consecutive shots as a baseline; too few usable ones raise InvalidError with the way out.

    Shots after a pause and those not called good are left out. Indices in `excluded` count the
    shots of this stretch from 0. before: the shot before them, so that a
    pause in between counts. dose_lag None: found from these shots, 0 where they do not show it.
    """
    if dose_lag is None:
        dose_lag = detect_dose_lag(columns) or 0
    cycles = columns.get("cycle_time_s")
    known = cycles[np.isfinite(cycles)] if cycles is not None else np.zeros(0)
    cycle_ms = float(np.median(known)) * 1000.0 if len(known) else 0.0
    derived = derive(
        columns,
        dose_lag=dose_lag,
        screw_diameter_mm=screw_diameter_mm,
        before=before,
        cycle_ms=cycle_ms,
    )
    bad = _not_good(columns, len(derived.restart_transient))
    excluded = derived.restart_transient | bad
    signals: dict[str, dict[str, Any]] = {}
    missing: dict[str, str] = {}
    for name in SIGNALS:
        values = derived.signals[name]
        if not np.isfinite(values).any():
            continue
        judged = phase_one(values, excluded=excluded)
        if isinstance(judged, Undetermined):
            missing[name] = judged.reason
        else:
            signals[name] = _kept(judged, bad)
    if NEEDED_SIGNAL not in signals:
        reason = missing.get(NEEDED_SIGNAL, "no shot has both a shot size and a cushion")
        raise InvalidError(
            N_(
                "{reason} ({sum} of {excluded} shots left out as restarts or not good); take more"
                " shots with a larger last_shots, or another stretch with from and to",
                reason=reason,
                sum=int(excluded.sum()),
                excluded=len(excluded),
            ),
            field="last_shots",
        )
    return Captured(signals, missing, dose_lag, cycle_ms)


def _not_good(columns: Mapping[str, NDArray[Any]], length: int) -> NDArray[np.bool_]:
    quality = columns.get("quality")
    if quality is None:
        return np.zeros(length, dtype=bool)
    return np.array([one in _BAD for one in quality], dtype=bool)


def _kept(judged: PhaseOne, bad: NDArray[np.bool_]) -> dict[str, Any]:
    excluded = [
        [one.index, ("not_good" if bad[one.index] else "restart") if one.reason == "given" else one.reason]
        for one in judged.exclusions
        if one.reason != "missing"
    ]
    kept = {
        "center": judged.center,
        "mean": judged.mean,
        "sigma": judged.sigma,
        "sigma_within": judged.sigma_within,
        "sigma_total": judged.sigma_total,
        "sigma_lower": judged.sigma_lower,
        "sigma_upper": judged.sigma_upper,
        "lower": judged.lower,
        "upper": judged.upper,
        "step": judged.step,
        "phi": judged.phi,
        "phi_lower": judged.phi_lower,
        "phi_upper": judged.phi_upper,
        "normality_p": judged.normality_p,
        "n": judged.n_used,
        "n_effective": judged.n_effective,
        "excluded": excluded,
        "sufficient": judged.sufficient,
        "stable": judged.stable,
        "verdict": judged.verdict,
    }
    # JSON knows no infinities: an interval without an end has none.
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in kept.items()
    }
