"""Changing a valve against waiting: worked out by hand, and its break-even."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidError
from server.valve.change_cost import CostFigures, compare_costs

FIGURES = CostFigures(
    change=2_000, needless=900, failure=6_000, scrap_per_1000=50, shots_between_stops=20_000
)


def test_both_costs_are_the_expectations_of_a_small_tree() -> None:
    """p 0.3, q 0.1: change 0.3*2000 + 0.7*900; wait 0.3*(50*20 + 6000) + 0.7*0.1*6000 (by hand)."""
    found = compare_costs(FIGURES, likelihood=0.3, fails_meanwhile=0.1)
    assert (found.change, found.wait) == pytest.approx((1_230.0, 2_520.0))
    assert found.needless_share == pytest.approx(630.0)
    assert found.cheaper == "change"


def test_a_sound_valve_is_left_in() -> None:
    assert compare_costs(FIGURES, likelihood=0.01, fails_meanwhile=0.0).cheaper == "wait"


@given(st.floats(0.0, 1.0), st.floats(0.0, 0.14))
def test_at_the_break_even_both_cost_the_same(likelihood: float, fails: float) -> None:
    found = compare_costs(FIGURES, likelihood=likelihood, fails_meanwhile=fails)
    assert found.break_even is not None
    there = compare_costs(FIGURES, likelihood=found.break_even, fails_meanwhile=fails)
    assert there.change == pytest.approx(there.wait)


def test_where_a_failure_costs_no_more_than_a_change_it_is_never_cheaper_to_change() -> None:
    cheap = CostFigures(change=2_000, needless=900, failure=1_500, scrap_per_1000=0, shots_between_stops=1)
    assert compare_costs(cheap, likelihood=1.0, fails_meanwhile=0.0).break_even is None


def test_where_a_needless_pull_costs_nothing_changing_is_always_cheaper() -> None:
    free = dataclasses.replace(FIGURES, needless=0.0)
    found = compare_costs(free, likelihood=0.01, fails_meanwhile=0.0)
    assert (found.break_even, found.cheaper) == (0.0, "change")


@pytest.mark.parametrize(
    ("figures", "asked", "field"),
    [
        (dataclasses.replace(FIGURES, change=-1.0), {}, "change"),
        (dataclasses.replace(FIGURES, failure=float("inf")), {}, "failure"),
        (FIGURES, {"likelihood": 1.1}, "likelihood"),
        (FIGURES, {"fails_meanwhile": -0.1}, "fails_meanwhile"),
    ],
)
def test_what_cannot_be_is_refused(figures: CostFigures, asked: dict[str, float], field: str) -> None:
    with pytest.raises(InvalidError) as caught:
        compare_costs(figures, **{"likelihood": 0.5, "fails_meanwhile": 0.0, **asked})
    assert caught.value.field == field
