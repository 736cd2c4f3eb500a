"""Leak flow against the check values of the trade notes, and the identities behind them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidError
from server.valve.balance import gap_from_increase, power_law_flow, slit_flow, volume_stroke

KNOWN = {"screw_diameter_mm": 50.0, "land_mm": 25.0}


def test_newtonian_slit_flow_matches_the_check_values() -> None:
    q = slit_flow(0.10, pressure_mpa=50, viscosity_pa_s=200, **KNOWN)
    assert q == pytest.approx(0.1309, abs=5e-5)
    assert volume_stroke(q, screw_diameter_mm=50) == pytest.approx(0.0667, abs=5e-5)
    assert slit_flow(0.05, pressure_mpa=50, viscosity_pa_s=200, **KNOWN) == pytest.approx(0.01636, abs=5e-6)


@pytest.mark.parametrize(("mpa", "flow"), [(10, 0.00559), (50, 0.312), (100, 1.766)])
def test_power_law_flow_matches_the_check_values(mpa: float, flow: float) -> None:
    q = power_law_flow(0.10, pressure_mpa=mpa, consistency_pa_sn=5000, index=0.4, **KNOWN)
    assert q == pytest.approx(flow, rel=2e-3)


def test_doubling_the_gap_multiplies_power_law_flow_by_22_6() -> None:
    one, two = (
        power_law_flow(h, pressure_mpa=50, consistency_pa_sn=5000, index=0.4, **KNOWN) for h in (0.1, 0.2)
    )
    assert two / one == pytest.approx(22.6, abs=0.05)


@given(st.floats(0.005, 0.5), st.floats(0.0, 0.2), st.floats(5, 200), st.floats(20, 2000))
def test_the_gap_is_found_again_from_the_increase(h: float, more: float, mpa: float, mu: float) -> None:
    conditions = {"pressure_mpa": mpa, "viscosity_pa_s": mu, **KNOWN}
    grown = slit_flow(h + more, **conditions) - slit_flow(h, **conditions)
    assert gap_from_increase(grown, healthy_gap_mm=h, **conditions) == pytest.approx(h + more, rel=1e-6)


@pytest.mark.parametrize("name", ["screw_diameter_mm", "land_mm", "viscosity_pa_s"])
def test_an_impossible_size_names_its_field(name: str) -> None:
    given_sizes = {"pressure_mpa": 50.0, "viscosity_pa_s": 200.0, **KNOWN, name: 0.0}
    with pytest.raises(InvalidError) as caught:
        gap_from_increase(0.1, healthy_gap_mm=0.01, **given_sizes)
    assert caught.value.field == name
