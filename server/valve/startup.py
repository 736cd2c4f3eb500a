"""A startup record for calibration and proof, taken from signals the way the product takes one."""

from typing import Final

import numpy as np

from server.maths.baseline import phase_one
from server.maths.results import Undetermined
from server.valve.blocks import SIGNALS, SWEPT, Reference
from server.valve.signals import Derived

#: Where true bottom is taken to be while a press has not said, mm; as evaluation does.
USUAL_BOTTOM_MM: Final = 0.3
#: Fewest readings a signal needs.
_NEEDED: Final = 30


def record_of(derived: Derived, *, record: int, bottom_mm: float = USUAL_BOTTOM_MM) -> Reference | None:
    """The record of the first `record` shots: `phase_one` of each signal, restarts left out.

    None where the swept stroke has no record, as on a press with too few shots.
    """
    center, sigma, step, within = (np.full(len(SIGNALS), np.nan) for _ in range(4))
    for i, name in enumerate(SIGNALS):
        values = derived.signals[name][:record]
        if np.isfinite(values).sum() < _NEEDED:
            continue
        found = phase_one(values, excluded=derived.restart_transient[:record])
        if not isinstance(found, Undetermined):
            center[i], sigma[i], step[i] = found.center, found.sigma, found.step or 0.0
            within[i] = found.sigma_within
    if not np.isfinite(center[SWEPT]):
        return None
    return Reference(center, sigma, step, bottom_mm, within)
