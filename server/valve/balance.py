"""Mass balance of a shot and leak flow through the clearance of a shut valve.

Lengths in mm, pressures in MPa unless a name says bar, viscosity in Pa s, volumes in cm3, flows in
cm3/s. Every gap is an estimate that rests on the viscosity and the geometry handed in.
"""

import math

from server.errors import InvalidError
from server.language import N_

MPA_PER_BAR = 0.1


def _positive(**given: float) -> None:
    for name, value in given.items():
        if not (math.isfinite(value) and value > 0):
            raise InvalidError(N_("{name} must be above 0, not {value}", name=name, value=value), field=name)


def swept_stroke(shot_size_mm: float, *, cushion_mm: float) -> float:
    """What left the space in front of the screw, mm: shot size - cushion.

    Decompression is left out: that travel only re-compresses melt (derived from the mass balance).

    >>> swept_stroke(80.0, cushion_mm=6.0)
    74.0
    """
    return shot_size_mm - cushion_mm


def stroke_volume(stroke_mm: float, *, screw_diameter_mm: float) -> float:
    """Volume of a stroke, cm3: pi/4 D^2 s / 1000. Source: geometry.

    >>> round(stroke_volume(100.0, screw_diameter_mm=50.0), 3)
    196.35
    """
    _positive(screw_diameter_mm=screw_diameter_mm)
    return math.pi / 4000.0 * screw_diameter_mm**2 * stroke_mm


def volume_stroke(volume_cm3: float, *, screw_diameter_mm: float) -> float:
    """Stroke of a volume, mm: the inverse of `stroke_volume`.

    >>> round(volume_stroke(196.3495, screw_diameter_mm=50.0), 4)
    100.0
    """
    _positive(screw_diameter_mm=screw_diameter_mm)
    return 4000.0 * volume_cm3 / (math.pi * screw_diameter_mm**2)


def slit_flow(
    gap_mm: float,
    *,
    screw_diameter_mm: float,
    land_mm: float,
    pressure_mpa: float,
    viscosity_pa_s: float,
) -> float:
    """Newtonian flow through a ring slit, cm3/s: pi D h^3 dP / (12 mu L), for h much below D.

    Source: Tadmor & Gogos; Bird, Stewart & Lightfoot. Eccentric seating can raise it up to 2.5
    times (Tao & Donovan 1955, memory). A gap of 0 has no flow; negative numbers raise InvalidError.

    >>> q = slit_flow(0.10, screw_diameter_mm=50, land_mm=25, pressure_mpa=50, viscosity_pa_s=200)
    >>> round(q, 4)
    0.1309
    """
    return power_law_flow(
        gap_mm,
        screw_diameter_mm=screw_diameter_mm,
        land_mm=land_mm,
        pressure_mpa=pressure_mpa,
        consistency_pa_sn=viscosity_pa_s,
        index=1.0,
    )


def power_law_flow(
    gap_mm: float,
    *,
    screw_diameter_mm: float,
    land_mm: float,
    pressure_mpa: float,
    consistency_pa_sn: float,
    index: float,
) -> float:
    """Power-law flow through a ring slit, cm3/s, for consistency m (Pa s^n) and index n.

    Q = (W h^2 / 2) (n / (2n + 1)) (h dP / (2 m L))^(1/n), W = pi D: the exponent of h is 2 + 1/n,
    and n = 1 gives the Newtonian form. Source: Tadmor & Gogos; Bird, Stewart & Lightfoot.

    >>> q = power_law_flow(0.10, screw_diameter_mm=50, land_mm=25, pressure_mpa=50,
    ...                    consistency_pa_sn=5000, index=0.4)
    >>> round(q, 3)
    0.312
    """
    _positive(
        screw_diameter_mm=screw_diameter_mm,
        land_mm=land_mm,
        consistency_pa_sn=consistency_pa_sn,
        index=index,
    )
    if gap_mm < 0 or pressure_mpa < 0:
        raise InvalidError(
            N_(
                "gap {gap_mm} mm and pressure {pressure_mpa} MPa must not be negative",
                gap_mm=gap_mm,
                pressure_mpa=pressure_mpa,
            ),
            field="gap_mm",
        )
    stress = gap_mm * pressure_mpa * 1e6 / (2.0 * consistency_pa_sn * land_mm)
    mm3_s = math.pi * screw_diameter_mm * gap_mm**2 / 2.0 * index / (2.0 * index + 1.0)
    return mm3_s * float(stress ** (1.0 / index)) / 1000.0


def gap_from_increase(
    increase_cm3_s: float,
    *,
    healthy_gap_mm: float,
    screw_diameter_mm: float,
    land_mm: float,
    pressure_mpa: float,
    viscosity_pa_s: float,
) -> float:
    """The gap after leak flow grew, mm: (h0^3 + 12 mu L dQ / (pi D dP))^(1/3).

    A healthy valve leaks too, so the increase is added to what its gap h0 lets through: growth
    alone would be misread (0.050 to 0.055 mm as 0.035 mm). Source: derived from the slit flow.

    >>> known = dict(screw_diameter_mm=50, land_mm=25, pressure_mpa=50, viscosity_pa_s=200)
    >>> grown = slit_flow(0.055, **known) - slit_flow(0.050, **known)
    >>> round(gap_from_increase(grown, healthy_gap_mm=0.050, **known), 4)
    0.055
    >>> round(gap_from_increase(grown, healthy_gap_mm=0.0, **known), 3)
    0.035
    """
    _positive(
        screw_diameter_mm=screw_diameter_mm,
        land_mm=land_mm,
        pressure_mpa=pressure_mpa,
        viscosity_pa_s=viscosity_pa_s,
    )
    grown_mm3_s = 1000.0 * increase_cm3_s
    cube = healthy_gap_mm**3 + 12.0 * viscosity_pa_s * land_mm * grown_mm3_s / (
        math.pi * screw_diameter_mm * pressure_mpa * 1e6
    )
    return math.copysign(abs(cube) ** (1.0 / 3.0), cube) if cube > 0 else 0.0
