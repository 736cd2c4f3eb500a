"""The off-line checks: figures, intervals that hold what they promise, verdicts on the interval."""

import math

import numpy as np
import pytest

from server.errors import InvalidError
from server.valve.creep import drift_check
from server.valve.studies import short_shot_study
from server.valve.weights import expected_range


@pytest.mark.parametrize(("n", "d2"), [(2, 1.128), (5, 2.326), (10, 3.078), (25, 3.931)])
def test_expected_range_is_the_tabled_d2(n: int, d2: float) -> None:
    """ISO 7870-2, table of factors."""
    assert expected_range(n) == pytest.approx(d2, abs=6e-4)


@pytest.mark.parametrize(("n", "cv"), [(10, 1.62), (5, 2.15), (30, 1.22)])
def test_a_range_of_5_percent_is_the_cv_the_trade_notes_print(n: int, cv: float) -> None:
    assert 5 / expected_range(n) == pytest.approx(cv, abs=6e-3)


def test_percent_variation_is_range_over_mean() -> None:
    study = short_shot_study([20.0, 21.0, 19.0, 20.0], limit_pct=5)
    assert study.percent_variation == pytest.approx(10.0)
    assert study.sd_g == pytest.approx(math.sqrt(2 / 3))
    assert study.sd_interval[0] < study.sd_g < study.sd_interval[1]


def test_the_verdict_looks_at_the_interval() -> None:
    rng = np.random.default_rng(3)
    even = short_shot_study(list(rng.normal(20, 0.05, 10)))
    uneven = short_shot_study(list(rng.normal(20, 1.0, 30)))
    between = short_shot_study(list(rng.normal(20, 0.3, 6)))
    assert (even.verdict, uneven.verdict, between.verdict) == ("within", "over", "undecided")


def test_the_interval_of_sd_covers_95_of_100() -> None:
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(300):  # three standard errors of the share are 3.8 %
        low, high = short_shot_study(list(rng.normal(50, 1.0, 10))).sd_interval
        hits += low <= 1.0 <= high
    assert hits / 300 == pytest.approx(0.95, abs=0.038)


@pytest.mark.parametrize("weights", [[], [1.0], [1.0, 2.0], [1.0, 2.0, math.nan], [1.0, -1.0, 2.0]])
def test_weights_that_cannot_be_studied_name_their_field(weights: list[float]) -> None:
    with pytest.raises(InvalidError) as caught:
        short_shot_study(weights)
    assert caught.value.field == "weights_g"


def test_creep_is_found_behind_settling() -> None:
    t = [2.0 * i for i in range(31)]
    position = [30 - 0.05 * x - 2 * (1 - math.exp(-x / 3)) for x in t]
    check = drift_check(t, position, pressure_bar=500, screw_diameter_mm=50)
    assert check.creep_mm_s == pytest.approx(0.05, abs=0.001)
    assert check.leak_flow_cm3_s == pytest.approx(0.05 * math.pi / 4 * 2.5, rel=0.02)
    assert check.gap_mm == pytest.approx(0.0908, abs=0.001)
    plain = drift_check(t, position, pressure_bar=500)
    assert plain.leak_flow_cm3_s is None
    assert plain.gap_mm is None


@pytest.mark.parametrize("phi", [0.0, 0.6])
def test_the_creep_interval_holds_under_autocorrelation(phi: float) -> None:
    rng = np.random.default_rng(9)
    t = np.arange(120.0)
    hits = 0
    for _ in range(400):
        noise = np.zeros(120)
        for i in range(1, 120):
            noise[i] = phi * noise[i - 1] + rng.normal(0, 0.02)
        low, high = drift_check(list(t), list(40 - 0.1 * t + noise), pressure_bar=800).creep_interval
        hits += low <= 0.1 <= high
    assert hits / 400 > 0.90


@pytest.mark.parametrize(("creep", "verdict"), [(0.01, "fine"), (0.15, "watch"), (0.6, "act")])
def test_drift_verdicts(creep: float, verdict: str) -> None:
    rng = np.random.default_rng(2)
    t = np.arange(60.0)
    position = 40 - creep * t + rng.normal(0, 0.005, 60)
    assert drift_check(list(t), list(position), pressure_bar=800).verdict == verdict


def test_a_creep_that_may_be_either_is_undecided() -> None:
    noisy = 40 - 0.05 * np.arange(8.0) + np.random.default_rng(1).normal(0, 0.2, 8)
    assert drift_check(list(np.arange(8.0)), list(noisy), pressure_bar=800).verdict == "undecided"


def test_samples_that_cannot_be_read_name_their_field() -> None:
    for t, position, field in (
        ([0.0, 1.0], [3.0, 2.0], "t_s"),
        ([0.0, 1.0, 1.0], [3.0, 2.0, 1.0], "t_s"),
        ([0.0, 1.0, 2.0], [3.0, 2.0], "position_mm"),
    ):
        with pytest.raises(InvalidError) as caught:
            drift_check(t, position, pressure_bar=500)
        assert caught.value.field == field
