"""Changes of set-points that the shots of a press report by themselves."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.derived.set_points import as_event
from server.evaluate.carry import Carry
from server.evaluate.context import Context, Watch
from server.store.plant import Setup

UNKNOWN = "{}"


def set_point_changes(
    carry: Carry, shots: Mapping[str, NDArray[Any]], context: Context, watch: Watch | None
) -> tuple[list[int], list[dict[str, Any]]]:
    """Positions of shots made with other set-points than known before, and the events to record.

    Within a mold and material each shot is compared with the one before it. When a mold comes back, the
    shots of another mold before it say nothing: it is compared with the set-points of its startup record,
    so that a leak that came meanwhile is not taken for a change of settings. An event is recorded
    where the press reported set-points before and after, and of the same mold.
    """
    ids = shots["setup_id"]
    earlier = np.concatenate(([carry.setup_id if carry.setup_id >= 0 else ids[0]], ids[:-1]))
    positions: list[int] = []
    events: list[dict[str, Any]] = []
    for position in np.flatnonzero(earlier != ids).tolist():
        one, other = context.setups.get(int(earlier[position])), context.setups.get(int(ids[position]))
        if one is None or other is None:
            continue
        same = (one.mold, one.material) == (other.mold, other.material)
        before = one.setpoints if same or watch is None or watch.setpoints is None else watch.setpoints
        if before == other.setpoints:
            continue
        positions.append(position)
        if same and UNKNOWN not in (before, other.setpoints):
            events.append(_event(shots, position, one, other))
    return positions, events


def _event(shots: Mapping[str, NDArray[Any]], position: int, one: Setup, other: Setup) -> dict[str, Any]:
    setting, was, became = as_event(one.setpoints, other.setpoints)
    return {
        "at_ms": int(shots["at_ms"][position]),
        "kind": "setting",
        "setting": setting,
        "from_value": was,
        "to_value": became,
    }
