"""Checks of a log: injected or metered, units, wrapped negatives, two presses under one name."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from server.maths.results import Undetermined
from server.valve.log_checks import (
    constant_sum,
    repeated_cavities,
    two_counters,
    unit_suspicions,
    unwrapped,
    wrapped_suspicions,
)
from server.valve.press_model import PressModel
from server.valve.press_sim import as_logged, shot_times, simulate
from server.valve.signals import dose_lag_evidence


def logged(shots: int = 400, *, seed: int = 1) -> dict[str, np.ndarray]:
    model = PressModel()
    times = shot_times(shots, model=model, start_ms=0, seed=seed)
    return as_logged(simulate(model, at_ms=times, seed=seed, story=[]), model=model, seed=seed).columns


@pytest.mark.parametrize("seed", range(8))
def test_a_simulated_press_is_seen_through_when_it_reports_what_it_injected(seed: int) -> None:
    shots = logged(seed=seed)
    size, cushion = shots["shot_size_mm"], shots["cushion_mm"]
    metered = constant_sum(size, cushion)
    injected = constant_sum(np.round(size - cushion, 2), cushion)
    assert not isinstance(metered, Undetermined)
    assert not isinstance(injected, Undetermined)
    assert metered.injected is False
    assert injected.injected is not False
    assert injected.correlation < metered.correlation


def test_a_sum_constant_to_the_display_step_is_called_injected() -> None:
    chance = np.random.default_rng(3)
    cushion = np.round(6 + 0.05 * chance.standard_normal(300), 2)
    found = constant_sum(np.round(80 + 0.004 * chance.standard_normal(300) - cushion, 2), cushion)
    assert not isinstance(found, Undetermined)
    assert found.injected is True
    assert found.correlation < -0.95
    assert found.sum_share < 0.3


def test_a_cushion_in_another_unit_decides_the_same() -> None:
    chance = np.random.default_rng(3)
    cushion = np.round(6 + 0.05 * chance.standard_normal(300), 2)
    volume = np.round(1.96 * (80 + 0.004 * chance.standard_normal(300) - cushion), 2)
    inches = np.round(cushion / 25.4, 4)
    found, mixed = constant_sum(volume, inches, same_unit=False), constant_sum(volume, inches)
    assert not isinstance(found, Undetermined)
    assert not isinstance(mixed, Undetermined)
    assert found.injected is True
    assert mixed.injected is None


@pytest.mark.parametrize(
    ("size", "cushion", "why"),
    [
        (np.full(10, 80.0), np.full(10, 6.0), "9 of 30"),
        (np.full(100, 80.0), np.arange(100.0), "the column does not move"),
        (np.sin(np.arange(100.0)), np.full(100, 6.0), "the cushion does not move"),
        (np.full(100, np.nan), np.full(100, 6.0), "0 of 30"),
    ],
)
def test_what_cannot_be_told_is_said_with_the_reason(size: np.ndarray, cushion: np.ndarray, why: str) -> None:
    found = constant_sum(size, cushion)
    assert isinstance(found, Undetermined)
    assert why in found.reason


@given(
    hnp.arrays(np.float64, st.integers(0, 80), elements=st.floats(-1e6, 1e6) | st.just(np.nan)),
    st.integers(0, 1000),
)
def test_any_columns_are_answered(column: np.ndarray, seed: int) -> None:
    other = np.random.default_rng(seed).permutation(column)
    constant_sum(column, other)
    unit_suspicions({"cushion_mm": column, "zone_temps_c": other})
    wrapped_suspicions({"cushion_mm": column})


@pytest.mark.parametrize(
    ("field", "value", "maybe"),
    [
        ("cushion_mm", 0.2, "in"),
        ("shot_size_mm", 3.1, "in"),
        ("peak_pressure_bar", 90.0, "MPa"),
        ("peak_pressure_bar", 14_000.0, "psi"),
        ("fill_time_s", 1250.0, "ms"),
        ("zone_temps_c", 480.0, "degF"),
    ],
)
def test_a_column_in_another_unit_is_noticed(field: str, value: float, maybe: str) -> None:
    (found,) = unit_suspicions({field: np.full(50, value)})
    assert (found.field, found.maybe) == (field, maybe)


def test_a_simulated_press_raises_no_suspicion() -> None:
    shots = {name: column for name, column in logged().items() if column.dtype == np.float64}
    assert unit_suspicions(shots) == []
    assert wrapped_suspicions(shots) == []
    assert two_counters(logged()["at_ms"], logged()["counter"]) is None


@pytest.mark.parametrize(("signed", "full"), [(-0.04, 655.36), (-1.3, 6553.6), (-12.0, 65536.0)])
def test_wrapped_negatives_come_back(signed: float, full: float) -> None:
    assert unwrapped(np.array([signed + full]))[0] == pytest.approx(signed)


def test_a_large_press_with_such_volumes_throughout_is_not_suspected() -> None:
    assert wrapped_suspicions({"shot_size_cm3": np.full(50, 655.0)}) == []


def test_a_reset_counter_is_no_second_press() -> None:
    once = np.concatenate((np.arange(5000, 5100), np.arange(1, 100)))
    assert two_counters(np.arange(len(once)), once) is None
    mixed = np.ravel(np.column_stack((np.arange(100), np.arange(9000, 9100))))
    found = two_counters(np.arange(len(mixed)), mixed)
    assert found is not None
    assert found.rows == 100


def test_rows_of_several_cavities_are_counted() -> None:
    counter = np.repeat(np.arange(10), 4)
    assert repeated_cavities(counter * 20_000, counter) == 30


def test_the_dose_lag_comes_with_its_evidence() -> None:
    chance = np.random.default_rng(5)
    size = 80 + 0.1 * chance.standard_normal(400)
    columns = {
        "at_ms": np.arange(400) * 20_000,
        "counter": np.arange(400),
        "shot_size_mm": size,
        "cushion_mm": np.concatenate(([6.0], size[:-1] - 74.0)) + 0.01 * chance.standard_normal(400),
    }
    found = dose_lag_evidence(columns)
    assert not isinstance(found, Undetermined)
    assert found.lag == 1
    assert found.ratio > 3.0 > found.needed
    assert found.scatter[1] < found.scatter[0]
    short = dose_lag_evidence({name: column[:20] for name, column in columns.items()})
    assert isinstance(short, Undetermined)
    assert short.reason.endswith("of 30 differences of consecutive shots needed")
