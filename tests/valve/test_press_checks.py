"""Checks of a press, and what an inspection measured."""

import math

import pytest

from server.errors import InvalidError
from server.valve.press_checks import PRESS_CHECKS, judge_check, volume_balance
from server.valve.wear import Clearance, Measured, against_nominal, clearance_of


@pytest.mark.parametrize(
    ("check", "good", "bad"),
    [
        ("position_reading", [[0, 5], [50, 55.05], [100, 105]], [[0, 5], [50, 55], [100, 106]]),
        ("pressure_reading", [[100, 101], [500, 505]], [[100, 110], [500, 505]]),
        ("transfer", [16.0, 16.01, 15.99, 16.0, 16.01, 16.0], [16.0, 16.6, 15.4, 16.3, 15.7, 16.4]),
        ("speed", [[20, 19], [60, 58], [100, 96]], [[20, 19], [60, 50], [100, 70]]),
        ("load", [[50, 1.0], [1050, 1.04]], [[50, 1.0], [1050, 1.2]]),
        ("hold", [[400, 396], [600, 603]], [[400, 360], [600, 603]]),
        ("recovery", [1.2, 1.6], [0.4, 1.6]),
        ("shot_share", [[80, 200]], [[170, 200]]),
        ("residence", [[30, 6]], [[60, 20]]),
    ],
)
def test_a_check_passes_and_fails(check: str, good: list[object], bad: list[object]) -> None:
    def pairs(given: list[object]) -> list[tuple[float, float]]:
        return [(one[0], one[1]) if isinstance(one, list) else (float(str(one)), 0.0) for one in given]

    assert judge_check(check, readings=pairs(good)).verdict == "passed"
    assert judge_check(check, readings=pairs(bad)).verdict == "failed"


def test_every_check_is_tried_and_a_qualification_fits_into_half_an_hour() -> None:
    assert len(PRESS_CHECKS) == 9
    assert sum(one.minutes for one in PRESS_CHECKS.values()) <= 30


def test_a_few_readings_that_may_be_either_decide_nothing() -> None:
    readings = [(x, 0.0) for x in (16.0, 16.05, 15.96, 16.03, 15.98)]
    assert judge_check("transfer", readings=readings).verdict == "undecided"


@pytest.mark.parametrize(
    ("check", "readings"),
    [
        ("speed", [(20.0, 19.0)]),
        ("speed", [(0.0, 1.0)] * 3),
        ("tea", [(1.0, 1.0)]),
        ("load", [(50.0, 1.0), (60.0, 1.1)]),
        ("residence", [(math.nan, 1.0)]),
    ],
)
def test_a_check_that_cannot_be_judged_is_refused(check: str, readings: list[tuple[float, float]]) -> None:
    with pytest.raises(InvalidError):
        judge_check(check, readings=readings)


def test_the_volume_balance_finds_what_was_lost() -> None:
    """Derived: of 157.08 cm3 (80 mm at D 50) 5 % stay behind; weighed at 0.75 g/cm3."""
    swept = math.pi / 4 * 2.5 * 80
    weight = 0.95 * swept * 0.75
    found = volume_balance([(80.0, weight)] * 3, screw_diameter_mm=50.0, melt_density_g_cm3=0.75)
    assert found.lost_pct == pytest.approx(5.0)
    # Of the scatter nothing is left, so the interval is the density's 2 %.
    assert found.interval == pytest.approx((5.0 - 1.9, 5.0 + 1.9))


def test_clearance_takes_the_widest_bore_and_adds_uncertainties_by_their_squares() -> None:
    """JCGM 100:2008, 5.1: independent contributions combine by the root of their squares."""
    found = clearance_of(
        [
            Measured("ring_diameter_mm", 49.80, 0.006, "micrometer"),
            Measured("bore_diameter_mm", 50.00, 0.008, "bore_gauge", "front"),
            Measured("bore_diameter_mm", 50.06, 0.008, "bore_gauge", "back"),
        ]
    )
    assert found is not None
    assert found.clearance_mm == pytest.approx(0.13)
    assert found.uncertainty_mm == pytest.approx(0.005)
    assert found.ovality_mm == pytest.approx(0.06)


@pytest.mark.parametrize(("nominal", "says"), [(0.08, "above"), (0.127, "not_shown"), (0.2, "below")])
def test_a_difference_from_nominal_is_shown_beyond_its_uncertainty_alone(nominal: float, says: str) -> None:
    assert against_nominal(Clearance(0.13, 0.005, 49.8, 50.06, None), nominal_mm=nominal) == says


def test_a_ring_wider_than_its_bore_is_refused_unless_it_may_be_the_gauge() -> None:
    wide = [Measured("ring_diameter_mm", 50.1, 0.005, ""), Measured("bore_diameter_mm", 50.0, 0.005, "")]
    with pytest.raises(InvalidError):
        clearance_of(wide)
    close = [Measured("ring_diameter_mm", 50.005, 0.01, ""), Measured("bore_diameter_mm", 50.0, 0.01, "")]
    assert clearance_of(close) is not None
    assert clearance_of(close[:1]) is None
