"""Off-line checks of a valve: the short-shot weight study and the drift check, with honest intervals."""

import dataclasses
import functools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, stats

from server.errors import InvalidError
from server.valve.balance import MPA_PER_BAR, gap_from_increase, stroke_volume

Floats = NDArray[np.float64]

#: Creep of a closed valve that is usually fine, and that calls for action, mm/s (common practice, weak).
FINE_CREEP_MM_S: Final = 0.05
ACT_CREEP_MM_S: Final = 0.3
#: Share of a drift check's time that is taken as settling and left out (common practice, no source).
SETTLING_SHARE: Final = 1.0 / 3.0
#: What the gap is worked out with where the plant has not said better (common practice, no source).
VISCOSITY_PA_S: Final = 200.0
LAND_MM: Final = 25.0
_CONFIDENCE: Final = 0.95


@dataclasses.dataclass(frozen=True)
class ShortShotStudy:
    """Repeatability of fill. sd_interval in g, 95 %; verdict: within, over, undecided."""

    percent_variation: float
    mean_g: float
    sd_g: float
    cv_pct: float
    sd_interval: tuple[float, float]
    verdict: str
    text: str


@dataclasses.dataclass(frozen=True)
class DriftCheck:
    """Creep of the closed valve, forward positive. leak_flow and gap None without screw diameter.

    creep_interval in mm/s, 95 %; verdict: fine, watch, act, undecided.
    """

    creep_mm_s: float
    creep_interval: tuple[float, float]
    leak_flow_cm3_s: float | None
    gap_mm: float | None
    verdict: str
    text: str


@functools.cache
def expected_range(n: int) -> float:
    """Expected range of n normal values in sigma (d2): integral of 1 - F^n - (1 - F)^n.

    Source: Tippett 1925; tabled in ISO 7870-2.

    >>> round(expected_range(5), 3), round(expected_range(10), 3)
    (2.326, 3.078)
    """
    if n < 2:
        raise InvalidError(f"a range needs two values, not {n}", field="n")

    def part(x: float) -> float:
        below = float(stats.norm.cdf(x))
        return float(1.0 - below**n - (1.0 - below) ** n)

    return float(2.0 * integrate.quad(part, 0.0, 12.0)[0])


def _finite(values: Sequence[float], *, field: str, least: int) -> Floats:
    try:
        found = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InvalidError(f"{field} must be numbers", field=field) from error
    if found.ndim != 1 or len(found) < least:
        raise InvalidError(f"{field}: at least {least} values needed, {found.size} given", field=field)
    if not np.isfinite(found).all():
        raise InvalidError(f"{field} must be finite numbers", field=field)
    return found


def short_shot_study(weights_g: Sequence[float], *, limit_pct: float = 5.0) -> ShortShotStudy:
    """Is fill repeatable when nothing afterwards can repair it? n >= 3 weights of short shots, g.

    Percent variation = (heaviest - lightest) / mean * 100. The verdict compares the chi-squared
    interval of the standard deviation with what the limit means at this n: a range of `limit_pct`
    is a CV of limit / d2(n). Fewer than 3 weights, or one not above 0, raise InvalidError.

    >>> study = short_shot_study([10.0, 10.2, 9.9, 10.1, 10.0, 9.8, 10.1, 10.0, 9.9, 10.0])
    >>> round(study.percent_variation, 2), study.verdict
    (4.0, 'undecided')
    """
    weights = _finite(weights_g, field="weights_g", least=3)
    if weights.min() <= 0:
        raise InvalidError(f"weights_g must be above 0, not {weights.min():g}", field="weights_g")
    if not (math.isfinite(limit_pct) and limit_pct > 0):
        raise InvalidError(f"limit_pct must be above 0, not {limit_pct}", field="limit_pct")
    n, mean, sd = len(weights), float(weights.mean()), float(weights.std(ddof=1))
    variation = 100.0 * float(weights.max() - weights.min()) / mean
    tail = (1.0 - _CONFIDENCE) / 2.0
    low = sd * math.sqrt((n - 1) / float(stats.chi2.ppf(1.0 - tail, n - 1)))
    high = sd * math.sqrt((n - 1) / float(stats.chi2.ppf(tail, n - 1)))
    allowed_cv = limit_pct / expected_range(n)
    low_cv, high_cv = 100.0 * low / mean, 100.0 * high / mean
    verdict = "within" if high_cv <= allowed_cv else "over" if low_cv > allowed_cv else "undecided"
    meaning = {
        "within": "Fill repeats within the limit.",
        "over": "Fill does not repeat: the valve closes unevenly or the melt is uneven.",
        "undecided": "Too close to tell with so few shots: weigh more.",
    }[verdict]
    text = (
        f"{meaning} Weights vary by {variation:.1f} % over {n} shots (limit {limit_pct:g} %, a CV of"
        f" {allowed_cv:.2f} %); the true CV lies between {low_cv:.2f} and {high_cv:.2f} %."
    )
    return ShortShotStudy(variation, mean, sd, 100.0 * sd / mean, (low, high), verdict, text)


def drift_check(
    t_s: Sequence[float],
    position_mm: Sequence[float],
    *,
    pressure_bar: float,
    screw_diameter_mm: float | None = None,
    viscosity_pa_s: float = VISCOSITY_PA_S,
    land_mm: float = LAND_MM,
    fine_mm_s: float = FINE_CREEP_MM_S,
    act_mm_s: float = ACT_CREEP_MM_S,
) -> DriftCheck:
    """Does the closed valve hold pressure? Position at constant pressure over time, n >= 3 samples.

    The first third of the time is settling and left out. Creep is the least-squares slope of the
    rest, forward (falling position) positive. Its 95 % interval is Student's, with the sample size
    cut to n (1 - r) / (1 + r) for the lag-1 correlation r of the residuals, since the readings of
    one screw are not independent. Leak flow = area * creep; the gap is that of a Newtonian slit
    with all the creep as leakage. Fewer than 3 samples or times that do not rise raise InvalidError.

    >>> t = [2.0 * i for i in range(31)]
    >>> p = [30 - 0.05 * x - 2 * (1 - math.exp(-x / 3)) for x in t]
    >>> round(drift_check(t, p, pressure_bar=500).creep_mm_s, 3)
    0.05
    """
    t = _finite(t_s, field="t_s", least=3)
    position = _finite(position_mm, field="position_mm", least=3)
    if len(t) != len(position):
        raise InvalidError(f"position_mm has {len(position)} values, t_s has {len(t)}", field="position_mm")
    if (np.diff(t) <= 0).any():
        raise InvalidError("t_s must rise from sample to sample", field="t_s")
    if not (math.isfinite(pressure_bar) and pressure_bar > 0):
        raise InvalidError(f"pressure_bar must be above 0, not {pressure_bar}", field="pressure_bar")
    first = min(int(np.searchsorted(t, t[0] + SETTLING_SHARE * (t[-1] - t[0]))), len(t) - 3)
    creep, half = _slope(t[first:], -position[first:])
    interval = (creep - half, creep + half)
    flow = gap = None
    if screw_diameter_mm is not None:
        flow = stroke_volume(creep, screw_diameter_mm=screw_diameter_mm)
        gap = gap_from_increase(
            max(flow, 0.0),
            healthy_gap_mm=0.0,
            screw_diameter_mm=screw_diameter_mm,
            land_mm=land_mm,
            pressure_mpa=MPA_PER_BAR * pressure_bar,
            viscosity_pa_s=viscosity_pa_s,
        )
    verdict = _drift_verdict(interval, fine_mm_s, act_mm_s)
    text = _drift_text(verdict, creep, interval, pressure_bar, gap)
    if gap is not None:
        text += f" Assumed: {viscosity_pa_s:g} Pa s, land {land_mm:g} mm, all creep through the valve."
    return DriftCheck(creep, interval, flow, gap, verdict, text)


def _slope(t: Floats, y: Floats) -> tuple[float, float]:
    """Least-squares slope and half of its 95 % interval, the sample size cut for correlation."""
    n = len(t)
    away = t - t.mean()
    spread = float((away * away).sum())
    slope = float((away * y).sum()) / spread
    rest = y - y.mean() - slope * away
    power = float((rest * rest).sum())
    r = float((rest[1:] * rest[:-1]).sum()) / power if power > 1e-18 else 0.0
    r = min(max(r, 0.0), 0.95)
    effective = max(n * (1.0 - r) / (1.0 + r), 3.0)
    error = math.sqrt(power / max(effective - 2.0, 1.0) / (spread * effective / n))
    return slope, float(stats.t.ppf(0.5 + _CONFIDENCE / 2.0, max(effective - 2.0, 1.0))) * error


def _drift_verdict(interval: tuple[float, float], fine: float, act: float) -> str:
    low, high = interval
    if high <= fine:
        return "fine"
    if low >= act:
        return "act"
    if low > fine and high < act:
        return "watch"
    return "undecided"


def _drift_text(
    verdict: str, creep: float, interval: tuple[float, float], pressure_bar: float, gap: float | None
) -> str:
    meaning = {
        "fine": "The closed valve holds.",
        "watch": "The closed valve lets some melt past: repeat the check soon.",
        "act": "The closed valve leaks.",
        "undecided": "The creep is not known well enough to tell: take more samples.",
    }[verdict]
    size = f" An equivalent gap of {gap:.3f} mm would let that much through." if gap else ""
    return (
        f"{meaning} The screw creeps {creep:.3f} mm/s at {pressure_bar:g} bar"
        f" (between {interval[0]:.3f} and {interval[1]:.3f}).{size}"
    )
