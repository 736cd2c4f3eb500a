"""The page of the alarm budget: promised and seen, who spends it, what more or less would cost."""

import dataclasses

import sqlalchemy as sa

from server.derived.alarm_budget_report import BudgetReport, PressBudget, report_budget
from server.language import _, plural
from server.maths.watch_charts import SPEAKS_FROM
from server.show.alarm_proof import PlainTable, proof_tables
from server.show.frame import Frame
from server.show.plant_words import Plant, press_href
from server.words.catalogue import signal_name
from server.words.numbers import fixed, number, percent, whole


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
        frame=plant.frame(_("Alarm budget"), active="/alarms"),
        answer=budget_answer(report.per_week, report.opened, report.weeks, len(report.presses)),
        under=_("The last eight weeks, in weeks of running round the clock"),
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
        return _("No press to plan alarms for yet.")
    if promised <= 0.0:
        return _("No press has a startup record yet, so no chart may call.")
    first = _("At most {promised} false alarms a week are promised.", promised=number(promised, 2))
    if weeks < 0.1:
        return first
    came = {0: _("No"), 1: _("One")}.get(opened, whole(opened))
    span = _("{weeks} {week} of running", weeks=number(weeks, 2), week=plural(round(weeks), "week", "weeks"))
    came += _(
        " chart {alarm}{value}",
        alarm=plural(opened, "alarm", "alarms"),
        value=_(", true or not,") if opened else "",
    )
    return _("{first} {came} came in {span}.", first=first, came=came, span=span)


def _promise(report: BudgetReport) -> tuple[str, ...]:
    budget = report.budget
    plant = _("{per_shift:g} a shift in the whole plant", per_shift=budget.per_shift)
    own = _("{per_press_week:g} a week on one press", per_press_week=budget.per_press_week)
    stricter = own if report.governed_by == "press" else plant
    return (
        _(
            "The plant tolerates {plant} and {own}. For {presses} {press} the stricter one is"
            " {stricter}: {per_press} a press and week.",
            plant=plant,
            own=own,
            presses=whole(budget.presses),
            press=plural(budget.presses, "press", "presses"),
            stricter=stricter,
            per_press=number(budget.per_press, 2),
        ),
        _(
            "{chart_share} of it goes to the charts of level and scatter, in even parts; the rest"
            " is left to the other kinds of alarm. The promise includes the error of what is known"
            " of a press: its limits are wide while little was watched, and draw in with every"
            " healthy group of shots.",
            chart_share=percent(report.chart_share),
        ),
        _(
            "It holds while a press keeps its level but for recorded changes. A level that wanders"
            " is allowed for as far as it wandered in the first week. Not every alarm counted here"
            " was false: {called_not_real} of {opened} were answered with “not real”.",
            called_not_real=whole(report.called_not_real),
            opened=whole(report.opened),
        ),
    )


def _row(one: PressBudget) -> PressRow:
    seen = one.seen
    return PressRow(
        press=one.press,
        name=one.name,
        href=press_href(one.press),
        promised="–" if one.promised is None else fixed(one.promised, 2),
        seen=_("not enough data") if seen is None else fixed(seen, 2),
        opened=_opened(one),
        weeks=fixed(one.weeks, 1),
        state=_state(one),
        over=seen is not None and one.promised is not None and seen > 2.0 * one.promised and one.opened > 1,
    )


def _opened(one: PressBudget) -> str:
    if not one.opened:
        return _("none")
    unreal = (
        _(", {called_not_real} not real", called_not_real=one.called_not_real) if one.called_not_real else ""
    )
    return f"{one.opened}{unreal}"


def _state(one: PressBudget) -> str:
    if one.stage == "no_record":
        return _("not enough data: no startup record")
    if one.stage == "learning":
        return _(
            "not enough data: {groups} of {speaks_from} groups and two days to watch",
            groups=one.groups,
            speaks_from=SPEAKS_FROM,
        )
    wider = round(100.0 * (one.wider - 1.0))
    if one.stage == "complete" or wider < 1:
        return _("watched, {groups} groups learnt", groups=whole(one.groups))
    return _(
        "watched; limits {wider} % wider than with the press known, {groups} groups learnt",
        wider=wider,
        groups=whole(one.groups),
    )


def _signals(report: BudgetReport) -> PlainTable:
    words = {"level": _("level"), "scatter": _("scatter")}
    return PlainTable(
        title=_("Which signals spend it"),
        under=_("What each chart may spend in all presses together, and what it found, real or not."),
        head=(_("Chart"), _("Presses"), _("Promised a week"), _("Found in eight weeks")),
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
        title=_("What tightening or loosening costs"),
        under=(
            _(
                "Shots until a step of one signal is found, on average, for this plant's usual press"
                " (autocorrelation {phi}, {cycle_s} s a shot), all learnt; computed from run lengths.",
                phi=fixed(report.phi, 2),
                cycle_s=number(report.cycle_s, 2),
            )
        ),
        head=(_("False alarms a press and week"), _("Step of 0.5 σ"), _("of 1 σ"), _("of 2 σ")),
        rows=tuple(
            (
                f"{number(cost.per_press_week, 2)}{_(' (yours)') if cost.own else ''}",
                *(whole(round(shots)) for shots in cost.shots.values()),
            )
            for cost in report.costs
        ),
    )
