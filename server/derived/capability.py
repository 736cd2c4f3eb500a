"""How well one press makes a mold's part: the one judgement that pages and the API share.

The newest shots of a stretch, 20,000 at most, of the set-ups the mold ran with; stability before
capability, and every interval with the autocorrelation that was seen in the same values.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.values import read_values
from server.maths.assessment import Assessment, assess
from server.store import questions
from server.store.plant import press_by_id

#: The newest shots of a press that its capability rests on.
SHOTS_MAX: Final = 20_000


@dataclasses.dataclass(frozen=True)
class DrawingLimits:
    """Limits of the drawing and the target, in the unit of the signal; none is ever made up."""

    lower: float | None = None
    upper: float | None = None
    target: float | None = None

    def known(self) -> bool:
        return self.lower is not None or self.upper is not None


@dataclasses.dataclass(frozen=True)
class PressCapability:
    """Values known of a signal in order of time (at_ms int64 [n], values float64 [n]), and what they say."""

    at_ms: NDArray[np.int64]
    values: NDArray[np.float64]
    found: Assessment


def press_capability(
    connection: sa.Connection,
    press_id: int,
    *,
    signal: str,
    setup_ids: Sequence[int],
    limits: DrawingLimits,
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> PressCapability:
    """The newest `SHOTS_MAX` shots of the stretch, `from_ms` inclusive, `to_ms` exclusive."""
    row: Any = questions.press_with_state(connection, press_id)
    read = read_values(
        connection,
        press_by_id(connection, press_id),
        signal=signal,
        dose_lag=int(row["dose_lag_found"] or 0),
        from_ms=from_ms,
        to_ms=to_ms,
        limit=SHOTS_MAX,
        setup_ids=setup_ids,
    )
    # Weights are often taken of every tenth shot: neighbours are the values measured one after the other.
    known = np.isfinite(read.values)
    values = read.values[known]
    found = assess(values, lower=limits.lower, upper=limits.upper, target=limits.target)
    return PressCapability(read.at_ms[known], values, found)
