"""Completeness from counters, the press's clock, and sensors that stand still."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from server.maths.results import Undetermined
from server.valve.data_quality import clock_drift, completeness, sensor_state, sensor_states

CYCLE = 20_000


def of(counters: list[int], times: list[int] | None = None, days: list[int] | None = None):  # type: ignore[no-untyped-def]  # a builder
    at = np.array(times or [i * CYCLE for i in range(len(counters))])
    return completeness(at, np.array(counters), np.array(days or [0] * len(counters)))


def test_missing_counters_are_missing_shots_of_the_day_after_the_gap() -> None:
    found = of([1, 2, 5, 6, 9], [0, CYCLE, 4 * CYCLE, 5 * CYCLE, 8 * CYCLE], [0, 0, 1, 1, 2])
    assert [(day.stored, day.expected) for day in found.days] == [(2, 2), (2, 4), (1, 3)]
    assert [(gap.from_counter, gap.to_counter, gap.missing) for gap in found.gaps] == [(2, 5, 2), (6, 9, 2)]
    assert found.share == pytest.approx(5 / 9)


def test_a_reset_counter_and_one_set_by_hand_miss_nothing() -> None:
    found = of([998, 999, 1, 2, 500_000, 500_001])
    assert found.share == 1.0
    assert (found.days[0].resets, found.days[0].leaps) == (1, 1)
    assert found.gaps == ()


def test_a_long_gap_with_as_many_counts_as_time_for_them_is_missing() -> None:
    found = of([1, 2, 3, 2003], [0, CYCLE, 2 * CYCLE, 2002 * CYCLE])
    assert found.gaps[0].missing == 1999


def test_no_shots_is_no_incomplete_day() -> None:
    assert completeness(np.array([]), np.array([]), np.array([])).share == 1.0


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=60))
def test_stored_is_never_more_than_expected(counters: list[int]) -> None:
    found = of(counters)
    assert sum(day.stored for day in found.days) == len(counters)
    assert 0.0 < found.share <= 1.0


@pytest.mark.parametrize(
    ("lags", "ahead", "behind", "drifting"),
    [
        ([200, 210, 190], False, False, False),
        ([-5000, -5000, -5000], True, False, False),
        ([90_000, 90_000], False, True, False),
        ([0, 3000, 6000, 9000], False, False, True),
    ],
)
def test_the_clock_is_judged_by_its_best_reading(
    lags: list[int], ahead: bool, behind: bool, drifting: bool
) -> None:
    found = clock_drift(np.arange(len(lags)), np.array(lags))
    assert not isinstance(found, Undetermined)
    assert (found.is_ahead, found.is_behind, found.is_drifting) == (ahead, behind, drifting)
    assert found.offset_ms == lags[-1]


def test_without_a_live_shot_the_clock_cannot_be_told() -> None:
    assert isinstance(clock_drift(np.array([]), np.array([])), Undetermined)


MOVING = 6.0 + np.round(0.05 * np.random.default_rng(2).standard_normal(400), 2)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        (MOVING, "alive"),
        (np.concatenate((MOVING, np.full(60, 6.01))), "stuck"),
        (np.concatenate((MOVING, np.full(10, 6.01))), "alive"),
        (np.full(400, 0.0), "constant"),
        # A tight press: most neighbours are equal, and that is no stuck sensor.
        (np.where(np.random.default_rng(4).random(2000) < 0.02, 6.01, 6.0), "coarse"),
    ],
)
def test_a_sensor_that_stands_still_is_told_from_a_tight_press(values: np.ndarray, verdict: str) -> None:
    found = sensor_state(values)
    assert not isinstance(found, Undetermined)
    assert found.verdict == verdict


def test_too_few_readings_say_nothing() -> None:
    assert isinstance(sensor_state(np.arange(10.0)), Undetermined)
    assert sensor_states({"drift_mm": np.full(100, np.nan)}) == {}


@given(hnp.arrays(np.float64, st.integers(0, 300), elements=st.sampled_from([0.0, 1.0, 2.5, np.nan])))
def test_any_readings_are_judged(values: np.ndarray) -> None:
    sensor_state(values)
