"""Stability, autocorrelation and capability from one stretch; coverage of the intervals under AR(1)."""

import math

import numpy as np
import pytest

from server.maths.assessment import Assessment, assess
from server.maths.capability import Capability, Index, capability
from server.maths.intervals import moving_range_freedom
from server.maths.results import Undetermined
from server.maths.stability import Stability
from tests.maths.series import Floats, ar1, normal

#: Limits at -4 and 5 of a process about 0 with sigma 1: true values.
TRUE = {"pp": 1.5, "ppk": 4.0 / 3.0, "cpm": 9.0 / (6.0 * math.hypot(1.0, 0.5))}


def covered(phi: float, n: int, trials: int, *, told: bool) -> dict[str, float]:
    """Share of 95 % intervals that hold the truth; sigma within of an AR(1) is √(1 - φ)."""
    within = math.sqrt(1.0 - phi)
    truth = {**TRUE, "cp": 1.5 / within, "cpk": 4.0 / 3.0 / within}
    hits = dict.fromkeys(truth, 0)
    for seed in range(trials):
        x = ar1(n, phi=phi, seed=seed)
        found = assess(x, lower=-4.0, upper=5.0).capability if told else capability(x, lower=-4.0, upper=5.0)
        assert isinstance(found, Capability)
        for name, true in truth.items():
            index = getattr(found, name)
            assert isinstance(index, Index)
            hits[name] += index.interval.lower <= true <= index.interval.upper
    return {name: count / trials for name, count in hits.items()}


@pytest.mark.parametrize("phi", [0.0, 0.6])
def test_every_interval_covers_with_the_autocorrelation_that_was_seen(phi: float) -> None:
    shares = covered(phi, 300, 300, told=True)
    # 300 trials: four standard errors of 95 % are 5.0 %.
    assert all(share > 0.9 for share in shares.values()), shares


def test_intervals_blind_to_autocorrelation_do_not_cover() -> None:
    shares = covered(0.6, 300, 200, told=False)
    assert min(shares.values()) < 0.85
    assert shares["ppk"] < 0.88


@pytest.mark.parametrize("phi", [-0.4, 0.0, 0.3, 0.7])
def test_freedom_of_the_moving_range_is_that_of_its_variance(phi: float) -> None:
    n = 400
    ranges = np.array([np.abs(np.diff(ar1(n, phi=phi, seed=s))).mean() for s in range(1500)])
    # A mean of ranges with ν degrees of freedom has a coefficient of variation of 1/√(2ν).
    seen = 0.5 * (ranges.mean() / ranges.std()) ** 2
    assert moving_range_freedom(n - 1, phi=phi) == pytest.approx(seen, rel=4 * math.sqrt(2 / 1500))


def test_phi_is_not_read_from_a_shift_of_level() -> None:
    x = np.concatenate([normal(400, seed=1), normal(400, seed=2) + 1.5])
    found = assess(x, lower=-6, upper=6)
    assert isinstance(found.stability, Stability)
    assert not found.stability.stable
    assert abs(found.phi) < 0.12
    assert found.n_effective_mean > 600


@pytest.mark.parametrize("n", [0, 1, 2, 29])
def test_too_few_values_are_said_so_in_every_part(n: int) -> None:
    found = assess(normal(n, seed=3), lower=-4, upper=4)
    assert isinstance(found.stability, Undetermined)
    assert found.phi == 0.0
    assert found.n == n
    assert found.n_effective_mean == n
    assert found.n_effective_scatter == n
    assert isinstance(found.capability, Capability) == (n >= 2)


def test_constant_values_have_no_capability_and_no_nan() -> None:
    found = assess(np.full(100, 7.25), lower=7, upper=8)
    assert isinstance(found.capability, Undetermined)
    assert found.phi == 0.0


def test_without_limits_stability_is_judged_all_the_same() -> None:
    found = assess(normal(200, seed=4))
    assert isinstance(found.stability, Stability)
    assert found.capability == Undetermined("no limits of the drawing")


def test_infinities_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="values must be finite, got inf at index 3"):
        assess([1.0, 2.0, 3.0, math.inf, 2.0], lower=0, upper=4)


@pytest.mark.parametrize("phi", [1.0, -1.0, math.nan])
def test_an_impossible_phi_is_named(phi: float) -> None:
    with pytest.raises(ValueError, match="phi must lie between -1 and 1"):
        capability([1.0, 2.0, 3.0], lower=0, phi=phi)


def test_a_range_does_not_reach_across_a_gap() -> None:
    x = np.array([1.0, 2.0, 1.0, math.nan, 101.0, 102.0, 101.0])
    found = capability(x, lower=0, upper=200)
    assert isinstance(found, Capability)
    assert found.sigma_within == pytest.approx(1.0 / 1.1283791670955126)
    alone = capability([1.0, math.nan, 2.0], lower=0, upper=3)
    assert isinstance(alone, Undetermined)


def shapes() -> dict[str, Floats]:
    rng = np.random.default_rng(5)
    return {
        "rounded to sigma": np.round(normal(600, seed=6)),
        "heavy tails": rng.standard_t(5, 600) / math.sqrt(5 / 3),
        "huge offset": normal(600, seed=7) + 1e9,
    }


@pytest.mark.parametrize("name", list(shapes()))
def test_a_stable_stretch_stays_stable_on_data_that_are_not_ideal(name: str) -> None:
    x = shapes()[name]
    found: Assessment = assess(x, lower=float(x.mean()) - 6, upper=float(x.mean()) + 6)
    assert isinstance(found.stability, Stability)
    assert found.stability.stable
    assert abs(found.phi) < 0.15
