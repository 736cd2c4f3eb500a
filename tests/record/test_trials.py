"""Setting trials and gate seal: what is put in is found, and chance is not called a finding."""

import numpy as np
import pytest

from server.errors import InvalidError
from server.record.trials import gate_seal, setting_trial


def test_levels_that_are_one_are_seldom_called_different() -> None:
    chance = np.random.default_rng(11)
    trials = [
        setting_trial([chance.normal(50.0, 1.0, 10).tolist() for _ in range(3)]).verdict for _ in range(200)
    ]
    # Two tests at 5 % each: 10 % of 200 are 20 expected, 33 is three sigma above.
    assert sum(verdict != "no_difference" for verdict in trials) <= 33


@pytest.mark.parametrize(
    ("mean", "sd", "verdict"), [(53.0, 1.0, "mean"), (50.0, 6.0, "spread"), (56.0, 6.0, "both")]
)
def test_a_real_difference_is_named(mean: float, sd: float, verdict: str) -> None:
    chance = np.random.default_rng(5)
    levels = [chance.normal(50.0, 1.0, 40).tolist(), chance.normal(mean, sd, 40).tolist()]
    assert setting_trial(levels).verdict == verdict


def test_the_interval_lies_between_its_tabled_neighbours() -> None:
    # Worked by hand: means 20.6 and 22.1, variances 2.3 and 5.74, so Welch has 8.5 degrees of freedom.
    first, second = [19.0, 20.0, 20.0, 21.0, 23.0], [18.0, 21.0, 22.0, 23.0, 24.0, 24.6]
    trial = setting_trial([first, second])
    difference = sum(second) / 6 - sum(first) / 5
    assert trial.levels[1].difference == pytest.approx(difference)
    low, high = trial.levels[1].interval
    assert (low + high) / 2 == pytest.approx(difference)
    error = np.sqrt(np.var(first, ddof=1) / 5 + np.var(second, ddof=1) / 6)
    # Student tables, 95 %: 2.306 at 8 degrees of freedom, 2.262 at 9.
    assert 2.262 * error <= (high - low) / 2 <= 2.306 * error


def test_equal_readings_are_no_difference_and_no_error() -> None:
    assert setting_trial([[5.0] * 4, [5.0] * 4]).verdict == "no_difference"
    assert setting_trial([[5.0] * 4, [6.0] * 4]).verdict in ("mean", "no_difference")


def test_the_seal_time_is_found_within_its_interval() -> None:
    chance = np.random.default_rng(3)
    covered = 0
    for _ in range(100):
        t = np.repeat(np.arange(1.0, 11.0), 3)
        weight = 40.0 + 0.4 * np.minimum(t, 6.3) + chance.normal(0.0, 0.02, len(t))
        found = gate_seal(t.tolist(), weight.tolist())
        assert found.verdict == "sealed"
        assert found.interval is not None
        covered += found.interval[0] <= 6.3 <= found.interval[1]
    # 95 expected; 88 is three sigma below.
    assert covered >= 88


def test_a_weight_that_goes_on_rising_is_not_sealed_and_a_flat_one_does_not_rise() -> None:
    t = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]
    assert gate_seal(t, [40.0 + 0.3 * x for x in t]).verdict == "not_sealed"
    wobble = [40.0, 40.01, 39.99, 40.0, 40.01, 39.99, 40.0, 40.01]
    assert gate_seal(t, wobble).verdict == "no_rise"


@pytest.mark.parametrize("times", [[1.0, 2.0, 3.0, 4.0], [1.0, 1.0, 2.0, 2.0, 3.0, 3.0]])
def test_too_few_hold_times_are_refused(times: list[float]) -> None:
    with pytest.raises(InvalidError, match="at least 5 at 4"):
        gate_seal(times, [40.0] * len(times))
