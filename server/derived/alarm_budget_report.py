"""How the alarm budget stands: promised and seen for each press, who spends it, what it costs in delay."""

import dataclasses
import json
import statistics
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.contract import BUDGETED
from server.derived.alarm_budget import budget_of, plan_of_record
from server.maths.alarm_budget import (
    CHART_SHARE,
    WEEK_S,
    Budget,
    ChartPlan,
    Plan,
    plan_charts,
    shots_to_find,
    widened,
)
from server.maths.watch_charts import LEARNS, SPEAKS_FROM
from server.store.alarm_budget import alarms_opened, findings_by_signal, shots_run
from server.store.page_queries import accepted_presses, baselines_in_force, document

#: How far back what was seen is counted.
LOOKS_BACK_MS: Final = 8 * 7 * 86_400_000
#: Kinds of alarm that spend the part of the budget the charts are given.
CHART_ALARMS: Final = ("shift", "scatter")
#: Moves a budget is judged by, in sigma, and budgets beside the plant's own, as factors of it.
MOVES: Final = (0.5, 1.0, 2.0)
FACTORS: Final = (0.25, 0.5, 1.0, 2.0, 4.0)


@dataclasses.dataclass(frozen=True)
class PressBudget:
    """A press: what its charts may spend, what they spent, and how much they have learnt.

    weeks: running time looked back on, in weeks round the clock. promised: false alarms a week of all
    charts (None without a record). opened: alarms of charts; called_not_real: of them. wider: factor on
    the limits for what is not learnt yet, 1 when all is. stage: no_record, learning, speaking, complete.
    """

    press_id: int
    press: str
    name: str
    stage: str
    groups: int
    weeks: float
    promised: float | None
    opened: int
    called_not_real: int
    wider: float
    found: Mapping[str, int]

    @property
    def seen(self) -> float | None:
        """Alarms a week of running time; None below half a week."""
        return self.opened / self.weeks if self.weeks >= 0.5 else None


@dataclasses.dataclass(frozen=True)
class SignalSpend:
    """What one chart may spend in all presses together, and how often it found something."""

    signal: str
    kind: str
    presses: int
    promised: float
    found: int


@dataclasses.dataclass(frozen=True)
class Cost:
    """A budget, and the shots a move then takes to be found: {sigma: shots}. own: the plant's."""

    per_press_week: float
    shots: Mapping[float, float]
    own: bool


@dataclasses.dataclass(frozen=True)
class BudgetReport:
    """The whole. per_week: what all presses may raise together while they all run."""

    budget: Budget
    governed_by: str
    chart_share: float
    presses: tuple[PressBudget, ...]
    signals: tuple[SignalSpend, ...]
    costs: tuple[Cost, ...]
    phi: float
    cycle_s: float

    @property
    def per_week(self) -> float:
        return sum(one.promised or 0.0 for one in self.presses)

    @property
    def weeks(self) -> float:
        return sum(one.weeks for one in self.presses)

    @property
    def opened(self) -> int:
        return sum(one.opened for one in self.presses)

    @property
    def called_not_real(self) -> int:
        return sum(one.called_not_real for one in self.presses)


def report_budget(connection: sa.Connection, settings: Mapping[str, Any], *, now_ms: int) -> BudgetReport:
    """Read and compute everything."""
    rows = accepted_presses(connection)
    budget = budget_of(settings, presses=len(rows))
    records = baselines_in_force(connection)
    since_ms = now_ms - LOOKS_BACK_MS
    found = findings_by_signal(connection, BUDGETED, since_ms=since_ms)
    opened = alarms_opened(connection, CHART_ALARMS, since_ms=since_ms)
    run = shots_run(connection, since_ms=since_ms)
    plans: dict[int, Plan] = {}
    presses = []
    for row in rows:
        press_id, record = row["press_id"], records.get(row["press_id"])
        plan = None if record is None else _plan(document(record["signals"]), budget)
        if plan is not None:
            plans[press_id] = plan
        presses.append(
            _press(
                row,
                plan,
                shots=run.get(press_id, 0),
                opened=opened.get(press_id, (0, 0)),
                found={signal: n for (one, signal, _), n in found.items() if one == press_id},
            )
        )
    charts = [chart for plan in plans.values() for chart in plan.charts]
    phi = statistics.median([max(0.0, chart.phi) for chart in charts]) if charts else 0.0
    cycle_s = statistics.median([plan.cycle_s for plan in plans.values()]) if plans else 20.0
    return BudgetReport(
        budget=budget,
        governed_by="press" if budget.per_press_week <= budget.share_of_plant else "plant",
        chart_share=CHART_SHARE,
        presses=tuple(presses),
        signals=_signals(charts, found),
        costs=tuple(_cost(budget.per_press * factor, phi, cycle_s, own=factor == 1.0) for factor in FACTORS),
        phi=phi,
        cycle_s=cycle_s,
    )


def _plan(kept: Mapping[str, Any], budget: Budget) -> Plan:
    cycle_s = float(kept.get("cycle_ms") or 0.0) / 1000.0
    return plan_of_record(kept["signals"], per_press=budget.per_press, cycle_s=cycle_s)


def _press(
    row: Mapping[str, Any],
    plan: Plan | None,
    *,
    shots: int,
    opened: tuple[int, int],
    found: Mapping[str, int],
) -> PressBudget:
    watching = json.loads(row["watching"] or "{}")
    groups = int(watching.get("groups", 0))
    width = max((chart.width for chart in plan.charts), default=4.2) if plan else 4.2
    return PressBudget(
        press_id=row["press_id"],
        press=row["press"],
        name=row["name"],
        stage=_stage(watching, has_record=plan is not None),
        groups=groups,
        weeks=shots * (plan.cycle_s if plan else 0.0) / WEEK_S,
        promised=plan.per_week if plan else None,
        opened=opened[0],
        called_not_real=opened[1],
        wider=widened(width, groups=float(groups)) if groups >= SPEAKS_FROM else 0.0,
        found=found,
    )


def _stage(watching: Mapping[str, Any], *, has_record: bool) -> str:
    if not has_record:
        return "no_record"
    if not watching.get("speaks"):
        return "learning"
    return "complete" if watching.get("complete") and watching.get("groups", 0) >= LEARNS else "speaking"


def _signals(charts: list[ChartPlan], found: Mapping[tuple[int, str, str], int]) -> tuple[SignalSpend, ...]:
    of_kind = {"level": BUDGETED[0], "scatter": BUDGETED[1]}
    spends = []
    for key in dict.fromkeys((chart.signal, chart.kind) for chart in charts):
        own = [chart for chart in charts if (chart.signal, chart.kind) == key]
        rule = of_kind[key[1]]
        count = sum(n for (_, signal, one), n in found.items() if (signal, one) == (key[0], rule))
        spends.append(SignalSpend(key[0], key[1], len(own), sum(one.per_week for one in own), count))
    return tuple(spends)


def _cost(per_press: float, phi: float, cycle_s: float, *, own: bool) -> Cost:
    """Shots a usual press of this plant takes to find a move of one signal under a budget."""
    plan = plan_charts([("swept_mm", "level", phi)] * 6, per_press=per_press, cycle_s=cycle_s)
    chart = plan.charts[0]
    shots = {
        move: shots_to_find(
            shift=move, phi=phi, weight=chart.weight, width=chart.width, grouping=plan.grouping
        )
        for move in MOVES
    }
    return Cost(per_press, shots, own)
