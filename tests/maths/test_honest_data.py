"""What each chart's notes say about rounded, correlated and heavy-tailed data, held to it."""

import math

import numpy as np
import pytest

from server.maths.charts import Individuals, Subgroups, individuals, subgroups
from server.maths.multivariate import Reference, t_squared, t_squared_limit
from server.maths.scatter import scatter_ewma
from server.maths.smoothing import cusum, ewma
from tests.maths.series import ar1, normal


def heavy(n: int, *, seed: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """t with 5 degrees of freedom, standard deviation 1."""
    return np.random.default_rng(seed).standard_t(5, n) / math.sqrt(5 / 3)


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("weight", [0.05, 0.2])
def test_ewma_scatters_under_autocorrelation_as_stated(phi: float, weight: float) -> None:
    z = ewma(ar1(60_000, phi=phi, seed=1), target=0, sigma=1, weight=weight).z[500:]
    keep = phi * (1 - weight)
    stated = math.sqrt(weight / (2 - weight) * (1 + keep) / (1 - keep))
    assert z.std() == pytest.approx(stated, rel=0.06)


def test_ewma_sees_less_than_a_display_step() -> None:
    # Half a step of shift at sigma = half a step: below what any single reading shows.
    x = np.round(normal(600, seed=2, sigma=0.5))
    x[300:] = np.round(normal(300, seed=3, sigma=0.5) + 0.5)
    found = ewma(x, target=0, sigma=math.hypot(0.5, 1 / math.sqrt(12)), weight=0.1)
    assert not [i for i in found.signals if i < 250]
    assert any(300 <= i < 330 for i in found.signals)


def test_small_lambda_averages_heavy_tails_out() -> None:
    x, ideal = heavy(200_000, seed=4), normal(200_000, seed=5)

    def excess(weight: float) -> float:
        there = ewma(x, target=0, sigma=1, weight=weight, L=3.0, limits="steady").signals
        here = ewma(ideal, target=0, sigma=1, weight=weight, L=3.0, limits="steady").signals
        return len(there) / max(1, len(here))

    assert excess(1.0) > 3
    assert excess(0.05) < 1.7


def test_one_far_value_carries_a_cusum_over() -> None:
    x = np.zeros(50)
    x[20] = 6.0
    assert cusum(x, target=0).signals[0] == 20
    x[20] = 5.4
    assert cusum(x, target=0).signals == ()


def test_cusum_is_not_hurt_by_steps_below_sigma() -> None:
    x = normal(100_000, seed=6)
    fine, coarse = cusum(x, target=0, h=4), cusum(np.round(x / 0.5) * 0.5, target=0, h=4)
    assert len(coarse.signals) == pytest.approx(len(fine.signals), rel=0.25)


def test_individuals_under_heavy_tails_signal_about_five_times_as_often() -> None:
    found = individuals(heavy(200_000, seed=7), d2="exact")
    assert isinstance(found, Individuals)
    # Stated run length about 70 (computed by integration of the t density at 3·MR̄/d2).
    assert 200_000 / len(found.signals) == pytest.approx(70, rel=0.1)


def test_subgroup_means_under_autocorrelation_and_heavy_tails_signal_too_often() -> None:
    def share(x: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        found = subgroups(x.reshape(-1, 5))
        assert isinstance(found, Subgroups)
        return len(found.signals) / found.subgroups

    assert share(ar1(50_000, phi=0.5, seed=8)) > 10 * 0.0027
    assert share(heavy(200_000, seed=9)) == pytest.approx(3 * 0.0027, rel=0.2)


def test_scatter_chart_shrugs_off_heavy_tails() -> None:
    # A single outlier of twelve sigma makes two moves and moves z less than the limits are wide.
    plain = normal(400, seed=11)
    spike = plain.copy()
    spike[200] = 12.0
    assert set(scatter_ewma(spike, sigma=1).signals) <= set(scatter_ewma(plain, sigma=1).signals)
    z = scatter_ewma(heavy(100_000, seed=10), sigma=1).z
    # t with 5 degrees has a narrower core than a normal of the same sigma, which the chart shows.
    assert -0.3 < z.mean() < 0.0


def test_t_squared_false_alarms_multiply_under_heavy_tails() -> None:
    rng = np.random.default_rng(12)
    reference = Reference(np.zeros(4), np.eye(4), 1000, ("a", "b", "c", "d"))
    limit = t_squared_limit(m=1000, p=4)
    ideal = rng.standard_normal((100_000, 4))
    tails = rng.standard_t(5, (100_000, 4)) / math.sqrt(5 / 3)
    here, there = ((t_squared(x, against=reference) > limit).mean() for x in (ideal, tails))
    assert here == pytest.approx(0.0027, rel=0.2)
    assert there > 4 * here
