"""Drift, change point, forecast and comparison: level, coverage and power on honest data."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.maths.comparison import (
    MeanComparison,
    ScatterComparison,
    compare_means,
    compare_scatter,
    scatter_power,
)
from server.maths.drift import ChangePoint, Crossing, Drift, change_point, crossing, theil_sen
from server.maths.results import Undetermined
from tests.maths.series import ar1, normal

TRIALS = 200
#: Four standard errors of 5 % over 200 trials, and a little for what is only asymptotic.
ROOM = 0.07


def trend(x: object, **ask: float) -> Drift:
    found = theil_sen(x, **ask)  # type: ignore[arg-type]  # wrong on purpose or loose
    assert isinstance(found, Drift), found
    return found


def step_of(x: object) -> ChangePoint:
    found = change_point(x)  # type: ignore[arg-type]  # wrong on purpose or loose
    assert isinstance(found, ChangePoint), found
    return found


@pytest.mark.parametrize("phi", [0.0, 0.4])
def test_trend_interval_covers_and_finds_nothing_in_noise(phi: float) -> None:
    cover = noise = 0
    for seed in range(TRIALS):
        x = ar1(120, phi=phi, seed=seed)
        found = trend(x + 0.02 * np.arange(120))
        cover += found.slope_lower <= 0.02 <= found.slope_upper
        noise += trend(x).p < 0.05
    assert cover / TRIALS > 0.95 - ROOM
    assert noise / TRIALS < 0.05 + ROOM


def test_trend_ignores_wild_values_and_rounding() -> None:
    x = 0.05 * np.arange(200) + normal(200, seed=1)
    wild = x.copy()
    wild[::10] = 500.0
    assert trend(wild).slope == pytest.approx(0.05, abs=0.02)
    assert trend(np.round(x)).slope == pytest.approx(0.05, abs=0.01)


def test_long_series_are_reduced_without_losing_the_slope() -> None:
    x = 1e-4 * np.arange(50_000) + normal(50_000, seed=2)
    found = trend(x)
    assert found.n == 50_000
    assert found.slope_lower <= 1e-4 <= found.slope_upper
    assert found.slope == pytest.approx(1e-4, rel=0.02)


@given(seed=st.integers(0, 50), shift=st.sampled_from([-256.0, 1024.0]), scale=st.sampled_from([0.25, 8.0]))
@settings(max_examples=25, deadline=None)
def test_trend_moves_with_zero_and_unit(seed: int, shift: float, scale: float) -> None:
    x = normal(40, seed=seed) + 0.1 * np.arange(40)
    here, there = trend(x), trend(x * scale + shift)
    assert there.slope == pytest.approx(here.slope * scale, rel=1e-9)
    assert there.level == pytest.approx(here.level * scale + shift, rel=1e-9, abs=1e-9)
    assert there.p == pytest.approx(here.p, rel=1e-6)


@pytest.mark.parametrize("n", [8, 9, 15])
def test_a_fall_is_as_unsure_as_the_rise_it_mirrors(n: int) -> None:
    x = normal(n, seed=4)
    here, there = trend(x), trend(-x)
    assert (there.slope_lower, there.slope_upper) == pytest.approx((-here.slope_upper, -here.slope_lower))


def test_uneven_times_are_used() -> None:
    at = np.cumsum(np.random.default_rng(3).exponential(1, 60))
    found = theil_sen(2.0 * at + 1.0, at=at)
    assert isinstance(found, Drift)
    assert found.slope == pytest.approx(2.0)
    with pytest.raises(ValueError, match="at must have"):
        theil_sen([1.0] * 10, at=[1.0] * 9)


@pytest.mark.parametrize("x", [[], [1.0], [1.0] * 7, [math.nan] * 20])
def test_too_few_values_for_a_trend(x: list[float]) -> None:
    assert isinstance(theil_sen(x), Undetermined)


def test_constant_values_have_no_drift() -> None:
    found = trend([4.0] * 20)
    assert (found.slope, found.p) == (0.0, 1.0)


@pytest.mark.parametrize("phi", [0.0, 0.4])
def test_change_point_interval_covers_and_finds_nothing_in_noise(phi: float) -> None:
    cover = noise = 0
    for seed in range(TRIALS):
        x = ar1(150, phi=phi, seed=seed)
        noise += step_of(x).p < 0.05
        x[60:] += 1.2
        found = step_of(x)
        cover += found.lower <= 60 <= found.upper
    assert cover / TRIALS > 0.95 - ROOM
    assert noise / TRIALS < 0.05 + ROOM


def test_change_point_counts_gaps_in_its_indices() -> None:
    x = np.concatenate([normal(50, seed=1), normal(50, seed=2) + 8])
    x[[3, 20, 70]] = math.nan
    found = step_of(x)
    assert found.index == 50
    assert found.before == pytest.approx(0, abs=0.5)
    assert found.after == pytest.approx(8, abs=0.5)


def test_change_point_survives_outliers_and_rounding() -> None:
    x = np.round(np.concatenate([normal(80, seed=4), normal(80, seed=5) + 3]))
    x[10] = 60.0
    assert abs(step_of(x).index - 80) <= 2


@pytest.mark.parametrize("x", [[], [1.0] * 9, [2.0] * 50])
def test_change_points_that_cannot_be_seen(x: list[float]) -> None:
    assert isinstance(change_point(x), Undetermined)


def test_crossing_lies_in_its_interval() -> None:
    hits = 0
    for seed in range(TRIALS):
        found = crossing(trend(0.05 * np.arange(150) + normal(150, seed=seed)), limit=12.0)
        assert isinstance(found, Crossing)
        assert found.upper is not None
        hits += found.lower <= 240.0 <= found.upper
    assert hits / TRIALS > 0.93


def test_falling_drifts_cross_lower_limits() -> None:
    found = crossing(trend(10 - 0.1 * np.arange(50)), limit=0.0)
    assert isinstance(found, Crossing)
    assert found.at == pytest.approx(100.0)


def test_what_cannot_be_forecast_is_said_so() -> None:
    flat = crossing(trend(normal(100, seed=1)), limit=5.0)
    away = crossing(trend(np.arange(20.0)), limit=-5.0)
    assert isinstance(flat, Undetermined)
    assert isinstance(away, Undetermined)
    with pytest.raises(ValueError, match="limit"):
        crossing(trend(np.arange(20.0)), limit=math.nan)


# --- comparison ----------------------------------------------------------------------------


@pytest.mark.parametrize("phi", [0.0, 0.5])
def test_comparisons_find_nothing_where_nothing_is(phi: float) -> None:
    means = scatter = 0
    for seed in range(TRIALS):
        a, b = ar1(80, phi=phi, seed=seed), ar1(120, phi=phi, seed=seed + 1000)
        found, spread = compare_means(a, second=b), compare_scatter([a, b])
        assert isinstance(found, MeanComparison)
        assert isinstance(spread, ScatterComparison)
        means += found.p < 0.05
        scatter += spread.p < 0.05
    assert means / TRIALS < 0.05 + ROOM
    assert scatter / TRIALS < 0.05 + ROOM


def test_intervals_of_differences_cover() -> None:
    means = ratios = 0
    for seed in range(TRIALS):
        a, b = normal(60, seed=seed), normal(60, seed=seed + 500, sigma=1.5) + 0.7
        found, spread = compare_means(a, second=b), compare_scatter([a, b])
        assert isinstance(found, MeanComparison)
        assert isinstance(spread, ScatterComparison)
        means += found.lower <= 0.7 <= found.upper
        ratios += spread.ratio_lower[1] <= 1.5 <= spread.ratio_upper[1]
    assert means / TRIALS > 0.95 - ROOM
    assert ratios / TRIALS > 0.95 - ROOM


def test_scatter_test_keeps_its_level_under_heavy_tails() -> None:
    rng = np.random.default_rng(7)
    hits = 0
    for _ in range(TRIALS):
        found = compare_scatter([rng.standard_t(5, 60), rng.standard_t(5, 60)])
        assert isinstance(found, ScatterComparison)
        hits += found.p < 0.05
    assert hits / TRIALS < 0.05 + ROOM


def test_power_agrees_with_the_figures_stated_for_the_trade() -> None:
    # "Computed" figures: a 1.5-fold difference is seen in 19 % of trials with 15 shots a level and
    # in 71 % with 50.
    assert scatter_power(15, ratio=1.5) == pytest.approx(0.19, abs=0.03)
    assert scatter_power(50, ratio=1.5) == pytest.approx(0.71, abs=0.03)
    assert scatter_power(50, ratio=1.0) == pytest.approx(0.05, abs=0.02)


@given(seed=st.integers(0, 100), scale=st.sampled_from([0.5, 4.0]), shift=st.sampled_from([-64.0, 128.0]))
@settings(max_examples=25, deadline=None)
def test_comparisons_do_not_depend_on_unit_and_zero(seed: int, scale: float, shift: float) -> None:
    a, b = normal(30, seed=seed), normal(40, seed=seed + 1) + 0.5
    here, there = compare_means(a, second=b), compare_means(a * scale + shift, second=b * scale + shift)
    assert isinstance(here, MeanComparison)
    assert isinstance(there, MeanComparison)
    assert there.p == pytest.approx(here.p, rel=1e-6)
    assert there.effect == pytest.approx(here.effect, rel=1e-6)
    swapped = compare_means(b, second=a)
    assert isinstance(swapped, MeanComparison)
    assert swapped.difference == pytest.approx(-here.difference)


@pytest.mark.parametrize(
    "levels", [[[1.0] * 10], [[1.0, 2.0], [1.0, 2.0, 3.0, 4.0, 5.0]], [[1.0] * 9, [1.0, 2, 3, 4, 5]]]
)
def test_scatter_that_cannot_be_compared(levels: list[list[float]]) -> None:
    assert isinstance(compare_scatter(levels), Undetermined)


@pytest.mark.parametrize(("a", "b"), [([], [1.0, 2.0]), ([1.0], [1.0, 2.0]), ([1.0, 1.0], [2.0, 2.0])])
def test_means_that_cannot_be_compared(a: list[float], b: list[float]) -> None:
    assert isinstance(compare_means(a, second=b), Undetermined)


def test_values_that_lean_on_each_other_seldom_pass_for_a_change() -> None:
    false = 0
    for seed in range(200):
        found = change_point(ar1(80, phi=0.6, seed=seed))
        false += isinstance(found, ChangePoint) and found.p < 0.05
    # 4 % expected; above 18 of 200 has a chance below 1 in 1000 (binomial).
    assert false <= 18
