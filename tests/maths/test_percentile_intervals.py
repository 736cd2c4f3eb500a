"""Percentile indices: the quantile rule is not flattering, intervals cover or say why they are missing."""

import numpy as np
import pytest

from server.maths.percentiles import PercentileIndices, Quantiles, empirical_quantiles, percentile_indices
from server.maths.results import Undetermined
from tests.maths.percentile_study import coverage


def test_empirical_quantiles_do_not_flatter() -> None:
    rng, read = np.random.default_rng(1), []
    for _ in range(300):
        found = empirical_quantiles(rng.standard_normal(1000))
        assert isinstance(found, Quantiles)
        read.append(6.0 / (found.high - found.low))
    assert float(np.mean(read)) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("process", "n", "least"),
    [("normal", 900, 0.88), ("lognormal 0.25", 900, 0.85), ("lognormal 0.25", 5000, 0.9)],
)
def test_intervals_cover(process: str, n: int, least: float) -> None:
    said, wide, near = coverage(process, n, 60)
    assert said > 0.95
    assert min(wide, near) >= least


def test_a_law_that_few_values_do_not_reject_is_not_believed() -> None:
    found = percentile_indices(np.random.default_rng(3).lognormal(0, 0.25, 200), lower=0.2, upper=3.0)
    assert isinstance(found, PercentileIndices)
    assert isinstance(found.ppk_interval, Undetermined)
    assert found.ppk_interval.reason.startswith("200 of 800 independent values needed")


def test_too_few_values_for_ranks_are_said() -> None:
    found = percentile_indices(np.random.default_rng(2).standard_normal(1500), lower=-5, upper=5)
    assert isinstance(found, PercentileIndices)
    assert isinstance(found.ppk_interval, Undetermined)
    assert found.ppk_interval.reason.startswith("1500 of 3409 values needed")
