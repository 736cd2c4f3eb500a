"""Limits from estimated parameters keep their run length on the stated share of presses."""

import numpy as np
import pytest
from scipy.special import ndtr

from server.maths.guarantee import guaranteed_multiplier
from tests.maths.series import ar1


@pytest.mark.parametrize("n", [30, 200])
@pytest.mark.parametrize("confidence", [0.8, 0.9])
def test_the_stated_share_of_presses_keeps_the_promise(n: int, confidence: float) -> None:
    x = np.random.default_rng(n).standard_normal((8000, n))
    mean, sigma = x.mean(axis=1), x.std(axis=1, ddof=1)

    def share(multiplier: float) -> float:
        false_alarm = ndtr(mean - multiplier * sigma) + ndtr(-mean - multiplier * sigma)
        return float((1 / false_alarm >= 370.398).mean())

    # 8000 presses: four standard errors are 1.8 %.
    assert share(guaranteed_multiplier(n, confidence=confidence)) == pytest.approx(confidence, abs=0.02)
    assert share(3.0) < 0.5


def test_autocorrelated_baselines_need_wider_limits() -> None:
    plain, told = guaranteed_multiplier(200), guaranteed_multiplier(200, phi=0.6)
    assert told > plain
    kept = 0
    for seed in range(400):
        x = ar1(200, phi=0.6, seed=seed)
        mean, sigma = x.mean(), x.std(ddof=1)
        kept += 1 / (ndtr(mean - told * sigma) + ndtr(-mean - told * sigma)) >= 370.398
    # Share of points beyond the limits, which is what the run length is made of; 400 presses.
    assert kept / 400 == pytest.approx(0.9, abs=0.06)


def test_many_values_need_no_allowance() -> None:
    assert guaranteed_multiplier(10_000_000) == pytest.approx(3.0, abs=0.002)


@pytest.mark.parametrize("ask", [{"n": 9}, {"arl": 1.0}, {"confidence": 1.0}, {"phi": 1.0}])
def test_bad_parameters_are_named(ask: dict[str, float]) -> None:
    name = next(iter(ask))
    with pytest.raises(ValueError, match=name):
        guaranteed_multiplier(**{"n": 50, **ask})  # type: ignore[arg-type]
