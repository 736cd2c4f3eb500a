"""Judgements as soon as three of the last five shots are gross: what stops shutting waits for no block's end.

Blocks stay as they are; what is made here is one more row, of the last shots from the first gross one on,
wherever in a block that is. It stands behind the blocks that ended before it: a block some of whose shots
it takes is left out there, so that no shot is counted twice.
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
#: Of the last shots, at most as many as a block has, so many must be gross; so is the first and the last.
FEWEST: Final = 3
#: Shots before an unfinished block that a further row may reach back to.
REACH: Final = BLOCK - 1


@dataclasses.dataclass(frozen=True)
class Early:
    """A further row [WIDTH] of the shots up to number `at`, with `before` whole blocks that end before them.

    done: blocks that ended up to then, those included whose shots the row takes.
    """

    at: int
    before: int
    done: int
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
    first: int,
    judged: int,
    reference: Reference,
    offset: Floats,
    reached: int = 0,
) -> list[Early]:
    """Further rows of consecutive usable shots [n, S] whose blocks begin `reached` shots later.

    rows [n // 5, WIDTH] and before [WIDTH]: their blocks, and the one before them, known changes taken
    out. Numbers of shots and blocks count from where the blocks begin, so that shots before have
    negative ones. first: no row takes a shot before this one; judged: how many of the shots were there
    before. Only while the last block that ended was not gross: after that the news is old.
    """
    gross = gross_shots(shots, reference=reference, offset=offset)
    found: list[Early] = []
    if np.count_nonzero(gross) < FEWEST:
        return found
    old = gross_blocks(np.concatenate([before[None, :], rows]), reference=reference, offset=offset)
    for last in (np.flatnonzero(gross) - reached).tolist():
        done = (last + 1) // BLOCK
        if last < judged or (last + 1) % BLOCK == 0 or old[done]:
            continue
        lowest = max(last - BLOCK + 1, first, -reached)
        near = lowest + np.flatnonzero(gross[lowest + reached : last + reached + 1])
        if len(near) >= FEWEST:
            begin = int(near[0])
            row = _row(shots[begin + reached : last + reached + 1], reference)
            found.append(Early(last, begin // BLOCK, done, row))
    return found


def _row(shots: Floats, reference: Reference) -> Floats:
    padded = np.full((BLOCK, shots.shape[1]), np.nan)
    padded[: len(shots)] = shots
    row: Floats = summarise(padded, reference=reference)[0]
    row[AT_BOTTOM] *= BLOCK / len(shots)
    return row
