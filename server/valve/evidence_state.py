"""What evidence carries from shot to shot: block rows, what known changes moved, and the long memory."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import SIGNALS, WIDTH
from server.valve.features import LEVELS, LONG
from server.valve.memory import Memory

Floats = NDArray[np.float64]

#: Blocks of a state that are kept for the windows to come.
KEPT: Final = LONG - 1


@dataclasses.dataclass(frozen=True)
class EvidenceState:
    """What must be known of the shots before.

    partial [p, S]: usable shots of the unfinished block, p < 5. recent [r, S], r < 5: those right before
    them, as far back as a row of its own may reach (`early`). rows [199, WIDTH]: block rows with
    known changes taken out of their medians (zeros: before the first). waiting [w, WIDTH], w < 4:
    raw rows since a known change that is still being measured. offset [S]: what known changes have
    moved so far. before [S]: levels before the change being measured (NaN: none known).
    kept [LEVELS]: level facts of the last judgement. kind: change being measured (0: none).
    last: kind of the last change. since: blocks since then (-1: none yet). judged: blocks so far.
    memory: the whole history since the record, see `memory`.
    """

    partial: Floats
    recent: Floats
    rows: Floats
    waiting: Floats
    offset: Floats
    before: Floats
    kept: Floats
    kind: int
    last: int
    since: int
    judged: int
    memory: Memory

    @staticmethod
    def fresh() -> "EvidenceState":
        """The state before the first shot after a record was approved."""
        s = len(SIGNALS)
        return EvidenceState(
            partial=np.empty((0, s)),
            recent=np.empty((0, s)),
            rows=np.zeros((KEPT, WIDTH)),
            waiting=np.empty((0, WIDTH)),
            offset=np.zeros(s),
            before=np.full(s, np.nan),
            kept=np.full(len(LEVELS), np.nan),
            kind=0,
            last=0,
            since=-1,
            judged=0,
            memory=Memory.empty(),
        )

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        """The state as named arrays, to be stored; rows before the first block are left out."""
        counts = np.array([self.kind, self.last, self.since, self.judged], dtype=np.int64)
        names = ("partial", "recent", "waiting", "offset", "before", "kept")
        known = self.rows[KEPT - min(self.judged, KEPT) :]
        return {"counts": counts, "rows": known, **self.memory.to_arrays()} | {
            name: getattr(self, name) for name in names
        }

    @staticmethod
    def from_arrays(arrays: Mapping[str, NDArray[Any]]) -> "EvidenceState":
        """The state of `to_arrays`, bit for bit.

        >>> again = EvidenceState.from_arrays(EvidenceState.fresh().to_arrays())
        >>> again.judged, again.rows.shape == EvidenceState.fresh().rows.shape
        (0, True)
        """
        kind, last, since, judged = (int(x) for x in arrays["counts"])
        known = np.asarray(arrays["rows"], dtype=np.float64).reshape(-1, WIDTH)
        rows = np.zeros((KEPT, WIDTH))
        rows[KEPT - len(known) :] = known
        return EvidenceState(
            partial=np.asarray(arrays["partial"], dtype=np.float64).reshape(-1, len(SIGNALS)),
            recent=np.asarray(arrays["recent"], dtype=np.float64).reshape(-1, len(SIGNALS)),
            rows=rows,
            waiting=np.asarray(arrays["waiting"], dtype=np.float64).reshape(-1, WIDTH),
            offset=np.asarray(arrays["offset"], dtype=np.float64),
            before=np.asarray(arrays["before"], dtype=np.float64),
            kept=np.asarray(arrays["kept"], dtype=np.float64),
            kind=kind,
            last=last,
            since=since,
            judged=judged,
            memory=Memory.from_arrays(arrays),
        )
