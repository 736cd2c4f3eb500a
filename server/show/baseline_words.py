"""Sentences about startup records: what qualifies one, what is advised, why something was left out."""

import dataclasses
from typing import Final

from server.derived.baseline_advice import SETTLED, Advice, Change
from server.derived.baseline_report import SignalReport
from server.derived.qualification import QUALIFIED, CheckBeside, Qualification
from server.language import N_, _
from server.show.plant_words import Plant, press_href
from server.words.catalogue import STUDY, VERDICT, worded
from server.words.numbers import NOTHING, fixed, number, percent, whole

STATE: Final = {"draft": N_("waiting for approval"), "approved": N_("approved"), "retired": N_("retired")}
LEAVING_OUT: Final = {
    "warm_up": "warm-up", "transient": N_("far off, several in a row"), "outlier": N_("far off"),
    "not_good": N_("parts not good"), "restart": N_("after a restart"),
}  # fmt: skip
_CHECK_NAME: Final = {"drift-check": N_("drift check"), "short-shot": N_("short-shot study")}
_CHANGE: Final = {
    "valve_change": N_("the valve was changed"),
    "maintenance": N_("the press was worked on"),
    "setting": N_("a setting was changed"),
    "set_points": N_("the press runs with another set-point"),
}


@dataclasses.dataclass(frozen=True)
class AdviceLines:
    """`loud`: it wants somebody to act. body: what to capture, as the API takes it; '' for nothing."""

    title: str
    text: str
    reasons: tuple[str, ...]
    guidance: bool
    loud: bool
    body: dict[str, str]


def qualification_word(found: Qualification) -> str:
    return "qualified" if found.status == QUALIFIED else _("relative only")


def qualification_href(press: str, found: Qualification) -> str:
    """The press qualification kept with a record; '' where there is none."""
    number = found.qualification_no
    return "" if number is None else f"{press_href(press)}/studies/{number}"


def qualification_text(found: Qualification, plant: Plant) -> str:
    """What stands beside a record, and what that means."""
    said = "; ".join(_check(one, plant) for one in found.checks)
    if found.status == QUALIFIED:
        return _("Qualified: {said}.", said=said)
    return _(
        "Relative only: {said}. The record shows whether something has changed since, not"
        " whether the valve was good when it began.",
        said=said,
    )


def _check(one: CheckBeside, plant: Plant) -> str:
    name = _CHECK_NAME.get(one.kind, worded(STUDY, one.kind).lower())
    if one.at_ms is None:
        return _("no {name} within 30 days of it", name=name)
    return _(
        "{name} of {at}: {verdict}", name=name, at=plant.day(one.at_ms), verdict=worded(VERDICT, one.verdict)
    )


def change_text(change: Change, plant: Plant) -> str:
    """One reason as part of a list."""
    text = worded(_CHANGE, change.kind)
    if change.what:
        text += f": {change.what}"
    if change.from_value or change.to_value:
        text += f" {change.from_value or '?'} → {change.to_value or '?'}"
    return text if change.at_ms is None else f"{plant.moment(change.at_ms)} {text}"


def advice_lines(advice: Advice, plant: Plant) -> AdviceLines | None:
    """The advice in words; None where there is nothing to say."""
    if advice.kind == "none":
        return _back(advice, plant)
    reasons = tuple(change_text(one, plant) for one in advice.changes[-6:])
    title, text = _said(advice, plant)
    return AdviceLines(
        title=title,
        text=text,
        reasons=reasons or _others(advice),
        guidance=advice.kind == "capture",
        loud=advice.kind in ("renew", "approve", "check_first"),
        body=_body(advice, plant) if advice.kind == "renew" else {},
    )


def _back(advice: Advice, plant: Plant) -> AdviceLines | None:
    if not advice.back_after or advice.in_use is None or advice.running is None:
        return None
    text = _(
        "{back_after} ran in between. Record {baseline_no} of {to} was found again by itself;"
        " nothing recorded since then speaks against it.",
        back_after=advice.back_after,
        baseline_no=advice.in_use.baseline_no,
        to=plant.day(advice.in_use.to_ms),
    )
    return AdviceLines(
        _("{mold} is back with its record", mold=advice.running.mold), text, (), False, False, {}
    )


def _said(advice: Advice, plant: Plant) -> tuple[str, str]:
    of, settled = _running_words(advice), whole(advice.settled)
    record = "" if advice.in_use is None else _("record {baseline_no}", baseline_no=advice.in_use.baseline_no)
    if advice.kind == "capture":
        return _("There is no startup record"), _(
            "{of} has no approved startup record, so it is not judged.", of=of
        )
    if advice.kind == "approve":
        draft = advice.draft.baseline_no if advice.draft else 0
        return (
            _("Record {draft} waits for approval", draft=draft),
            _("Nothing is judged against it before a plant engineer approves it."),
        )
    if advice.kind == "wait":
        return (
            _("A new record may be wanted soon"),
            _(
                "Something was changed after {record}. {settled} of {settled_2} settled shots were"
                " made since.",
                record=record,
                settled=settled,
                settled_2=SETTLED,
            ),
        )
    if advice.kind == "check_first":
        return (
            _("No new record now: check the valve first"),
            _(
                "Something was changed after {record}, but a leak is likely ({likelihood}): a record"
                " captured now would hold it as healthy. Follow the steps on the press's page first.",
                record=record,
                likelihood=percent(advice.likelihood),
            ),
        )
    if advice.kind == "unstable":
        return (
            _("Not yet: the level still moves"),
            _(
                "Something was changed after {record}, but the swept stroke has not settled at one"
                " level over the last {settled} shots.",
                record=record,
                settled=settled,
            ),
        )
    return (
        _("Capture a new startup record"),
        _(
            "Something was changed after {record}, and {settled} settled shots at one level were"
            " made since. Nothing happens by itself: until a new one is approved, {record} stays in"
            " use.",
            record=record,
            settled=settled,
        ),
    )


def _running_words(advice: Advice) -> str:
    if advice.running is None:
        return _("A press without shots")
    one = advice.running
    name = (one.mold or _("No mold named")) + (
        _(" with {material}", material=one.material) if one.material else ""
    )
    return _("{name}, set-up {setup},", name=name, setup=one.setup) if one.setup else name


def _others(advice: Advice) -> tuple[str, ...]:
    """Records of the same mold that do not fit, and why."""
    running = advice.running
    if running is None:
        return ()
    said = []
    for one, differs in advice.others[-6:]:
        was = one.material if differs == "material" else one.setup
        now = running.material if differs == "material" else running.setup
        kind = "material" if differs == "material" else "set-up"
        said.append(
            _(
                "record {baseline_no} is of {kind} {was}, the press runs {now}",
                baseline_no=one.baseline_no,
                kind=kind,
                was=was or _("without a name"),
                now=now or _("without a name"),
            )
        )
    return tuple(said)


def _body(advice: Advice, plant: Plant) -> dict[str, str]:
    if advice.running is None or advice.from_ms is None:
        return {}
    body = {
        "mold": advice.running.mold,
        "from": plant.zone.iso(advice.from_ms - advice.from_ms % 1000),
        "note": _("after: ") + "; ".join(change_text(one, plant) for one in advice.changes[-3:])[:300],
    }
    if advice.running.material:
        body["material"] = advice.running.material
    if advice.in_use is not None and advice.in_use.setup:
        body["setup"] = advice.in_use.setup
    return body


def left_out_text(report: SignalReport) -> str:
    parts = [f"{whole(count)} {worded(LEAVING_OUT, reason)}" for reason, count in report.left_out.items()]
    if report.unknown:
        parts.append(_("{unknown} without a reading", unknown=whole(report.unknown)))
    return ", ".join(parts) or "none"


def shape_text(report: SignalReport) -> tuple[str, ...]:
    """Whether the values look normal, and how likely normal ones would look as odd."""
    p = report.normality_p
    if p is None:
        return (_("not tested"),)
    return "normal" if report.normal else _("not normal"), f"p {'< 0.001' if p < 0.001 else fixed(p, 3)}"


def alike_text(report: SignalReport) -> tuple[str, ...]:
    """How much neighbours resemble each other, with the interval."""
    if report.phi is None:
        return (_("not seen"),)
    if report.phi_lower is None or report.phi_upper is None:
        return (fixed(report.phi, 2),)
    return fixed(report.phi, 2), _(
        "{phi_lower} to {phi_upper}",
        phi_lower=fixed(report.phi_lower, 2),
        phi_upper=fixed(report.phi_upper, 2),
    )


def false_alarm_text(report: SignalReport) -> tuple[str, ...]:
    """What limits estimated from so few shots keep."""
    if report.run_length_kept is None or report.multiplier is None:
        return (NOTHING,)
    return whole(report.run_length_kept), _("{multiplier} s for 370", multiplier=number(report.multiplier, 3))
