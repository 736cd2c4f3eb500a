"""The drift check: how fast the screw creeps against a closed way out, and what gap would let that past."""

import dataclasses
import itertools
import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.errors import InvalidError
from server.language import N_, Measured
from server.maths.line import Line, fit_line
from server.valve.balance import MPA_PER_BAR, gap_from_increase, stroke_volume
from server.valve.studies import finite_values

Floats = NDArray[np.float64]

#: Creep of a closed valve that is usually fine, and that calls for action, mm/s (common practice, weak).
FINE_CREEP_MM_S: Final = 0.05
ACT_CREEP_MM_S: Final = 0.3
#: Share of the time that is left out as settling whatever the readings say, and the most that may be
#: (common practice, no source).
SETTLING_SHARE: Final = 1.0 / 3.0
SETTLING_MOST: Final = 2.0 / 3.0
#: Screw positions so far apart see different parts of the bore, mm (common practice, no source).
APART_MM: Final = 10.0
#: What the gap is worked out with where the plant has not said better (common practice, no source).
VISCOSITY_PA_S: Final = 200.0
LAND_MM: Final = 25.0


@dataclasses.dataclass(frozen=True)
class DriftCheck:
    """Creep of the closed valve, forward positive. Flow and gap None without screw diameter.

    Intervals 95 %; verdict: fine, watch, act, undecided. settled_s: from when on the readings count;
    discarded: readings before it, in which the screw went forward by settling_mm. position_mm: where the
    screw stood in the middle of the readings that count.
    """

    creep_mm_s: float
    creep_interval: tuple[float, float]
    leak_flow_cm3_s: float | None
    gap_mm: float | None
    verdict: str
    text: str
    leak_flow_interval: tuple[float, float] | None
    gap_interval: tuple[float, float] | None
    settled_s: float
    discarded: int
    settling_mm: float
    settling_why: str
    position_mm: float
    correlation: float
    n: int
    line_mm: tuple[float, float]


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

    The first third of the time is settling and left out, and more of it (up to two thirds) while the
    screw still slows down: until the creep of the two halves of the rest differs by less than three times
    its error. Creep is the least-squares slope of the rest, forward (falling position) positive, its interval
    that of `maths.line.fit_line`, which allows for readings that hang together. Leak flow = area * creep;
    the gap is that of a Newtonian slit with all the creep as leakage, h = (12 mu L Q / (pi D dP))^(1/3),
    its interval that of the creep alone. Fewer than 3 samples or times that do not rise raise InvalidError.

    >>> t = [2.0 * i for i in range(31)]
    >>> p = [30 - 0.05 * x - 2 * (1 - math.exp(-x / 3)) for x in t]
    >>> round(drift_check(t, p, pressure_bar=500).creep_mm_s, 3)
    0.05
    """
    t = finite_values(t_s, field="t_s", least=3)
    position = finite_values(position_mm, field="position_mm", least=3)
    _check(t, position, pressure_bar)
    first, why = _settled(t, -position)
    line = fit_line(list(t[first:]), list(-position[first:]))
    flow = flows = gap = gaps = None
    if screw_diameter_mm is not None:
        flow = stroke_volume(line.slope, screw_diameter_mm=screw_diameter_mm)
        flows = _both(line.interval, lambda one: stroke_volume(one, screw_diameter_mm=screw_diameter_mm))

        def gap_of(creep: float) -> float:
            return gap_from_increase(
                max(stroke_volume(creep, screw_diameter_mm=screw_diameter_mm), 0.0),
                healthy_gap_mm=0.0,
                screw_diameter_mm=screw_diameter_mm,
                land_mm=land_mm,
                pressure_mpa=MPA_PER_BAR * pressure_bar,
                viscosity_pa_s=viscosity_pa_s,
            )

        gap, gaps = gap_of(line.slope), _both(line.interval, gap_of)
    verdict = _verdict(line.interval, fine_mm_s, act_mm_s)
    text = _text(verdict, line, pressure_bar, gap, gaps)
    if gap is not None:
        text += _assumed(viscosity_pa_s, land_mm)
    return DriftCheck(
        creep_mm_s=line.slope,
        creep_interval=line.interval,
        leak_flow_cm3_s=flow,
        gap_mm=gap,
        verdict=verdict,
        text=text,
        leak_flow_interval=flows,
        gap_interval=gaps,
        settled_s=float(t[first]),
        discarded=first,
        settling_mm=float(position[0] - position[first]),
        settling_why=why,
        position_mm=float(position[first:].mean()),
        correlation=line.correlation,
        n=len(t) - first,
        line_mm=(
            -line.intercept - line.slope * float(t[first]),
            -line.intercept - line.slope * float(t[-1]),
        ),
    )


def by_position(checks: Sequence[tuple[float, float, float]]) -> str:
    """Does the creep depend on where the screw stands? (position in mm, low, high of the creep's interval).

    A worn bore leaks where it is worn; a worn ring or seat leaks everywhere. `depends`: two checks at
    positions 10 mm or more apart have intervals that do not meet; `not_shown`: such checks are there, and
    their intervals meet; `too_near`: no two checks lie that far apart. Source: common practice, no source.

    >>> by_position([(30.0, 0.01, 0.03), (80.0, 0.20, 0.30)]), by_position([(30.0, 0.0, 0.1)])
    ('depends', 'too_near')
    >>> by_position([(30.0, 0.01, 0.03), (80.0, 0.02, 0.05)])
    'not_shown'
    """
    far = [
        (one, other) for one, other in itertools.combinations(checks, 2) if abs(one[0] - other[0]) >= APART_MM
    ]
    if not far:
        return "too_near"
    apart = any(one[2] < other[1] or other[2] < one[1] for one, other in far)
    return "depends" if apart else "not_shown"


def _check(t: Floats, position: Floats, pressure_bar: float) -> None:
    if len(t) != len(position):
        raise InvalidError(
            N_("position_mm has {position} values, t_s has {t}", position=len(position), t=len(t)),
            field="position_mm",
        )
    if (np.diff(t) <= 0).any():
        raise InvalidError(N_("t_s must rise from sample to sample"), field="t_s")
    if not (math.isfinite(pressure_bar) and pressure_bar > 0):
        raise InvalidError(
            N_("pressure_bar must be above 0, not {pressure_bar}", pressure_bar=pressure_bar),
            field="pressure_bar",
        )


def _both(interval: tuple[float, float], of: Callable[[float], float]) -> tuple[float, float]:
    return of(interval[0]), of(interval[1])


def _settled(t: Floats, forward: Floats) -> tuple[int, str]:
    """From which reading on the screw no longer slows down, and why there."""
    third = N_("the first third of the time")
    at_least = first = min(_index(t, SETTLING_SHARE), len(t) - 3)
    for share in np.linspace(SETTLING_SHARE, SETTLING_MOST, 11):
        later = min(_index(t, float(share)), len(t) - 3)
        if len(t) - later < 12:
            break
        first = later
        if not _slows(t[first:], forward[first:]):
            still = N_("; longer, since the screw still slowed down") if first > at_least else ""
            return first, third + still
    if len(t) - at_least < 12:
        return at_least, third
    return first, third + N_("; the screw still slowed down at the end, so read for longer")


def _index(t: Floats, share: float) -> int:
    return int(np.searchsorted(t, t[0] + share * (t[-1] - t[0])))


def _slows(t: Floats, forward: Floats) -> bool:
    """Whether the first half creeps faster than the second by more than three times the error of that.

    The error is that of the scatter of second differences, which a bend of the whole does not swell.
    """
    half = len(t) // 2
    slopes, errors = [], []
    for x, y in ((t[:half], forward[:half]), (t[half:], forward[half:])):
        line = fit_line(list(x), list(y))
        rest = y - line.slope * x
        scatter = math.sqrt(float(np.square(np.diff(rest, n=2)).mean()) / 6.0)
        errors.append(scatter / math.sqrt(float(np.square(x - x.mean()).sum())))
        slopes.append(line.slope)
    return slopes[0] - slopes[1] > max(3.0 * math.hypot(*errors), 1e-12)


def _assumed(viscosity_pa_s: float, land_mm: float) -> str:
    return N_(
        " Assumed: {viscosity:g} Pa s, land {land}, all creep through the valve.",
        viscosity=viscosity_pa_s,
        land=Measured("length", land_mm, 0 if land_mm == round(land_mm) else 1),
    )


def _verdict(interval: tuple[float, float], fine: float, act: float) -> str:
    low, high = interval
    if high <= fine:
        return "fine"
    if low >= act:
        return "act"
    if low > fine and high < act:
        return "watch"
    return "undecided"


def _text(
    verdict: str,
    line: Line,
    pressure_bar: float,
    gap: float | None,
    gaps: tuple[float, float] | None,
) -> str:
    meaning = {
        "fine": N_("The closed valve holds."),
        "watch": N_("The closed valve lets some melt past: repeat the check soon."),
        "act": N_("The closed valve leaks."),
        "undecided": N_("The creep is not known well enough to tell: take more samples."),
    }[verdict]
    size = ""
    if gap and gaps:
        size = N_(
            " An equivalent gap of {gap} ({low} to {high}) would pass that.",
            gap=Measured("length", gap, 3),
            low=Measured("length", gaps[0], 3),
            high=Measured("length", gaps[1], 3),
        )
    return N_(
        "{meaning} The screw creeps {creep} at {pressure} (between {low} and {high}).{size}",
        meaning=meaning,
        creep=Measured("speed", line.slope, 3),
        pressure=Measured("pressure", pressure_bar, 0),
        low=Measured("speed", line.interval[0], 3),
        high=Measured("speed", line.interval[1], 3),
        size=size,
    )
