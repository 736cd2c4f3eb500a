"""Phase one and rounding: sigma stays honest on rounded, correlated, dirty and constant data."""

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.maths.baseline import PhaseOne, phase_one
from server.maths.charts import Individuals, individuals
from server.maths.normality import Normality, anderson_darling
from server.maths.results import Undetermined
from server.maths.rounding import rounded_sigma, rounding_step
from tests.maths.series import Floats, ar1, normal


def known(found: PhaseOne | Undetermined) -> PhaseOne:
    assert isinstance(found, PhaseOne), found
    return found


# --- the display step ----------------------------------------------------------------------


@pytest.mark.parametrize("step", [0.001, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("offset", [0.0, 12.34, 100_000.0])
def test_the_display_step_is_found(step: float, offset: float) -> None:
    start = round(offset / step) * step
    x = np.round((start + normal(300, seed=1, sigma=3 * step)) / step) * step
    assert rounding_step(np.round(x, 6)) == pytest.approx(step, rel=1e-9)


def test_a_step_left_by_unit_conversion_is_found() -> None:
    inches = np.round(normal(300, seed=2, sigma=0.03) + 1, 2)
    assert rounding_step(inches * 25.4) == pytest.approx(0.254, rel=1e-6)
    psi = np.round(normal(400, seed=2, sigma=4) + 900)
    assert rounding_step(psi * 0.0689475729316836) == pytest.approx(0.0689475729, rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_unrounded_data_have_no_step(seed: int) -> None:
    assert rounding_step(normal(50, seed=seed)) is None


@pytest.mark.parametrize(
    ("x", "step"), [([], None), ([1.5], None), ([7.0, 7.0], 1.0), ([0.25, 0.5], 0.01), ([math.nan] * 9, None)]
)
def test_the_step_of_few_values(x: list[float], step: float | None) -> None:
    assert rounding_step(x) == step


# --- sigma behind the display --------------------------------------------------------------


@pytest.mark.parametrize("ratio", [0.35, 0.5, 0.8, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5])
def test_rounded_sigma_finds_the_true_sigma(ratio: float, phase: float) -> None:
    # `ratio` is sigma over step; 4000 values give sigma to about 1.1 %, less when coarse.
    x = np.round(normal(4000, seed=7, sigma=ratio) + phase)
    assert rounded_sigma(x, step=1.0) == pytest.approx(ratio, rel=0.09)


def test_the_plain_deviation_is_wrong_where_the_corrected_is_right() -> None:
    x = np.round(normal(20_000, seed=8, sigma=0.6))
    assert rounded_sigma(x, step=1.0) == pytest.approx(0.6, rel=0.02)
    assert x.std() > 0.65
    chart = individuals(x, rounding=False)
    aware = individuals(x, rounding=True)
    assert isinstance(chart, Individuals)
    assert isinstance(aware, Individuals)
    assert abs(aware.sigma - 0.6) < 0.3 * abs(chart.sigma - 0.6)


@given(
    cells=st.lists(st.integers(-3, 3), min_size=1, max_size=80),
    step=st.sampled_from([1e-6, 0.01, 1.0, 7.0, 1e5]),
    offset=st.sampled_from([0.0, 1e4]),
)
@settings(max_examples=150, deadline=None)
def test_sigma_never_collapses(cells: list[int], step: float, offset: float) -> None:
    x = (np.array(cells) + offset) * step
    assert rounded_sigma(x, step=step) >= step / math.sqrt(12.0) * (1 - 1e-6)


@given(cells=st.lists(st.integers(-3, 3), min_size=5, max_size=60), scale=st.sampled_from([0.01, 3.0, 1e4]))
@settings(max_examples=60, deadline=None)
def test_rounded_sigma_scales_with_the_unit(cells: list[int], scale: float) -> None:
    x = np.array(cells, dtype=np.float64)
    here = rounded_sigma(x, step=1.0)
    assert rounded_sigma(x * scale, step=scale) == pytest.approx(scale * here, rel=1e-4)


@pytest.mark.parametrize("step", [-1.0, math.nan, math.inf])
def test_a_bad_step_is_named(step: float) -> None:
    with pytest.raises(ValueError, match="step"):
        rounded_sigma([1.0, 2.0], step=step)


def test_without_step_and_scatter_sigma_is_zero() -> None:
    assert rounded_sigma([2.0, 2.0], step=None) == 0.0
    assert rounded_sigma([], step=None) == 0.0


# --- the baseline --------------------------------------------------------------------------


def test_outliers_warm_up_and_restarts_are_listed_with_their_reason() -> None:
    x = np.round(normal(400, seed=3, sigma=0.03) + 12, 2)
    x[:6] = [0.4, 2.0, 5.0, 8.0, 10.0, 11.0]
    x[100] = 14.0
    x[200:205] = [0.3, 4.0, 7.0, 9.0, 10.5]
    x[300] = math.nan
    given_out = np.zeros(400, np.bool_)
    given_out[350] = True
    found = known(phase_one(x, excluded=given_out))
    reasons = {e.index: e.reason for e in found.exclusions}
    assert [reasons[i] for i in range(6)] == ["warm_up"] * 6
    assert reasons[100] == "outlier"
    assert [reasons[i] for i in range(200, 205)] == ["transient"] * 5
    assert reasons[300] == "missing"
    assert reasons[350] == "given"
    assert found.n_used == 400 - len(found.exclusions)
    assert len(found.exclusions) <= 15
    assert found.center == pytest.approx(12, abs=0.01)
    assert found.sigma == pytest.approx(0.03, rel=0.12)


def test_a_tight_press_gives_no_flood_of_signals() -> None:
    # 70 to 90 % of the moving ranges of such a press are zero.
    x = np.round(normal(1000, seed=4, sigma=0.002) + 5.0015, 2)
    assert 0.7 < (np.diff(x) == 0).mean() < 0.95
    found = known(phase_one(x[:300]))
    assert found.sigma >= 0.01
    assert ((x < found.lower) | (x > found.upper)).mean() == 0.0
    textbook = individuals(x)
    assert isinstance(textbook, Individuals)
    assert len(textbook.signals) > 10


@pytest.mark.parametrize("phi", [-0.3, 0.0, 0.25, 0.5, 0.75])
def test_three_sigma_limits_keep_their_promise_under_autocorrelation(phi: float) -> None:
    sigmas = [known(phase_one(ar1(400, phi=phi, seed=s))).sigma for s in range(40)]
    # True marginal sigma is 1: the limits then have run lengths of 374 to 499 (reference F).
    assert np.mean(sigmas) == pytest.approx(1.0, abs=0.03)
    within = [known(phase_one(ar1(400, phi=phi, seed=s))).sigma_within for s in range(40)]
    assert np.mean(within) == pytest.approx(math.sqrt(1 - phi), abs=0.03)


def test_phi_is_reported_with_an_interval_that_covers() -> None:
    hits = 0
    for seed in range(100):
        found = known(phase_one(ar1(300, phi=0.4, seed=seed)))
        assert found.phi_lower is not None
        assert found.phi_upper is not None
        hits += found.phi_lower <= 0.4 <= found.phi_upper
    assert hits >= 88


def test_sigma_interval_covers_under_autocorrelation() -> None:
    found = [known(phase_one(ar1(200, phi=0.5, seed=s))) for s in range(200)]
    assert np.mean([f.sigma_lower <= 1 <= f.sigma_upper for f in found]) > 0.89


def test_a_step_within_the_stretch_is_not_stable_and_a_quiet_one_is() -> None:
    quiet = [known(phase_one(ar1(300, phi=0.3, seed=s))).stable for s in range(100)]
    assert sum(quiet) >= 98
    for seed in range(20):
        x = ar1(300, phi=0.3, seed=seed)
        x[150:] += 1.5
        found = known(phase_one(x))
        assert not found.stable
        assert found.verdict.startswith("Not stable")


def test_heavy_tails_keep_a_finite_honest_sigma() -> None:
    x = np.random.default_rng(6).standard_t(5, 2000) / math.sqrt(5 / 3)
    found = known(phase_one(x))
    assert found.sigma == pytest.approx(1.0, abs=0.1)
    assert found.normality_p is not None
    assert found.normality_p < 0.01


def test_sufficiency_says_how_many_and_what_they_are_worth() -> None:
    few, enough = known(phase_one(normal(61, seed=1))), known(phase_one(normal(150, seed=1)))
    assert (few.sufficient, few.sufficiency) == (False, "61 of 100 values needed")
    assert enough.sufficient
    sticky = known(phase_one(ar1(120, phi=0.9, seed=1)))
    assert not sticky.sufficient
    assert "worth" in sticky.sufficiency


@pytest.mark.parametrize("n", [0, 1, 2, 29])
def test_a_young_press_is_undetermined(n: int) -> None:
    found = phase_one(normal(n, seed=1))
    assert found == Undetermined(f"{n} of 30 usable values needed for a baseline")


@pytest.mark.parametrize("value", [0.0, 3.14, -7.0, 1e9])
def test_constant_readings_have_a_sigma(value: float) -> None:
    found = known(phase_one(np.full(100, value)))
    assert found.sigma > 0
    assert found.lower < value < found.upper
    assert found.normality_p is None


@given(seed=st.integers(0, 50), shift=st.sampled_from([-512.0, 64.0]), scale=st.sampled_from([0.5, 4.0]))
@settings(max_examples=25, deadline=None)
def test_baseline_moves_with_zero_and_unit(seed: int, shift: float, scale: float) -> None:
    x = ar1(120, phi=0.3, seed=seed)
    here, there = known(phase_one(x)), known(phase_one(x * scale + shift))
    assert there.center == pytest.approx(here.center * scale + shift, rel=1e-9, abs=1e-9)
    assert there.sigma == pytest.approx(here.sigma * scale, rel=1e-6)
    assert [e.index for e in there.exclusions] == [e.index for e in here.exclusions]
    assert there.stable == here.stable


def test_infinities_are_missing_values() -> None:
    x = normal(60, seed=2)
    x[10] = math.inf
    found = known(phase_one(x))
    assert [(e.index, e.reason) for e in found.exclusions] == [(10, "missing")]


def test_a_mask_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="excluded"):
        phase_one(normal(40, seed=1), excluded=np.zeros(39, np.bool_))


def test_a_thousand_values_take_less_than_twenty_milliseconds() -> None:
    x = np.round(ar1(1000, phi=0.3, seed=1), 1)

    def once() -> float:
        begin = time.perf_counter()
        phase_one(x)
        return time.perf_counter() - begin

    assert min(once() for _ in range(10)) < 0.02


# --- normality -----------------------------------------------------------------------------


def rejected(draw: Floats, step: float | None) -> bool:
    found = anderson_darling(draw, step=step)
    assert isinstance(found, Normality)
    return found.p < 0.05


def test_normal_data_are_rejected_as_often_as_promised() -> None:
    share = np.mean([rejected(normal(80, seed=s), None) for s in range(1000)])
    # Four standard errors of 5 % over 1000 trials.
    assert share == pytest.approx(0.05, abs=0.0276)


def test_rounding_alone_rejects_nothing_once_ties_are_spread() -> None:
    plain = np.mean([rejected(np.round(normal(300, seed=s)), None) for s in range(200)])
    spread = np.mean([rejected(np.round(normal(300, seed=s)), 1.0) for s in range(200)])
    assert plain > 0.95
    assert spread < 0.1


@pytest.mark.parametrize(("x", "step"), [([1.0] * 7, None), ([1.0] * 30, None), ([0.0] * 29 + [1.0], 1.0)])
def test_normality_that_cannot_be_seen_is_undetermined(x: list[float], step: float | None) -> None:
    assert isinstance(anderson_darling(x, step=step), Undetermined)
