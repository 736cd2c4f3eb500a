"""The alarm budget of a plant from its settings, and the charts of a startup record within it."""

from collections.abc import Mapping
from typing import Any, Final

from server.contract import WATCHED_LEVELS, WATCHED_SCATTERS
from server.maths.alarm_budget import Budget, Kind, Plan, plan_charts

#: Every chart there can be, in the order evaluation keeps them.
CHARTS: Final[tuple[tuple[Kind, str], ...]] = (
    *(("level", name) for name in WATCHED_LEVELS),
    *(("scatter", name) for name in WATCHED_SCATTERS),
)


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


def plan_of_record(signals: Mapping[str, Mapping[str, Any]], *, per_press: float, cycle_s: float) -> Plan:
    """The charts of a startup record: those signals that are in it.

    >>> plan = plan_of_record({"swept_mm": {"sigma": 0.1, "phi": 0.2}}, per_press=0.2, cycle_s=20.0)
    >>> [(chart.signal, chart.kind) for chart in plan.charts]
    [('swept_mm', 'level'), ('swept_mm', 'scatter')]
    """
    asked = [
        (name, kind, float(signals[name].get("phi") or 0.0))
        for kind, name in CHARTS
        if float(signals.get(name, {}).get("sigma") or 0.0) > 0.0
    ]
    return plan_charts(asked, per_press=per_press, cycle_s=cycle_s)
