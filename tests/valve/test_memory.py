"""The long memory: the same however blocks come in, bounded, and true to the history."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.valve.blocks import PRESENT, SIGNALS, SWEPT, WIDTH, Reference
from server.valve.memory import FACTS, PIECE, PIECES, Memory, take

_SIXTY = np.full(len(SIGNALS), 60.0)
RECORD = Reference(_SIXTY, _SIXTY, _SIXTY, 0.0)


def rows(n: int, *, seed: int, rise: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    made = np.zeros((n, WIDTH))
    made[:, SWEPT] = 60.0 + 0.02 * rng.standard_normal(n) + np.linspace(0, rise, n)
    made[:, PRESENT] = 1.0
    made[rng.random(n) < 0.05, PRESENT] = 0.0
    return made


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, 1500), max_size=6), st.integers(0, 99))
def test_any_cutting_gives_the_same_bits(cuts: list[int], seed: int) -> None:
    whole = rows(1500, seed=seed)
    memory, facts = take(Memory.empty(), whole, reference=RECORD)
    parts, state = [], Memory.empty()
    ends = [0, *sorted(cuts), 1500]
    for lo, hi in itertools.pairwise(ends):
        state, told = take(Memory.from_arrays(state.to_arrays()), whole[lo:hi], reference=RECORD)
        parts.append(told)
    assert np.concatenate(parts).tobytes() == facts.tobytes()
    for name, value in memory.to_arrays().items():
        assert value.tobytes() == state.to_arrays()[name].tobytes(), name


@pytest.mark.parametrize("blocks", [100, 639, 640, 5_000, 40_000])
def test_pieces_stay_bounded_and_keep_every_block(blocks: int) -> None:
    made = rows(blocks, seed=1)
    memory, _ = take(Memory.empty(), made, reference=RECORD)
    assert len(memory.pieces) < PIECES
    counted = memory.pieces[:, 1].sum() + memory.begun[1]
    assert counted == made[:, PRESENT][:, SWEPT].sum()
    assert memory.width == PIECE * 2 ** max(0, int(np.ceil(np.log2((blocks + 1) / (PIECE * PIECES)))))


def told(blocks: np.ndarray) -> dict[str, float]:
    facts = take(Memory.empty(), blocks, reference=RECORD)[1]
    return dict(zip(FACTS, facts[-1].tolist(), strict=True))


def test_a_rise_is_told_with_its_order_and_a_step_is_not_gradual() -> None:
    slow = told(rows(4000, seed=2, rise=1.2))
    stepped = rows(4000, seed=2)
    stepped[2000:, SWEPT] += 1.2
    step = told(stepped)
    assert slow["long_rise_pct"] == pytest.approx(100 * 1.2 * 2 / 3 / 60, abs=0.1)
    assert slow["long_order"] > 0.95
    assert slow["long_gradual"] > 0.8
    assert step["long_gradual"] < 0.6
    assert step["long_order"] < slow["long_order"]
