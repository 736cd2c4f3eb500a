"""Judgements after three or four gross shots: a valve that stops shutting does not wait for a block's end.

Blocks stay as they are; what is made here is one more row, of the shots of the unfinished block alone,
so that no shot is counted twice.
"""

import dataclasses
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import (
    AT_BOTTOM,
    BLOCK,
    CUSHION,
    MEDIAN,
    PRESENT,
    SWEPT,
    Reference,
    at_bottom,
    summarise,
)

Floats = NDArray[np.float64]

#: A shot is gross when its swept stroke stands above the record by this share and this many sigma, or
#: its cushion is at bottom (common practice, no source).
GROSS_SHARE: Final = 0.025
GROSS_SIGMA: Final = 8.0
#: Shots of an unfinished block that must all be gross.
FEWEST: Final = 3


@dataclasses.dataclass(frozen=True)
class Early:
    """A further row: of the first `shots` shots of block number `block`, row [WIDTH]."""

    block: int
    shots: int
    row: Floats


def gross_shots(
    values: Floats, *, reference: Reference, offset: Floats, share: float = 1.0
) -> NDArray[np.bool_]:
    """[n] bool for values [n, S]; offset [S] is what known changes have moved, share of the leap asked for.

    >>> from server.valve.blocks import SIGNALS
    >>> center, sigma = np.full(len(SIGNALS), np.nan), np.full(len(SIGNALS), np.nan)
    >>> center[SWEPT], sigma[SWEPT] = 60.0, 0.1
    >>> shots = np.full((2, len(SIGNALS)), np.nan)
    >>> shots[:, SWEPT] = [60.1, 63.0]
    >>> record = Reference(center, sigma, np.zeros(len(SIGNALS)), 0.0)
    >>> gross_shots(shots, reference=record, offset=np.zeros(len(SIGNALS))).tolist()
    [False, True]
    """
    center = reference.center[SWEPT] + offset[SWEPT]
    least = np.fmax(GROSS_SIGMA * reference.near()[SWEPT], GROSS_SHARE * reference.center[SWEPT])
    with np.errstate(invalid="ignore"):
        leapt = values[:, SWEPT] - center > share * least
    return np.asarray(leapt | at_bottom(values[:, CUSHION], reference=reference))


def gross_blocks(rows: Floats, *, reference: Reference, offset: Floats) -> NDArray[np.bool_]:
    """[k] bool: blocks whose median is half as far or more; rows [k, WIDTH], known changes taken out."""
    values = np.where(rows[:, PRESENT] > 0, rows[:, MEDIAN] + offset[None, :], np.nan)
    return gross_shots(values, reference=reference, offset=offset, share=0.5)


def early_rows(
    shots: Floats,
    *,
    rows: Floats,
    before: Floats,
    first_block: int,
    judged: int,
    reference: Reference,
    offset: Floats,
) -> list[Early]:
    """Further rows of consecutive usable shots [n, S] that begin with a block.

    rows [n // 5, WIDTH] and before [WIDTH]: their blocks, and the one before them, known changes taken
    out. judged: how many of the shots were there before; first_block: none before this one. Only where
    the first three, or four, shots of a block are all gross and the block before was not: after
    that the news is old.
    """
    gross = gross_shots(shots, reference=reference, offset=offset)
    found: list[Early] = []
    if not gross.any():
        return found
    old = gross_blocks(np.concatenate([before[None, :], rows]), reference=reference, offset=offset)
    starts = np.arange(first_block * BLOCK, len(shots) - FEWEST + 1, BLOCK)
    begins = gross[starts] & gross[starts + 1] & gross[starts + 2]
    for block in (starts[begins] // BLOCK).tolist():
        own = gross[block * BLOCK : (block + 1) * BLOCK]
        for n in range(FEWEST, min(BLOCK - 1, len(own)) + 1):
            if own[:n].all() and not old[block] and block * BLOCK + n > judged:
                found.append(Early(block, n, _row(shots[block * BLOCK : block * BLOCK + n], reference)))
    return found


def _row(shots: Floats, reference: Reference) -> Floats:
    padded = np.full((BLOCK, shots.shape[1]), np.nan)
    padded[: len(shots)] = shots
    row: Floats = summarise(padded, reference=reference)[0]
    row[AT_BOTTOM] *= BLOCK / len(shots)
    return row
