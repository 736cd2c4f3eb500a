"""Doubts about a log: what opens and closes them, and that any cutting gives the same."""

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.evaluate.log_doubts import STICKING, DoubtState, look

Columns = dict[str, np.ndarray[Any, Any]]
SCATTERS = np.ones(len(STICKING), dtype=bool)


def shots(count: int, *, seed: int = 1) -> Columns:
    rng = np.random.default_rng(seed)
    return {
        "at_ms": 20_000 * np.arange(1, count + 1),
        "counter": np.arange(1, count + 1),
        "shot_size_mm": 80 + 0.1 * rng.standard_normal(count),
        "cushion_mm": 6 + 0.1 * rng.standard_normal(count),
        "peak_pressure_bar": 900 + 4.0 * rng.standard_normal(count),
        "fill_time_s": 1.4 + 0.01 * rng.standard_normal(count),
        "hold_time_s": np.full(count, 6.0),
        "cycle_time_s": np.full(count, 20.0),
    }


def looked(columns: Columns, *, cuts: list[int] | None = None) -> DoubtState:
    n, state, before = len(columns["at_ms"]), DoubtState(), -1
    for a, b in itertools.pairwise(sorted({0, n, *(cuts or [])})):
        part = {name: values[a:b] for name, values in columns.items()}
        state = look(state, part, part, counter_before=before, scatters=SCATTERS)
        before = int(part["counter"][-1])
    return state


def spoilt(kind: str) -> Columns:
    columns = shots(300)
    if kind == "wrapped":
        columns["cushion_mm"][[250, 260]] = 655.3
    elif kind == "impossible":
        columns["cushion_mm"][[250, 255, 260]] = 90.0
    elif kind == "lost":
        columns["counter"] = columns["counter"] + np.where(np.arange(300) > 200, np.arange(300) - 200, 0)
    elif kind == "other_press":
        columns["counter"][240::10] += 100_000
    elif kind == "stuck":
        columns["peak_pressure_bar"][210:] = 900.0
    return columns


@pytest.mark.parametrize("kind", ["wrapped", "impossible", "lost", "other_press", "stuck"])
def test_a_doubt_stands_when_there_is_reason(kind: str) -> None:
    assert set(looked(spoilt(kind)).document()) == {kind}


def test_a_sound_log_with_a_lost_record_and_a_reset_counter_raises_none() -> None:
    columns = shots(400)
    columns["counter"][200:] += 1
    columns["counter"][300:] -= 250
    columns["shot_size_mm"][10:20] = np.nan
    assert looked(columns).document() == {}


def test_a_doubt_goes_when_the_log_is_sound_again() -> None:
    columns = shots(500)
    columns["cushion_mm"][[250, 260]] = 655.3
    assert looked(columns).document() == {}


def test_a_constant_signal_that_never_scattered_is_not_stuck() -> None:
    columns = spoilt("stuck")
    quiet = np.array([name != "peak_pressure_bar" for name in STICKING])
    state = look(DoubtState(), columns, columns, counter_before=-1, scatters=quiet)
    assert state.document() == {}


@settings(max_examples=25, deadline=None)
@given(
    cuts=st.lists(st.integers(1, 299), max_size=10),
    kind=st.sampled_from(["wrapped", "impossible", "lost", "other_press", "stuck"]),
)
def test_any_cutting_gives_the_same(cuts: list[int], kind: str) -> None:
    whole, cut = looked(spoilt(kind)), looked(spoilt(kind), cuts=cuts)
    assert {k: v.tobytes() for k, v in whole.to_arrays().items()} == {
        k: v.tobytes() for k, v in cut.to_arrays().items()
    }


def test_what_is_carried_survives_being_kept() -> None:
    state = looked(spoilt("stuck"))
    again = DoubtState.from_arrays(state.to_arrays())
    assert again.document() == state.document()
