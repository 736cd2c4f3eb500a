"""What an inspection measured: clearance with its uncertainty, ovality, and the words for wear."""

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

from server.errors import InvalidError
from server.language import N_

#: What can be measured with the screw out, in mm.
MEASURED: Final[dict[str, str]] = {
    "ring_diameter_mm": N_("Ring outside diameter"),
    "bore_diameter_mm": N_("Barrel bore at the ring's stroke"),
    "ring_inside_mm": N_("Ring inside diameter"),
    "ring_width_mm": N_("Ring width"),
    "ring_travel_mm": N_("Ring travel"),
    "tip_diameter_mm": N_("Screw tip diameter"),
    "flight_diameter_mm": N_("Flight diameter, first flights"),
    "seat_wear_mm": N_("Wear depth of the seat"),
}
#: With what it was measured, and the expanded uncertainty (k = 2) taken when none is told, mm
#: (common practice, no source).
INSTRUMENTS: Final[dict[str, tuple[str, float]]] = {
    "micrometer": (N_("micrometer"), 0.005),
    "bore_gauge": (N_("bore gauge"), 0.010),
    "caliper": (N_("caliper"), 0.040),
    "depth_gauge": (N_("depth gauge"), 0.030),
    "feeler_gauge": (N_("feeler gauge"), 0.020),
    "measuring_machine": (N_("coordinate measuring machine"), 0.004),
    "other": (N_("other"), 0.050),
}
#: What wear looks like.
FINDINGS: Final[dict[str, str]] = {
    "abrasion": N_("abrasive wear, matt and evenly thinned"),
    "scoring": N_("scoring along the axis"),
    "galling": N_("galling, metal picked up from the partner"),
    "pitting": N_("pitting"),
    "corrosion": N_("corrosion"),
    "erosion": N_("wash-out where melt leaked past"),
    "chipping": N_("chipped edge"),
    "crack": N_("crack"),
    "uneven_seat": N_("seat worn on one side"),
    "deposit": N_("burnt-on deposit"),
    "foreign_body": N_("foreign body or unmelted resin at the seat"),
    "loose_tip": N_("screw tip loose"),
    "none": N_("no wear seen"),
}


@dataclasses.dataclass(frozen=True)
class Measured:
    """One measurement, mm, with its expanded uncertainty (k = 2)."""

    what: str
    value_mm: float
    uncertainty_mm: float
    instrument: str
    place: str = ""


@dataclasses.dataclass(frozen=True)
class Clearance:
    """Clearance of the ring in the bore, mm a side, with its expanded uncertainty (k = 2).

    bore_mm: the widest place; ovality_mm: between widest and narrowest place, None with one place.
    """

    clearance_mm: float
    uncertainty_mm: float
    ring_mm: float
    bore_mm: float
    ovality_mm: float | None


def clearance_of(measured: Sequence[Measured]) -> Clearance | None:
    """(bore - ring) / 2 with U = sqrt(U_bore^2 + U_ring^2) / 2; None without both.

    The widest bore and the thinnest ring count: there the melt goes past. Uncertainties of different
    instruments are independent and combine by their squares. Source: GUM (JCGM 100:2008), 5.1.
    A ring wider than its bore by more than the uncertainty raises InvalidError.

    >>> ring = Measured("ring_diameter_mm", 44.7, 0.006, "micrometer")
    >>> bore = Measured("bore_diameter_mm", 45.0, 0.008, "bore_gauge")
    >>> found = clearance_of([ring, bore])
    >>> round(found.clearance_mm, 3), round(found.uncertainty_mm, 3)
    (0.15, 0.005)
    """
    rings = [one for one in measured if one.what == "ring_diameter_mm"]
    bores = [one for one in measured if one.what == "bore_diameter_mm"]
    if not rings or not bores:
        return None
    ring = min(rings, key=lambda one: one.value_mm)
    bore = max(bores, key=lambda one: one.value_mm)
    clearance = (bore.value_mm - ring.value_mm) / 2.0
    uncertainty = math.hypot(bore.uncertainty_mm, ring.uncertainty_mm) / 2.0
    if clearance < 0.0 and clearance + uncertainty < 0.0:
        raise InvalidError(
            N_(
                "ring_diameter_mm is {value_mm:g}; it has to be at most bore_diameter_mm, which is"
                " {value_mm_2:g}",
                value_mm=ring.value_mm,
                value_mm_2=bore.value_mm,
            ),
            field="ring_diameter_mm",
        )
    narrowest = min(one.value_mm for one in bores)
    ovality = bore.value_mm - narrowest if len(bores) > 1 else None
    return Clearance(clearance, uncertainty, ring.value_mm, bore.value_mm, ovality)


def against_nominal(clearance: Clearance, *, nominal_mm: float) -> str:
    """Whether the clearance is above what the valve was made with: above, below, not_shown.

    >>> against_nominal(Clearance(0.15, 0.005, 44.7, 45.0, None), nominal_mm=0.08)
    'above'
    """
    apart = clearance.clearance_mm - nominal_mm
    if abs(apart) <= clearance.uncertainty_mm:
        return "not_shown"
    return "above" if apart > 0.0 else "below"
