"""One level against the others, and the chance that a demand is met: levels kept, known cases met."""

import numpy as np
import pytest
from scipy import stats

from server.maths.against_others import AgainstOthers, against_others, standing_out
from server.maths.capability import Capability, capability
from server.maths.comparison import compare_means
from server.maths.demand import chance_of_demand
from server.maths.results import Undetermined


def found(levels: list[np.ndarray]) -> tuple[AgainstOthers, ...]:
    got = standing_out(levels) if len(levels) > 2 else against_others(levels)
    assert not isinstance(got, Undetermined)
    return got


def test_two_levels_are_welchs_test() -> None:
    rng = np.random.default_rng(5)
    a, b = rng.normal(10.0, 1.0, 40), rng.normal(10.6, 3.0, 25)
    own = found([a, b])[1]
    welch = compare_means(a, second=b)
    assert not isinstance(welch, Undetermined)
    assert own.difference == pytest.approx(welch.difference)
    assert own.p == pytest.approx(min(1.0, 2.0 * welch.p))
    plain = stats.ttest_ind(b, a, equal_var=False).statistic
    assert abs(own.difference / plain) == pytest.approx(abs(welch.difference / welch.t), rel=0.2)


def test_healthy_presses_rarely_stand_out_even_when_neighbours_resemble_each_other() -> None:
    rng = np.random.default_rng(11)
    false = 0
    for _ in range(300):
        levels = []
        for scatter in (1.0, 1.5, 0.7, 2.0):
            noise = rng.normal(size=200)
            wander = np.zeros(200)
            for i in range(1, 200):
                wander[i] = 0.4 * wander[i - 1] + noise[i]
            levels.append(scatter * wander)
        false += bool(found(levels))
    assert false / 300 < 0.09


def test_the_odd_one_is_found_and_said_with_its_size() -> None:
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(100):
        got = found([rng.normal(m, 1.0, 100) for m in (5.0, 5.0, 5.0, 6.0)])
        hits += [one.level for one in got] == [3] and got[0].lower <= 1.0 <= got[0].upper
    assert hits >= 88


@pytest.mark.parametrize("levels", [[], [[1.0, 2.0]], [[1.0], [1.0, 2.0]], [[1.0, 1.0], [2.0, 2.0]]])
def test_what_cannot_be_said_says_why(levels: list[list[float]]) -> None:
    assert isinstance(against_others(levels), Undetermined)


def test_a_demand_met_exactly_is_called_sure_as_often_as_promised() -> None:
    """True Ppk equals the demand: the chance said is above 95 % in 5 % of samples, below 5 % in 5 %."""
    rng = np.random.default_rng(8)
    said = []
    for _ in range(800):
        values = rng.normal(10.0, 0.5, 100)
        judged = capability(values, lower=8.0, upper=13.0)  # the near limit 4 sigma away: 1.333
        assert isinstance(judged, Capability)
        assert judged.ppk is not None
        chance = chance_of_demand(judged.ppk.value, interval=judged.ppk.interval, demand=4.0 / 3.0)
        assert isinstance(chance, float)
        said.append(chance)
    assert 0.02 < np.mean(np.array(said) > 0.95) < 0.08
    assert 0.02 < np.mean(np.array(said) < 0.05) < 0.08
