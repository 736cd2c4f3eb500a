"""Leak flow and gap from a rise of the swept stroke: the balance inverted, intervals that hold it."""

import math

import numpy as np
import pytest

from server.errors import InvalidError
from server.maths.results import Undetermined
from server.valve.balance import slit_flow, stroke_volume
from server.valve.estimates import LAND_MM, VISCOSITY_PA_S, LeakEstimate, leak_estimate


def _estimate(rise: float = 1.2, noise: float = 0.1, **known: float) -> LeakEstimate:
    found = leak_estimate(rise, noise_mm=noise, **known)
    assert isinstance(found, LeakEstimate)
    return found


KNOWN = {"screw_diameter_mm": 50.0, "under_pressure_s": 8.0, "pressure_mpa": 60.0}


def test_a_flow_through_a_known_gap_gives_that_gap_back() -> None:
    """Slit of domain.md section 1 with h grown from 0.03 to 0.10 mm, worked forwards, then back."""
    slit = {
        "screw_diameter_mm": 50.0,
        "land_mm": LAND_MM[0],
        "pressure_mpa": 60.0,
        "viscosity_pa_s": VISCOSITY_PA_S[0],
    }
    more = slit_flow(0.10, **slit) - slit_flow(0.03, **slit)
    rise = more * 8.0 / stroke_volume(1.0, screw_diameter_mm=50.0)
    found = _estimate(rise, noise=rise / 20, **KNOWN)
    assert found.gap_mm == pytest.approx(0.10, abs=1e-9)
    assert found.flow_cm3_s == pytest.approx(more)


def test_the_gap_interval_holds_the_truth_for_any_melt_land_and_pressure_within_the_assumptions() -> None:
    rng = np.random.default_rng(3)
    for _ in range(300):
        gap, healthy = rng.uniform(0.07, 0.2), rng.uniform(0.015, 0.06)
        slit = {
            "screw_diameter_mm": 50.0,
            "land_mm": rng.uniform(*LAND_MM[1]),
            "pressure_mpa": 60.0 * rng.uniform(0.76, 1.24),
            "viscosity_pa_s": rng.uniform(*VISCOSITY_PA_S[1]),
        }
        more = slit_flow(gap, **slit) - slit_flow(healthy, **slit)
        rise = more * 8.0 / stroke_volume(1.0, screw_diameter_mm=50.0)
        low, high = _estimate(rise, noise=rise / 10, **KNOWN).gap_mm_interval or (math.nan, math.nan)
        assert low <= gap <= high


def test_without_diameter_time_or_pressure_it_says_what_is_missing() -> None:
    assert _estimate().missing == ("screw diameter",)
    assert _estimate(screw_diameter_mm=50.0).missing == ("fill and hold time",)
    some = _estimate(screw_diameter_mm=50.0, under_pressure_s=8.0)
    assert some.missing == ("injection or hold pressure",)
    assert some.flow_cm3_s is not None
    assert some.gap_mm is None


def test_a_ledger_clearance_is_used_and_named() -> None:
    wide = _estimate(**KNOWN, nominal_clearance_mm=0.06)
    narrow = _estimate(**KNOWN, nominal_clearance_mm=0.02)
    assert wide.gap_mm is not None
    assert narrow.gap_mm is not None
    assert wide.gap_mm > narrow.gap_mm
    assert "from the valve ledger" in " ".join(wide.assumptions)
    assert "from the valve ledger" not in " ".join(_estimate(**KNOWN).assumptions)


def test_a_rise_within_its_noise_is_no_leak_to_size() -> None:
    assert isinstance(leak_estimate(0.1, noise_mm=0.1), Undetermined)
    assert isinstance(leak_estimate(-2.0, noise_mm=0.1), Undetermined)


@pytest.mark.parametrize(
    ("name", "value"),
    [("screw_diameter_mm", 0.0), ("under_pressure_s", math.nan), ("pressure_mpa", -1.0), ("noise_mm", 0.0)],
)
def test_nonsense_is_named(name: str, value: float) -> None:
    given = {"noise_mm": 0.1, **KNOWN, name: value}
    with pytest.raises(InvalidError, match=name):
        leak_estimate(1.0, **given)
