"""The drift check beyond its figures: settling that lasts longer, gaps with their interval."""

import math

import numpy as np
import pytest

from server.errors import InvalidError
from server.valve.balance import slit_flow
from server.valve.creep import drift_check
from server.valve.resins import METHODS, RESINS, check_method


def _positions(t: list[float], *, creep: float, settle_s: float, depth: float = 3.0) -> list[float]:
    chance = np.random.default_rng(6)
    return [40 - creep * x + depth * math.exp(-x / settle_s) + chance.normal(0, 0.002) for x in t]


def test_settling_that_lasts_is_left_out_longer_and_says_so() -> None:
    t = [float(i) for i in range(91)]
    short = drift_check(t, _positions(t, creep=0.05, settle_s=4.0), pressure_bar=500)
    long = drift_check(t, _positions(t, creep=0.05, settle_s=14.0), pressure_bar=500)
    assert short.discarded == 30
    assert long.discarded > short.discarded
    assert "slowed down" in long.settling_why
    assert long.creep_mm_s == pytest.approx(0.05, abs=0.012)
    assert long.settling_mm == pytest.approx(
        _positions(t, creep=0.05, settle_s=14.0)[0] - _positions(t, creep=0.05, settle_s=14.0)[long.discarded]
    )


def test_the_gap_is_the_one_that_leaked() -> None:
    """D 50 mm, L 25 mm, 50 MPa, 200 Pa s, gap 0.10 mm: 0.1309 cm3/s, 0.0667 mm/s (trade notes, computed)."""
    flow = slit_flow(0.10, screw_diameter_mm=50, land_mm=25, pressure_mpa=50, viscosity_pa_s=200)
    creep = flow * 1000 / (math.pi / 4 * 50**2)
    assert creep == pytest.approx(0.0667, abs=1e-4)
    t = [2.0 * i for i in range(40)]
    check = drift_check(t, _positions(t, creep=creep, settle_s=3.0), pressure_bar=500, screw_diameter_mm=50)
    assert check.gap_mm == pytest.approx(0.10, abs=0.003)
    assert check.gap_interval is not None
    assert check.gap_interval[0] < 0.10 < check.gap_interval[1]


def test_three_readings_are_judged_without_a_search_for_settling() -> None:
    check = drift_check([0, 10, 20], [30.0, 29.9, 29.8], pressure_bar=500)
    assert (check.n, check.discarded) == (3, 0)


@pytest.mark.parametrize("resin", sorted(RESINS))
def test_a_plug_is_allowed_for_resins_that_do_not_gas_alone(resin: str) -> None:
    for method in METHODS:
        if method == "rated_plug" and RESINS[resin].no_plug:
            with pytest.raises(InvalidError, match="frozen gate"):
                check_method(method, resin=resin)
        else:
            check_method(method, resin=resin)
    gassing = {"pom", "pvc", "fluoro", "cellulose", "halogen", "blowing", "unknown"}
    assert bool(RESINS[resin].no_plug) == (resin in gassing)
