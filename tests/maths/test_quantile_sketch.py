"""Sketches of quantiles: exact while few values differ, as near as promised beyond, the same bytes always."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.maths.quantile_sketch import BINS_MAX, STEP, merged, quantiles, sketches

Floats = np.ndarray[Any, np.dtype[np.float64]]
ASKED = [0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0]

_near = st.floats(5.9, 6.1)
_any = st.floats(-4e9, 4e9)
_values = st.lists(st.one_of(_near, _any, st.sampled_from([0.0, -1.0, 6.01])), min_size=1, max_size=400)


def sketch_of(values: Floats) -> bytes:
    (made,) = sketches(values, groups=np.zeros(len(values), dtype=np.int64), count=1)
    assert made is not None
    return made


def of_one(sketch: bytes | None) -> Floats:
    found: Floats = quantiles([sketch], probabilities=ASKED)[0]
    return found


def level_of(sketch: bytes) -> int:
    return sketch[0]


@given(
    st.lists(st.integers(0, BINS_MAX - 1), min_size=1, max_size=400), st.sampled_from([0.01, 0.001, 1.0, 0.1])
)
def test_rounded_values_of_few_kinds_are_kept_exactly(steps: list[int], step: float) -> None:
    values = np.round(np.array(steps) * step + 5.98, 3)
    assert of_one(sketch_of(values)) == pytest.approx(np.quantile(values, ASKED), abs=1e-9)


@given(_values)
def test_a_quantile_lies_within_half_a_bin_of_that_of_the_values(values: list[float]) -> None:
    x = np.array(values)
    made = sketch_of(x)
    half = STEP * 2.0 ** level_of(made) / 2
    # The doubles themselves are no finer than this far out.
    fine = 4 * np.spacing(np.abs(x).max()) + 1e-9
    assert of_one(made) == pytest.approx(np.quantile(x, ASKED), abs=half + fine, rel=0)


@given(_values)
def test_half_a_bin_is_no_more_than_promised_of_the_range(values: list[float]) -> None:
    x = np.rint(np.array(values) / STEP)
    made = sketch_of(np.array(values))
    if level_of(made):
        assert 2.0 ** level_of(made) / 2 <= (x.max() - x.min()) / (BINS_MAX - 1)
    else:
        assert len(np.unique(x)) <= BINS_MAX


def test_a_value_far_out_takes_nothing_from_where_the_others_lie() -> None:
    x = np.random.default_rng(8).normal(6.0, 0.05, 3_000)
    with_one = np.append(x, 900.0)
    assert level_of(sketch_of(with_one)) <= level_of(sketch_of(x)) + 1
    assert of_one(sketch_of(with_one))[1:-1] == pytest.approx(np.quantile(x, ASKED[1:-1]), abs=0.004)


@given(_values, st.integers(1, 9), st.randoms(use_true_random=False))
def test_parts_put_together_are_the_sketch_of_the_whole(
    values: list[float], parts: int, order: object
) -> None:
    """Byte for byte, whatever the parts, their order and the steps in between."""
    order.shuffle(values)  # type: ignore[attr-defined]  # a Random drawn by hypothesis
    x = np.array(values)
    whole = sketch_of(x)
    pieces = [sketch_of(one) for one in np.array_split(x, parts) if len(one)]
    at_once = merged(pieces, groups=np.zeros(len(pieces), dtype=np.int64), count=1)
    halves = merged(pieces, groups=np.arange(len(pieces)) % 2, count=2)
    in_steps = merged(
        [one for one in halves if one], groups=np.zeros(min(2, len(pieces)), dtype=np.int64), count=1
    )
    assert at_once == in_steps == [whole]


@given(_values, st.integers(1, 5))
def test_many_groups_at_once_are_each_as_alone(values: list[float], count: int) -> None:
    x = np.array(values)
    groups = (np.arange(len(x)) * 7) % count
    made = sketches(x, groups=groups, count=count)
    assert made == [sketch_of(x[groups == one]) if (groups == one).any() else None for one in range(count)]
    asked = quantiles(made, probabilities=ASKED)
    assert np.array_equal(asked, np.array([of_one(one) for one in made]), equal_nan=True)


def test_groups_of_several_sketches_are_asked_without_merging_them() -> None:
    x = np.random.default_rng(2).normal(1000.0, 4.0, 6_000)
    parts = sketches(x, groups=np.arange(6_000) // 500, count=12)
    asked = quantiles(parts, probabilities=ASKED, groups=np.arange(12) % 3, count=3)
    widest = STEP * 2.0 ** max(level_of(one) for one in parts if one)
    for group in range(3):
        mine = np.arange(6_000) // 500 % 3 == group
        assert asked[group] == pytest.approx(np.quantile(x[mine], ASKED), abs=widest / 2)


def test_what_is_not_known_stays_so() -> None:
    known = sketch_of(np.array([1.0, 2.0]))
    groups = np.array([0, 0, 1])
    assert merged([known, None, known], groups=groups, count=3) == [None, known, None]
    asked = quantiles([known, None, known], probabilities=[0.5], groups=groups, count=3)
    assert np.isnan(asked[[0, 2]]).all()
    assert asked[1, 0] == 1.5
    assert sketches(np.array([1.0, 1e12]), groups=np.array([0, 1]), count=2)[1] is None
    assert np.isnan(quantiles([None], probabilities=[0.5])).all()
    assert merged([], groups=np.empty(0, dtype=np.int64), count=1) == [None]
    assert sketches(np.empty(0), groups=np.empty(0, dtype=np.int64), count=1) == [None]


def test_rounded_shots_of_ten_minutes_take_a_byte_or_two_each() -> None:
    x = np.round(np.random.default_rng(4).normal(6.0, 0.05, 30), 2)
    assert len(sketch_of(x)) <= 40
    assert len(sketch_of(np.full(600, 1.4))) <= 11
    # However many shots, no more than what all bins take.
    assert len(sketch_of(np.random.default_rng(4).normal(6.0, 0.05, 20_000))) <= 16 + 4 * BINS_MAX
