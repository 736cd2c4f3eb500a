"""Recalibration on simulated inspection records, with labels chosen by score as plants choose them."""

import math

import numpy as np
import pytest

from server.errors import InvalidError
from server.maths.results import Undetermined
from server.valve.recalibration import Recalibration, recalibrate


def _records(seed: int, *, shift: float, slope: float, valves: int = 3000) -> tuple[list[float], list[bool]]:
    """Valves whose true log-odds are shift + slope * score; mostly those with a high score are opened,

    a few of the others at planned stops.
    """
    rng = np.random.default_rng(seed)
    score = rng.normal(-2.0, 2.5, valves)
    failing = rng.random(valves) < 1.0 / (1.0 + np.exp(-(shift + slope * score)))
    chance = np.where(score > 0.5, 0.5, 0.03)
    opened = rng.random(valves) < chance
    return score[opened].tolist(), failing[opened].tolist()


def _found(scores: list[float], failing: list[bool]) -> Recalibration:
    found = recalibrate(scores, failing=failing)
    assert isinstance(found, Recalibration)
    return found


@pytest.mark.parametrize(("shift", "slope"), [(0.0, 1.0), (-1.0, 0.6), (0.7, 1.4)])
def test_selective_labels_still_give_the_curve_back(shift: float, slope: float) -> None:
    found = [_found(*_records(seed, shift=shift, slope=slope)) for seed in range(40)]
    held = [one.shift_interval[0] <= shift <= one.shift_interval[1] for one in found]
    held_slope = [one.slope_interval[0] <= slope <= one.slope_interval[1] for one in found]
    # 95 % intervals; fewer than 33 of 40 has a chance below 1 in 1000 (binomial).
    assert sum(held) >= 33
    assert sum(held_slope) >= 33
    assert np.mean([one.slope for one in found]) == pytest.approx(slope, rel=0.15)


def test_too_sure_a_score_is_corrected_and_predicts_unseen_inspections_better() -> None:
    found = _found(*_records(1, shift=-1.0, slope=0.5))
    scores, failing = _records(2, shift=-1.0, slope=0.5)
    x, y = np.array(scores), np.array(failing)

    def brier(z: np.ndarray) -> float:
        return float(np.square(1 / (1 + np.exp(-z)) - y).mean())

    assert brier(np.array([found.corrected(one) for one in x])) < brier(x) - 0.01
    assert found.p < 0.001
    assert found.brier_after < found.brier_before


def test_a_good_score_is_left_about_as_it_is() -> None:
    ps = [_found(*_records(seed, shift=0.0, slope=1.0)).p for seed in range(60)]
    assert np.mean(np.array(ps) < 0.05) < 0.17  # 60 looks, binomial, 1 in 1000


def test_few_inspections_correct_little() -> None:
    found = _found([-2.0] * 5 + [2.0] * 5, failing=[False] * 5 + [True] * 5)
    assert abs(found.shift) < 0.3
    assert 0.7 < found.slope < 1.8
    assert found.p > 0.05


def test_less_than_five_of_each_is_no_ground_for_a_correction() -> None:
    found = recalibrate([1.0] * 20, failing=[True] * 16 + [False] * 4)
    assert isinstance(found, Undetermined)
    assert "16 failing and 4 sound" in found.reason


def test_nonsense_is_named() -> None:
    with pytest.raises(InvalidError, match="failing has 1 entries, log_odds has 2"):
        recalibrate([1.0, 2.0], failing=[True])
    with pytest.raises(InvalidError, match="finite"):
        recalibrate([math.inf], failing=[True])
