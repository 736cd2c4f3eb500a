"""The start of a ramp: its interval keeps its promise, and a ramp is told from a step."""

import numpy as np
import numpy.typing as npt
import pytest

from server.maths.drift import ChangePoint, change_point
from server.maths.onset import RampStart, ramp_start
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]


def started(values: npt.ArrayLike, **more: npt.ArrayLike) -> RampStart:
    found = ramp_start(values, **more)  # type: ignore[arg-type]  # wrong on purpose or loose
    assert isinstance(found, RampStart)
    return found


def noise(rng: np.random.Generator, n: int, phi: float) -> Floats:
    e = rng.normal(size=n)
    for i in range(1, n):
        e[i] += phi * e[i - 1]
    return e


@pytest.mark.parametrize("phi", [0.0, 0.4])
@pytest.mark.parametrize("slope", [0.03, 0.1])
def test_the_interval_holds_the_turn_as_often_as_it_says(phi: float, slope: float) -> None:
    rng = np.random.default_rng(20)
    held = 0
    for _ in range(200):
        n = int(rng.integers(100, 400))
        turn = int(rng.integers(20, n - 40))
        found = started(noise(rng, n, phi) + slope * np.maximum(0, np.arange(n) - turn))
        held += found.lower <= turn <= found.upper
    # 95 % of 200 is 190 with a standard deviation of 3.
    assert held >= 180


def test_a_ramp_scatters_less_about_a_ramp_and_a_step_about_a_step() -> None:
    rng = np.random.default_rng(21)
    ramp, step = np.maximum(0, np.arange(200) - 100) * 0.1, 3.0 * (np.arange(200) >= 100)
    for shape, is_ramp in ((ramp, True), (step, False)):
        values = rng.normal(size=200) + shape
        other = change_point(values)
        assert isinstance(other, ChangePoint)
        assert (started(values).sigma < other.sigma) is is_ramp


def test_an_exact_ramp_is_found_exactly() -> None:
    values = 74.0 + 0.25 * np.maximum(0, np.arange(60) - 24)
    found = started(values)
    assert (found.index, found.lower, found.upper) == (24, 24, 24)
    assert found.slope == pytest.approx(0.25, abs=1e-12)
    assert found.level == pytest.approx(74.0, abs=1e-9)


def test_offset_unit_and_gaps_change_nothing_but_the_scale() -> None:
    rng = np.random.default_rng(22)
    values = rng.normal(size=150) + 0.08 * np.maximum(0, np.arange(150) - 70)
    first = started(values)
    moved = started(1e6 + 10 * values, at=5.0 * np.arange(150) + 1e9)
    assert (moved.index, moved.lower, moved.upper) == (first.index, first.lower, first.upper)
    assert moved.slope == pytest.approx(2 * first.slope, rel=1e-6)
    gaps = np.insert(values, [10, 90], np.nan)
    apart = started(gaps, at=np.insert(np.arange(150.0), [10, 90], [9.5, 89.5]))
    assert apart.index == first.index + 1 + (first.index >= 90)
    assert apart.sigma == pytest.approx(first.sigma)


def test_wild_values_do_not_move_it_far() -> None:
    rng = np.random.default_rng(23)
    values = rng.normal(size=200) + 0.1 * np.maximum(0, np.arange(200) - 100)
    calm = started(values)
    values[[20, 60, 150]] += 60
    wild = started(values)
    assert abs(wild.index - calm.index) <= 10
    assert wild.lower <= 100 <= wild.upper


@pytest.mark.parametrize(
    ("values", "reason"),
    [([1.0] * 9, "9 of 10 values"), ([1.0] * 20, "equal"), ([float("nan")] * 20, "0 of 10")],
)
def test_too_little_is_said_to_be(values: list[float], reason: str) -> None:
    found = ramp_start(values)
    assert isinstance(found, Undetermined)
    assert reason in found.reason


def test_what_cannot_be_taken_is_refused() -> None:
    with pytest.raises(ValueError, match="confidence"):
        ramp_start([1.0] * 20, confidence=1.0)
    with pytest.raises(ValueError, match="at must have 20"):
        ramp_start([1.0] * 20, at=[1.0])
