"""The charts within the alarm budget as a fold: any cutting gives the same, known changes call nobody."""

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.contract import LEVEL_MOVED, SCATTER_GROWN, WATCHED_LEVELS
from server.derived.alarm_budget import plan_of_record
from server.evaluate.watch_memory import WatchState
from server.evaluate.watching import DOSE_ONLY, EVERY_LEVEL, Watched, WatchedRecord, entered, summary, watch

LEVELS = len(WATCHED_LEVELS)
CYCLE_MS = 20_000
#: Enough shots for the charts to have learnt for a week.
WEEK = 7 * 24 * 180 + 100
RECORD = WatchedRecord(np.full(LEVELS, 50.0), np.full(LEVELS, 0.1))
PLAN = plan_of_record(
    {name: {"sigma": 0.1, "phi": 0.0} for name in WATCHED_LEVELS}, per_press=0.2, cycle_s=20.0
)


def history(count: int, *, seed: int = 2) -> np.ndarray[Any, np.dtype[np.float64]]:
    return 50.0 + 0.1 * np.random.default_rng(seed).standard_normal((count, LEVELS))


def folded(
    values: np.ndarray[Any, np.dtype[np.float64]],
    *,
    cuts: list[int] | None = None,
    changes: dict[int, int] | None = None,
    state: WatchState | None = None,
) -> Watched:
    n = len(values)
    at_ms = 1_000_000 + CYCLE_MS * np.arange(n)
    bits = np.zeros(n, dtype=np.int64)
    for place, bit in (changes or {}).items():
        bits[place] = bit
    usable = np.arange(n) % 97 != 5
    result = Watched(state or entered(WatchState(), 1, anew=False), [], {})
    touched = []
    for a, b in itertools.pairwise(sorted({0, n, *(cuts or [])})):
        result = watch(
            result.state,
            {"at_ms": at_ms[a:b], "counter": np.arange(a, b)},
            values[a:b],
            usable=usable[a:b],
            changes=bits[a:b],
            record=RECORD,
            plan=PLAN,
            open_before=result.still_open,
        )
        touched += result.touched
    return Watched(result.state, touched, result.still_open)


def bits_of(watched: Watched) -> dict[str, bytes]:
    return {name: value.tobytes() for name, value in watched.state.to_arrays().items()}


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(1, 1999), max_size=8))
def test_any_cutting_gives_the_same_bits(cuts: list[int]) -> None:
    values = history(2000)
    values[1500:, 0] += 0.2
    changes = {700: EVERY_LEVEL, 1200: DOSE_ONLY}
    whole, cut = folded(values, changes=changes), folded(values, cuts=cuts, changes=changes)
    assert bits_of(whole) == bits_of(cut)
    assert whole.still_open == cut.still_open


def test_what_is_carried_survives_being_kept() -> None:
    state = entered(folded(history(900)).state, 2, anew=False)
    again = WatchState.from_arrays(state.to_arrays())
    assert bits_of(Watched(again, [], {})) == bits_of(Watched(state, [], {}))
    assert list(again.memories) == [1]


@pytest.fixture(scope="module")
def learnt() -> WatchState:
    return folded(history(WEEK)).state


def test_a_moved_level_is_found_and_stays_an_episode(learnt: WatchState) -> None:
    values = history(600, seed=5)
    values[:, 0] += 0.15
    moved = _after(learnt, values)
    assert set(moved.still_open) == {("swept_mm", LEVEL_MOVED)}
    one = moved.still_open["swept_mm", LEVEL_MOVED]
    assert one.extreme == pytest.approx(1.5, abs=0.4)
    assert one.from_ms <= one.to_ms


def test_grown_scatter_is_found_as_scatter(learnt: WatchState) -> None:
    values = history(900, seed=6)
    values[:, 0] = 50.0 + 2.0 * (values[:, 0] - 50.0)
    assert ("swept_mm", SCATTER_GROWN) in _after(learnt, values).still_open


def test_a_level_that_moves_with_a_known_change_calls_nobody(learnt: WatchState) -> None:
    values = history(900, seed=7)
    values += 1.0
    assert _after(learnt, values, changes={0: EVERY_LEVEL}).touched == []


def test_a_raised_shot_size_excuses_the_shot_size_alone(learnt: WatchState) -> None:
    values = history(600, seed=8)
    values[:, :2] += 0.3
    touched = _after(learnt, values, changes={0: DOSE_ONLY}).touched
    assert {signal for (signal, _), _ in touched} == {"swept_mm"}


def test_nothing_is_said_before_two_days_were_watched() -> None:
    values = history(3000)
    values[2000:, 0] += 0.5
    assert folded(values).touched == []


def test_another_mold_and_back_keeps_what_was_learnt(learnt: WatchState) -> None:
    back = entered(entered(learnt, 2, anew=False), 1, anew=False)
    assert back.memory.groups == learnt.memory.groups
    assert back.memory.settles.all()
    assert (back.memory.bank.freedom == learnt.memory.bank.freedom).all()


def test_scatter_that_still_signals_when_its_mold_is_back_begins_with_the_mold(learnt: WatchState) -> None:
    values = history(900, seed=6)
    values[:, 0] = 50.0 + 2.0 * (values[:, 0] - 50.0)
    away = entered(_after(learnt, values).state, 2, anew=False)
    back = _after(entered(away, 1, anew=False), values, changes={0: EVERY_LEVEL})
    begun = [one.from_ms for key, one in back.touched if key == ("swept_mm", SCATTER_GROWN)]
    assert begun
    assert min(begun) >= 1_000_000 + CYCLE_MS * WEEK


def test_another_valve_forgets_everything(learnt: WatchState) -> None:
    assert entered(learnt, 1, anew=True).memory.groups == 0


def test_the_summary_says_how_far_learning_is(learnt: WatchState) -> None:
    young = summary(entered(WatchState(), 1, anew=False), plan=PLAN, restart_left=3, now_ms=0)
    assert (young["speaks"], young["complete"], young["restart_left"]) == (False, False, 3)
    old = summary(learnt, plan=PLAN, restart_left=0, now_ms=1_000_000 + CYCLE_MS * WEEK)
    assert (old["speaks"], old["complete"], old["active"]) == (True, True, [])


def _after(
    state: WatchState,
    values: np.ndarray[Any, np.dtype[np.float64]],
    *,
    changes: dict[int, int] | None = None,
) -> Watched:
    """More shots after what was learnt."""
    n = len(values)
    bits = np.zeros(n, dtype=np.int64)
    for place, bit in (changes or {}).items():
        bits[place] = bit
    return watch(
        state,
        {"at_ms": 1_000_000 + CYCLE_MS * (WEEK + np.arange(n)), "counter": WEEK + np.arange(n)},
        values,
        usable=np.ones(n, dtype=bool),
        changes=bits,
        record=RECORD,
        plan=PLAN,
        open_before={},
    )
