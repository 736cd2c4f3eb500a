"""The whole history since the record in at most 32 equal pieces: what wear over weeks is seen by.

A piece begins as 20 blocks (100 shots); whenever 32 are full, neighbours are joined and pieces are
twice as long from then on. What is kept depends on the blocks since the record alone, not on how they
came in.
"""

import dataclasses
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import BLOCK, HIGH_TAIL, LOW_TAIL, PRESENT, SWEPT, Reference

Floats = NDArray[np.float64]

#: Blocks in a piece at first, and pieces kept.
PIECE: Final = 20
PIECES: Final = 32
#: Pieces needed before a course can be told.
_NEEDED: Final = 5
#: Columns of a piece: sum of block medians of the swept stroke, blocks that had one, shots that fell
#: out low, shots that fell out high.
_SUM, _COUNT, _LOW, _HIGH = range(4)
COLUMNS: Final = 4

#: Facts drawn from it, see `facts`.
FACTS: Final[tuple[str, ...]] = (
    "long_rise_pct",
    "long_order",
    "long_gradual",
    "long_low_per_100",
    "long_low_sided",
    "long_shots",
)


@dataclasses.dataclass(frozen=True)
class Memory:
    """pieces [p, 4], p < 32, each of `width` blocks; begun [4], blocks: the piece not yet full."""

    pieces: Floats
    begun: Floats
    blocks: int
    width: int

    @staticmethod
    def empty() -> "Memory":
        """Before the first block."""
        return Memory(np.empty((0, COLUMNS)), np.zeros(COLUMNS), 0, PIECE)

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        """As named arrays, to be stored."""
        counts = np.array([self.blocks, self.width], dtype=np.int64)
        return {"memory_pieces": self.pieces, "memory_begun": self.begun, "memory_counts": counts}

    @staticmethod
    def from_arrays(arrays: Any) -> "Memory":
        """The memory of `to_arrays`, bit for bit.

        >>> Memory.from_arrays(Memory.empty().to_arrays()).width
        20
        """
        blocks, width = (int(x) for x in arrays["memory_counts"])
        return Memory(
            pieces=np.asarray(arrays["memory_pieces"], dtype=np.float64).reshape(-1, COLUMNS),
            begun=np.asarray(arrays["memory_begun"], dtype=np.float64),
            blocks=blocks,
            width=width,
        )


def take(memory: Memory, rows: Floats, *, reference: Reference) -> tuple[Memory, Floats]:
    """The memory after more block rows [k, WIDTH] and the facts at each of them, [k, len(FACTS)].

    Facts change where a piece becomes full, and are as before in between.

    >>> from server.valve.blocks import SIGNALS, WIDTH
    >>> rows = np.zeros((130, WIDTH))
    >>> rows[:, 0], rows[:, PRESENT] = 60.0 + 0.01 * np.arange(130), 1.0
    >>> record = Reference(*np.full((3, len(SIGNALS)), 60.0), 0.0)
    >>> after, facts = take(Memory.empty(), rows, reference=record)
    >>> after.pieces.shape, facts[-1, :2].round(2).tolist(), bool(np.isnan(facts[98, 0]))
    ((6, 4), [1.33, 1.0], True)
    """
    known = rows[:, PRESENT][:, SWEPT]
    columns = np.stack([rows[:, SWEPT] * known, known, rows[:, LOW_TAIL], rows[:, HIGH_TAIL]], axis=1)
    found = np.empty((len(rows), len(FACTS)))
    now = facts(memory, reference=reference)
    done = 0
    while done < len(rows):
        more = min(memory.width - memory.blocks, len(rows) - done)
        memory = _with(memory, columns[done : done + more])
        found[done : done + more] = now
        if memory.blocks == 0:
            now = facts(memory, reference=reference)
            found[done + more - 1] = now
        done += more
    return memory, found


def _with(memory: Memory, blocks: Floats) -> Memory:
    """The memory after blocks [k, 4] that fill the piece begun at most; added one after the other."""
    begun = np.cumsum(np.concatenate([memory.begun[None, :], blocks]), axis=0)[-1]
    count = memory.blocks + len(blocks)
    if count < memory.width:
        return Memory(memory.pieces, begun, count, memory.width)
    pieces, width = np.concatenate([memory.pieces, begun[None, :]]), memory.width
    if len(pieces) == PIECES:
        pieces, width = pieces[0::2] + pieces[1::2], 2 * width
    return Memory(pieces, np.zeros(COLUMNS), 0, width)


def facts(memory: Memory, *, reference: Reference) -> Floats:
    """[len(FACTS)]; NaN where it cannot be said.

    long_rise_pct: rise from the first third of the history to its last, of the record. long_order:
    how surely later pieces stand above earlier ones, -1 to 1 (Kendall's tau; source: Kendall 1938,
    memory). long_gradual: 1 - (largest step between neighbours) / (that rise), 0 without a rise.
    long_low_per_100: shots fallen out low in a hundred; long_low_sided: their excess over high ones
    in units of its chance scatter. long_shots: shots in the history.
    """
    pieces = memory.pieces
    seen = float(pieces[:, _COUNT].sum())
    told = np.full(len(FACTS), np.nan)
    told[5] = BLOCK * memory.width * len(pieces)
    if seen >= PIECE:
        low, high = float(pieces[:, _LOW].sum()), float(pieces[:, _HIGH].sum())
        told[3] = 100.0 * low / (BLOCK * seen)
        told[4] = (low - high) / np.sqrt(low + high + 1.0)
    means = pieces[pieces[:, _COUNT] >= 0.5 * memory.width]
    if len(means) < _NEEDED:
        return told
    level = means[:, _SUM] / means[:, _COUNT]
    third = len(level) // 3
    risen = float(level[-third:].sum() - level[:third].sum()) / third
    step = float(np.max(level[1:] - level[:-1]))
    pairs = np.sign(level[None, :] - level[:, None])
    order = float(np.triu(pairs, 1).sum()) / (0.5 * len(level) * (len(level) - 1))
    told[0] = 100.0 * risen / reference.center[SWEPT]
    told[1] = order
    told[2] = 1.0 - step / risen if risen > step else 0.0
    return told
