"""The alarm budget, as a page and as data."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.derived.alarm_budget_report import PressBudget, report_budget
from server.routes.calls import allow, objects_of
from server.routes.pages import page_answer
from server.show.build_alarm_budget import build_alarm_budget
from server.store.plant import read_settings

router = APIRouter()


@router.get("/alarm-budget", include_in_schema=False)
def alarm_budget_page(request: Request) -> Response:
    return page_answer(request, "alarm_budget.html", build_alarm_budget)


@router.get("/api/v1/alarm-budget", tags=["alarms"])
def get_alarm_budget(request: Request) -> dict[str, Any]:
    """False alarms promised and alarms seen, by press and by chart; what other budgets cost in shots.

    Rates are per week of running round the clock, over the last eight weeks. `wider`: factor on the
    limits of a press for what is not learnt of it yet (null while it learns).
    """
    allow(request, "read")
    objects = objects_of(request)
    with objects.store.read() as connection:
        report = report_budget(connection, read_settings(connection), now_ms=objects.now_ms())
    return {
        "per_shift": report.budget.per_shift,
        "per_press_week": report.budget.per_press_week,
        "governed_by": report.governed_by,
        "promised_per_press_week": report.budget.per_press,
        "chart_share": report.chart_share,
        "promised_per_week": report.per_week,
        "running_weeks": report.weeks,
        "opened": report.opened,
        "called_not_real": report.called_not_real,
        "presses": [_press(one) for one in report.presses],
        "charts": [
            {
                "signal": one.signal,
                "kind": one.kind,
                "presses": one.presses,
                "promised_per_week": one.promised,
                "found": one.found,
            }
            for one in report.signals
        ],
        "costs": [
            {
                "per_press_week": cost.per_press_week,
                "own": cost.own,
                "shots_to_find": {f"{move:g}_sigma": shots for move, shots in cost.shots.items()},
            }
            for cost in report.costs
        ],
    }


def _press(one: PressBudget) -> dict[str, Any]:
    return {
        "press": one.press,
        "stage": one.stage,
        "groups": one.groups,
        "running_weeks": one.weeks,
        "promised_per_week": one.promised,
        "seen_per_week": one.seen,
        "opened": one.opened,
        "called_not_real": one.called_not_real,
        "wider": one.wider or None,
        "found": dict(one.found),
    }
