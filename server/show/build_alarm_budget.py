"""The page of the alarm budget: promised and seen, who spends it, what more or less would cost."""

import dataclasses

import sqlalchemy as sa

from server.derived.alarm_budget_report import BudgetReport, PressBudget, report_budget
from server.maths.watch_charts import SPEAKS_FROM
from server.show.alarm_proof import PlainTable, proof_tables
from server.show.frame import Frame
from server.show.plant_words import Plant, press_href
from server.words.catalogue import signal_name
from server.words.numbers import fixed, number, percent, plural, whole


@dataclasses.dataclass(frozen=True)
class PressRow:
    press: str
    name: str
    href: str
    promised: str
    seen: str
    opened: str
    weeks: str
    state: str
    over: bool


@dataclasses.dataclass(frozen=True)
class AlarmBudgetPage:
    frame: Frame
    answer: str
    under: str
    promise: tuple[str, ...]
    rows: tuple[PressRow, ...]
    tables: tuple[PlainTable, ...]
    proof: tuple[PlainTable, ...]


def build_alarm_budget(connection: sa.Connection, plant: Plant) -> AlarmBudgetPage:
    report = report_budget(connection, plant.settings, now_ms=plant.now_ms)
    return AlarmBudgetPage(
        frame=plant.frame("Alarm budget", active="/alarms"),
        answer=budget_answer(report.per_week, report.opened, report.weeks, len(report.presses)),
        under="The last eight weeks, in weeks of running round the clock",
        promise=_promise(report),
        rows=tuple(_row(one) for one in report.presses),
        tables=(_signals(report), _costs(report)),
        proof=proof_tables(),
    )


def budget_answer(promised: float, opened: int, weeks: float, presses: int) -> str:
    """
    >>> budget_answer(0.0, 0, 0.0, 0)
    'No press to plan alarms for yet.'
    >>> budget_answer(2.4, 1, 10.0, 12)
    'At most 2.4 false alarms a week are promised. One chart alarm, true or not, came in 10 weeks of running.'
    """
    if presses == 0:
        return "No press to plan alarms for yet."
    if promised <= 0.0:
        return "No press has a startup record yet, so no chart may call."
    first = f"At most {number(promised, 2)} false alarms a week are promised."
    if weeks < 0.1:
        return first
    came = {0: "No", 1: "One"}.get(opened, whole(opened))
    span = f"{number(weeks, 2)} {plural(round(weeks), 'week')} of running"
    came += f" chart {plural(opened, 'alarm')}{', true or not,' if opened else ''}"
    return f"{first} {came} came in {span}."


def _promise(report: BudgetReport) -> tuple[str, ...]:
    budget = report.budget
    plant = f"{budget.per_shift:g} a shift in the whole plant"
    own = f"{budget.per_press_week:g} a week on one press"
    stricter = own if report.governed_by == "press" else plant
    return (
        f"The plant tolerates {plant} and {own}. For {whole(budget.presses)}"
        f" {plural(budget.presses, 'press', 'presses')} the stricter one is {stricter}:"
        f" {number(budget.per_press, 2)} a press and week.",
        f"{percent(report.chart_share)} of it goes to the charts of level and scatter, in even parts; the"
        " rest is"
        " left to the other kinds of alarm. The promise includes the error of what is known of a press: its"
        " limits are wide while little was watched, and draw in with every healthy group of shots.",
        "It holds while a press keeps its level but for recorded changes. A level that wanders is allowed"
        " for as"
        " far as it wandered in the first week. Not every alarm counted here was false:"
        f" {whole(report.called_not_real)} of {whole(report.opened)} were answered with “not real”.",
    )


def _row(one: PressBudget) -> PressRow:
    seen = one.seen
    return PressRow(
        press=one.press,
        name=one.name,
        href=press_href(one.press),
        promised="–" if one.promised is None else fixed(one.promised, 2),
        seen="not enough data" if seen is None else fixed(seen, 2),
        opened=_opened(one),
        weeks=fixed(one.weeks, 1),
        state=_state(one),
        over=seen is not None and one.promised is not None and seen > 2.0 * one.promised and one.opened > 1,
    )


def _opened(one: PressBudget) -> str:
    if not one.opened:
        return "none"
    unreal = f", {one.called_not_real} not real" if one.called_not_real else ""
    return f"{one.opened}{unreal}"


def _state(one: PressBudget) -> str:
    if one.stage == "no_record":
        return "not enough data: no startup record"
    if one.stage == "learning":
        return f"not enough data: {one.groups} of {SPEAKS_FROM} groups and two days to watch"
    wider = round(100.0 * (one.wider - 1.0))
    if one.stage == "complete" or wider < 1:
        return f"watched, {whole(one.groups)} groups learnt"
    return f"watched; limits {wider} % wider than with the press known, {whole(one.groups)} groups learnt"


def _signals(report: BudgetReport) -> PlainTable:
    words = {"level": "level", "scatter": "scatter"}
    return PlainTable(
        title="Which signals spend it",
        under="What each chart may spend in all presses together, and what it found, real or not.",
        head=("Chart", "Presses", "Promised a week", "Found in eight weeks"),
        rows=tuple(
            (
                f"{signal_name(one.signal)}, {words[one.kind]}",
                whole(one.presses),
                fixed(one.promised, 2),
                whole(one.found),
            )
            for one in report.signals
        ),
    )


def _costs(report: BudgetReport) -> PlainTable:
    return PlainTable(
        title="What tightening or loosening costs",
        under=(
            "Shots until a step of one signal is found, on average, for this plant's usual press"
            " (autocorrelation"
            f" {fixed(report.phi, 2)}, {number(report.cycle_s, 2)} s a shot), all learnt; computed from run"
            " lengths."
        ),
        head=("False alarms a press and week", "Step of 0.5 σ", "of 1 σ", "of 2 σ"),
        rows=tuple(
            (
                f"{number(cost.per_press_week, 2)}{' (yours)' if cost.own else ''}",
                *(whole(round(shots)) for shots in cost.shots.values()),
            )
            for cost in report.costs
        ),
    )
