"""Trials that may stop early: the risk they take, and what they find."""

import numpy as np
import pytest

from server.maths.level_trial import LOOKS, RISK, planned_looks, spent, trial_state


@pytest.mark.parametrize(
    ("share", "risk"),
    # Two-sided 5 %, from the formula in Lan & DeMets, Biometrika 70 (1983) 659-663, with normal tails read
    # from a table: z(0.025) = 1.960; 1.960/sqrt(0.25) = 3.920, tail 4.43e-5; 1.960/sqrt(0.5) = 2.772,
    # 0.00279; 1.960/sqrt(0.75) = 2.263, 0.01182 (memory of the table).
    [(0.25, 2 * 4.43e-5), (0.5, 2 * 0.00279), (0.75, 2 * 0.01182), (1.0, 0.05)],
)
def test_the_risk_is_spent_as_the_source_says(share: float, risk: float) -> None:
    assert spent(share) == pytest.approx(risk, rel=0.01)


@pytest.mark.parametrize("shots", [15, 30, 50, 77, 500])
def test_the_looks_share_out_the_whole_risk_and_no_more(shots: int) -> None:
    looks = planned_looks(shots)
    assert sum(risk for _, risk in looks) == pytest.approx(RISK)
    assert looks[-1][0] == shots
    assert len(looks) == len(LOOKS)
    assert all(risk > 0 for _, risk in looks)


def decided(chance: np.random.Generator, *sigmas: float, planned: int = 50) -> int | None:
    levels = [chance.normal(0.0, sigma, planned) for sigma in sigmas]
    return trial_state(levels, planned=planned).decided_at


@pytest.mark.parametrize("levels", [2, 3])
def test_equal_levels_are_called_different_in_at_most_five_of_a_hundred_trials(levels: int) -> None:
    chance = np.random.default_rng(8)
    wrong = sum(decided(chance, *([1.0] * levels)) is not None for _ in range(600))
    # 5 % of 600 and three standard errors.
    assert wrong <= 30 + 3 * 5.4


def test_a_level_twice_as_steady_is_found_and_mostly_early() -> None:
    chance = np.random.default_rng(9)
    at = [decided(chance, 1.0, 2.0) for _ in range(200)]
    found = [one for one in at if one is not None]
    assert len(found) > 180
    assert sum(one < 50 for one in found) > 100


def test_later_shots_never_change_an_earlier_look() -> None:
    chance = np.random.default_rng(4)
    levels = [chance.normal(0, 1, 50), chance.normal(0, 6, 50)]
    early = trial_state([level[:25] for level in levels], planned=50)
    late = trial_state([levels[0], np.concatenate([levels[1][:25], np.zeros(25)])], planned=50)
    assert early.decided_at == late.decided_at == 20
    assert early.looks == late.looks


def test_the_recommended_level_is_the_steadiest_and_the_chances_add_up() -> None:
    chance = np.random.default_rng(4)
    state = trial_state([chance.normal(5, s, 50) for s in (1.0, 0.4, 2.0)], planned=50)
    assert state.recommended == 1
    assert sum(level.best for level in state.levels) == pytest.approx(1.0)
    assert state.levels[1].best > 0.95
    assert state.levels[0].mean_interval[0] < 5 < state.levels[0].mean_interval[1]


def test_until_every_level_has_shots_nothing_is_said() -> None:
    state = trial_state([np.arange(50.0), np.arange(4.0)], planned=50)
    assert (state.levels, state.looks, state.recommended, state.next_look) == ((), (), None, 20)


def test_a_display_too_coarse_to_scatter_decides_nothing() -> None:
    state = trial_state([np.full(50, 6.0), np.arange(50.0)], planned=50)
    assert state.decided_at is None


def test_one_level_is_no_trial() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        trial_state([np.arange(9.0)], planned=50)
