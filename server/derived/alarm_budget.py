"""The alarm budget of a plant from its settings."""

from collections.abc import Mapping
from typing import Any

from server.maths.alarm_budget import Budget


def budget_of(settings: Mapping[str, Any], *, presses: int) -> Budget:
    """What the plant tolerates, for as many presses as it has.

    >>> shifts = {"shifts": ["06:00", "18:00"]}
    >>> tolerated = {"alarm_budget_per_shift": 1.0, "alarm_budget_per_press_week": 0.2}
    >>> budget_of({**shifts, **tolerated}, presses=140).per_press
    0.1
    """
    return Budget(
        per_shift=float(settings["alarm_budget_per_shift"]),
        per_press_week=float(settings["alarm_budget_per_press_week"]),
        shifts_a_week=7.0 * len(settings["shifts"]),
        presses=max(1, presses),
    )
