"""How much a valve leaks: volume lost a shot, leak flow and equivalent gap.

Each comes with its interval and the assumptions it rests on.
"""

import math
from dataclasses import dataclass
from itertools import product
from typing import Final

from server.errors import InvalidError
from server.language import N_
from server.maths.results import Undetermined
from server.valve.balance import gap_from_increase, stroke_volume

Interval = tuple[float, float]

#: Melt viscosity in the slit where nobody has said better, Pa s: likely value and range (common
#: practice, no source; shear-thinned melt under injection pressure).
VISCOSITY_PA_S: Final[tuple[float, Interval]] = (200.0, (80.0, 500.0))
#: Length of the sealing land, mm (common practice, no source).
LAND_MM: Final[tuple[float, Interval]] = (25.0, (15.0, 35.0))
#: Clearance of a sound valve where the ledger has none, mm (common practice, no source).
HEALTHY_GAP_MM: Final[tuple[float, Interval]] = (0.03, (0.015, 0.06))
#: How far the mean pressure over fill and hold may be from the one taken (common practice, no source).
PRESSURE_SHARE: Final = 0.25


@dataclass(frozen=True)
class LeakEstimate:
    """What a rise of the swept stroke comes to. Intervals are 95 % for `lost_mm`, and the outer bounds

    of measurement and assumptions together for the rest. None: not known without what `missing`
    names.
    """

    lost_mm: float
    lost_mm_interval: Interval
    lost_cm3: float | None
    lost_cm3_interval: Interval | None
    flow_cm3_s: float | None
    flow_cm3_s_interval: Interval | None
    gap_mm: float | None
    gap_mm_interval: Interval | None
    assumptions: tuple[str, ...]
    missing: tuple[str, ...]


def leak_estimate(
    rise_mm: float,
    *,
    noise_mm: float,
    screw_diameter_mm: float | None = None,
    under_pressure_s: float | None = None,
    pressure_mpa: float | None = None,
    nominal_clearance_mm: float | None = None,
) -> LeakEstimate | Undetermined:
    """Volume lost a shot, leak flow and the gap that would let it through, from a rise of the swept stroke.

    rise_mm above the record with known changes taken out, noise_mm its standard error;
    under_pressure_s: fill and hold together; pressure_mpa: mean specific pressure over both;
    nominal_clearance_mm: of the valve when new, a side. The whole rise is taken for leakage through
    the valve: flash, heavier parts or melt escaping outside would be counted in. Undetermined where
    the rise may be none. Formulas: `balance.stroke_volume`, `balance.gap_from_increase`.

    >>> found = leak_estimate(1.2, noise_mm=0.1, screw_diameter_mm=50, under_pressure_s=8, pressure_mpa=60)
    >>> round(found.lost_cm3, 2), round(found.flow_cm3_s, 2), 0.1 < found.gap_mm < 0.2
    (2.36, 0.29, True)
    >>> leak_estimate(0.1, noise_mm=0.1).reason
    'swept stroke is not clearly above the startup record'
    """
    _check(rise_mm, noise_mm, screw_diameter_mm, under_pressure_s, pressure_mpa, nominal_clearance_mm)
    low, high = rise_mm - 1.96 * noise_mm, rise_mm + 1.96 * noise_mm
    if low <= 0.0:
        return Undetermined(N_("swept stroke is not clearly above the startup record"))
    lost = (low, high)
    missing: list[str] = []
    said = [N_("all of the rise leaves through the valve")]
    cm3 = cm3_s = gap = None
    cm3_interval = cm3_s_interval = gap_interval = None
    if screw_diameter_mm is None:
        missing.append(N_("screw diameter"))
    else:
        cm3, *ends = (stroke_volume(x, screw_diameter_mm=screw_diameter_mm) for x in (rise_mm, *lost))
        cm3_interval = (ends[0], ends[1])
        if under_pressure_s is None:
            missing.append(N_("fill and hold time"))
        else:
            cm3_s = cm3 / under_pressure_s
            cm3_s_interval = (ends[0] / under_pressure_s, ends[1] / under_pressure_s)
            said.append(
                N_(
                    "it flows during the {under_pressure_s:.1f} s of fill and hold",
                    under_pressure_s=under_pressure_s,
                )
            )
            if pressure_mpa is None:
                missing.append(N_("injection or hold pressure"))
            else:
                gap, gap_interval, more = _gap(
                    cm3_s, cm3_s_interval, screw_diameter_mm, pressure_mpa, nominal_clearance_mm
                )
                said += more
    return LeakEstimate(
        lost_mm=rise_mm,
        lost_mm_interval=lost,
        lost_cm3=cm3,
        lost_cm3_interval=cm3_interval,
        flow_cm3_s=cm3_s,
        flow_cm3_s_interval=cm3_s_interval,
        gap_mm=gap,
        gap_mm_interval=gap_interval,
        assumptions=tuple(said),
        missing=tuple(missing),
    )


def _gap(
    flow: float, interval: Interval, diameter: float, pressure: float, nominal: float | None
) -> tuple[float, Interval, list[str]]:
    """The gap, and the smallest and largest over every corner of what is measured and assumed."""
    viscosity, viscosities = VISCOSITY_PA_S
    land, lands = LAND_MM
    healthy, healthies = HEALTHY_GAP_MM if nominal is None else (nominal, (0.8 * nominal, 1.2 * nominal))

    def gap(flow: float, viscosity: float, land: float, healthy: float, pressure: float) -> float:
        return gap_from_increase(
            flow,
            healthy_gap_mm=healthy,
            screw_diameter_mm=diameter,
            land_mm=land,
            pressure_mpa=pressure,
            viscosity_pa_s=viscosity,
        )

    pressures = ((1.0 - PRESSURE_SHARE) * pressure, (1.0 + PRESSURE_SHARE) * pressure)
    corners = [gap(*corner) for corner in product(interval, viscosities, lands, healthies, pressures)]
    said = [
        N_(
            "melt in the slit of {viscosities:g} to {viscosities_2:g} Pa s at about {pressure:.0f} bar",
            viscosities=viscosities[0],
            viscosities_2=viscosities[1],
            pressure=10 * pressure,
        ),
        N_(
            "a sealing land of {lands:g} to {lands_2:g} mm, the ring centred",
            lands=lands[0],
            lands_2=lands[1],
        ),
        N_(
            "a clearance of {healthies:.3f} to {healthies_2:.3f} mm when sound",
            healthies=healthies[0],
            healthies_2=healthies[1],
        )
        + ("" if nominal is None else N_(" (from the valve ledger)")),
    ]
    return gap(flow, viscosity, land, healthy, pressure), (min(corners), max(corners)), said


def _check(rise: float, noise: float, *others: float | None) -> None:
    if not math.isfinite(rise):
        raise InvalidError(N_("rise_mm must be a finite number, not {rise}", rise=rise), field="rise_mm")
    if not (math.isfinite(noise) and noise > 0):
        raise InvalidError(N_("noise_mm must be above 0, not {noise}", noise=noise), field="noise_mm")
    names = ("screw_diameter_mm", "under_pressure_s", "pressure_mpa", "nominal_clearance_mm")
    for name, value in zip(names, others, strict=True):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InvalidError(N_("{name} must be above 0, not {value}", name=name, value=value), field=name)
