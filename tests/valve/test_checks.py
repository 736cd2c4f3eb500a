"""Checks and age as likelihood ratios: signs, monotony, what few data are worth, how they fade."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidError
from server.valve.checks import (
    AGE_LIMIT,
    CHECK_LIMIT,
    Part,
    age_log_odds,
    drift_check_log_odds,
    faded,
    inspection_log_odds,
    short_shot_log_odds,
    total,
)
from server.valve.creep import drift_check
from server.valve.studies import short_shot_study


def _drift(creep: float, half: float = 0.01) -> float:
    return drift_check_log_odds(creep, creep_interval=(creep - half, creep + half))


def test_a_faster_creep_never_speaks_less_for_a_leak() -> None:
    said = [_drift(creep) for creep in np.geomspace(0.03, 2.0, 40)]
    assert (np.diff(said) >= -1e-9).all()
    assert said[0] < 0.0 < said[-1] <= CHECK_LIMIT


def test_a_good_drift_check_never_clears_a_valve_since_late_closers_creep_like_sound_ones() -> None:
    assert -math.log(4.0) < _drift(0.0) < -0.5


def test_an_unsure_creep_says_next_to_nothing() -> None:
    assert abs(_drift(0.3, half=0.6)) < 0.5 < _drift(0.3, half=0.02)


@pytest.mark.parametrize("creep", [-0.2, 0.0, 1e-4, 50.0])
def test_creeps_off_the_scale_still_give_a_bounded_answer(creep: float) -> None:
    assert abs(_drift(creep, half=1e-6)) <= CHECK_LIMIT


def test_weights_speak_by_their_scatter_measured_against_the_limit() -> None:
    said = [short_shot_log_odds(cv, n=30, limit_pct=5.0) for cv in np.linspace(0.5, 6.0, 30)]
    assert (np.diff(said) > 0).all()
    # The same weights under a limit five times as tight speak for a leak.
    assert short_shot_log_odds(0.5, n=30, limit_pct=1.0) == pytest.approx(
        short_shot_log_odds(2.5, n=30, limit_pct=5.0)
    )


def test_wide_weights_alone_stay_moderate_since_melt_and_dosing_widen_them_too() -> None:
    assert 1.0 < short_shot_log_odds(5.0, n=100, limit_pct=5.0) < 2.5


def test_identical_weights_count_as_below_the_scale_not_as_proof() -> None:
    assert -2.5 < short_shot_log_odds(0.0, n=10, limit_pct=5.0) < -1.0


def test_ratios_are_calibrated_on_their_own_mixtures() -> None:
    """The mean of 1/ratio over failing draws is 1: what any likelihood ratio has to satisfy (derived)."""
    rng = np.random.default_rng(7)
    late = rng.random(4000) < 0.35
    chance = rng.standard_normal((2, 4000))
    creep = np.where(late, 0.02 * np.exp(0.8 * chance[0]), 0.35 * np.exp(0.9 * chance[1]))
    read = creep + 0.01 * rng.standard_normal(4000)
    inverse = [math.exp(-drift_check_log_odds(x, creep_interval=(x - 0.0196, x + 0.0196))) for x in read]
    standard_error = float(np.std(inverse)) / math.sqrt(len(inverse))
    assert np.mean(inverse) == pytest.approx(1.0, abs=4 * standard_error + 0.05)


def test_inspections_rank_good_worn_failed() -> None:
    assert inspection_log_odds("good") < 0 < inspection_log_odds("worn") < inspection_log_odds("failed")
    with pytest.raises(InvalidError, match="known are failed, worn, good"):
        inspection_log_odds("fine")


def test_age_raises_the_odds_within_its_limit_and_averages_to_nothing_over_a_life() -> None:
    ages = np.linspace(0, 3e6, 301)
    said = [age_log_odds(age, expected_life_shots=1e6) for age in ages]
    assert (np.diff(said) >= 0).all()
    assert max(said) == pytest.approx(math.log(AGE_LIMIT)) == -min(said)
    within_a_life = [math.exp(one) for one, age in zip(said, ages, strict=True) if age <= 1e6]
    assert np.mean(within_a_life) == pytest.approx(1.0, abs=0.05)


@given(st.floats(-4, 4), st.floats(0, 1e7), st.floats(0, 1e7))
def test_fading_goes_one_way_and_never_changes_sign(log_odds: float, one: float, other: float) -> None:
    early, late = sorted((one, other))
    first, second = faded(log_odds, shots_since=early), faded(log_odds, shots_since=late)
    if log_odds >= 0:
        assert first == second == log_odds
    else:
        assert log_odds - 1e-12 <= first <= second <= 0.0


def test_parts_sum_in_their_order() -> None:
    parts = [Part("prevalence", -2.94), Part("valve_age", 0.3), Part("drift-check", -0.9, number=4)]
    assert total(parts) == -2.94 + 0.3 + -0.9


def test_studies_feed_the_ratios_as_they_come() -> None:
    t = np.arange(0.0, 30.0, 0.5)
    leaking = drift_check(list(t), list(20.0 - 0.4 * t), pressure_bar=500)
    assert drift_check_log_odds(leaking.creep_mm_s, creep_interval=leaking.creep_interval) > 2.0
    steady = short_shot_study([100.0, 100.4, 99.7, 100.1, 99.9, 100.2, 99.8, 100.0, 100.3, 99.6], limit_pct=5)
    assert short_shot_log_odds(steady.cv_pct, n=10, limit_pct=5.0) < -0.5


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: drift_check_log_odds(math.nan, creep_interval=(0, 1)), "creep_mm_s"),
        (lambda: drift_check_log_odds(0.1, creep_interval=(1, 0)), "creep_interval"),
        (lambda: short_shot_log_odds(-1.0, n=10, limit_pct=5), "cv_pct"),
        (lambda: short_shot_log_odds(1.0, n=1, limit_pct=5), "n is 1"),
        (lambda: short_shot_log_odds(1.0, n=9, limit_pct=0), "limit_pct"),
        (lambda: age_log_odds(-1, expected_life_shots=1e6), "shots_on_valve"),
        (lambda: age_log_odds(1, expected_life_shots=math.inf), "expected_life_shots"),
    ],
)
def test_nonsense_is_named(call: object, field: str) -> None:
    assert callable(call)
    with pytest.raises(InvalidError, match=field):
        call()
