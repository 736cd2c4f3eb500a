"""Before against after: what counts as fixed, better, no change, worse, and what cannot be said."""

import numpy as np
import pytest

from server.maths.results import Undetermined
from server.valve.proof_of_fix import SHOTS_WANTED, Proof, proof_of_fix

CENTER, SIGMA = 74.0, 0.05


def shots(n: int, *, level: float = CENTER, sd: float = SIGMA, phi: float = 0.0, seed: int = 1) -> np.ndarray:
    """Swept strokes of a press whose neighbours resemble each other by phi."""
    chance = np.random.default_rng(seed)
    noise = chance.normal(0.0, 1.0, n)
    for i in range(1, n):
        noise[i] = phi * noise[i - 1] + np.sqrt(1.0 - phi * phi) * noise[i]
    return level + sd * noise


def judged(before: np.ndarray, after: np.ndarray, **more: float) -> Proof:
    found = proof_of_fix(before, after=after, **{"center": CENTER, "sigma": SIGMA, **more})
    assert isinstance(found, Proof), found
    return found


def test_a_level_back_at_the_record_is_fixed() -> None:
    found = judged(shots(300, level=74.6), shots(120, seed=2))
    assert (found.verdict, found.level.state, found.scatter.state) == ("fixed", "back", "quiet")
    assert found.level.change.upper < -0.5


def test_a_scatter_back_at_the_record_is_fixed_too() -> None:
    found = judged(shots(300, sd=0.2), shots(200, seed=2))
    assert (found.verdict, found.level.state, found.scatter.state) == ("fixed", "quiet", "back")


def test_half_way_back_is_better_and_not_fixed() -> None:
    found = judged(shots(300, level=74.8), shots(200, level=74.4, seed=2))
    assert (found.verdict, found.level.state) == ("better", "improved")


def test_a_valve_still_judged_likely_to_leak_is_not_called_fixed() -> None:
    before, after = shots(300, level=74.6), shots(120, seed=2)
    assert judged(before, after, likelihood_after=0.2).verdict == "fixed"
    assert judged(before, after, likelihood_after=0.8).verdict == "better"


def test_still_as_far_off_is_no_change_and_further_off_is_worse() -> None:
    before = shots(400, level=74.6)
    assert judged(before, shots(200, level=74.6, seed=2)).verdict == "no_change"
    assert judged(before, shots(200, level=75.2, seed=2)).verdict == "worse"
    assert judged(before, shots(200, level=73.0, seed=2)).verdict == "worse", "too far the other way"


def test_where_nothing_was_off_nothing_can_be_proven() -> None:
    found = judged(shots(300), shots(120, seed=2))
    assert found.verdict == "cannot_say"
    assert "off" in found.text


def test_neighbours_that_resemble_each_other_say_less() -> None:
    widths = [
        judged(shots(400, level=74.3, phi=phi), shots(300, level=74.1, phi=phi, seed=2)).level.change
        for phi in (0.0, 0.8)
    ]
    assert widths[1].upper - widths[1].lower > 2.0 * (widths[0].upper - widths[0].lower)


def test_without_a_record_better_is_the_most_that_can_be_said() -> None:
    found = proof_of_fix(shots(300, level=74.6), after=shots(120, seed=2))
    assert isinstance(found, Proof)
    assert (found.verdict, found.level.record) == ("better", None)
    worse = proof_of_fix(shots(300), after=shots(120, level=74.4, seed=2))
    assert isinstance(worse, Proof)
    assert worse.verdict == "worse"


@pytest.mark.parametrize(("n", "m"), [(10, 200), (200, SHOTS_WANTED - 1), (0, 0)])
def test_too_few_shots_say_nothing(n: int, m: int) -> None:
    found = proof_of_fix(shots(n), after=shots(m))
    assert isinstance(found, Undetermined)
    assert f"{n} shots before and {m} after" in found.reason


def test_gaps_are_no_shots() -> None:
    after = shots(80)
    after[::2] = np.nan
    assert isinstance(proof_of_fix(shots(200), after=after), Undetermined)


def test_a_sound_fix_is_seldom_called_anything_but_fixed_or_better_and_nothing_is_invented() -> None:
    """400 presses of each kind: the two witnesses share a risk of 5 %."""
    wrong = helped = 0
    for seed in range(400):
        before = shots(200, level=74.3, seed=seed)
        same = judged(before, shots(100, level=74.3, seed=10_000 + seed))
        wrong += same.verdict in ("fixed", "better", "worse")
        helped += judged(before, shots(100, seed=20_000 + seed)).verdict in ("fixed", "better")
    assert wrong <= 0.05 * 400
    assert helped >= 0.95 * 400
