"""Startup records and set-ups of a press over the API: capture, approve, report, compare, enter."""

import dataclasses
import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request

from server.derived.baseline_advice import Advice, advice_for
from server.derived.baseline_compared import compare_records, compare_with_now, compared_item
from server.derived.baseline_report import BaselineReport, baseline_report
from server.derived.qualification import Qualification, qualification_item, qualifications_of
from server.derived.setup_history import entry_item, run_item, setup_history
from server.errors import ConflictError, InvalidError
from server.language import N_
from server.maths.results import Undetermined
from server.record import baselines, setups
from server.routes.acting import Given, Limit, Number, event_item, told
from server.routes.calls import (
    allow,
    code_of,
    cursor_text,
    objects_of,
    page_of,
    read_cursor,
    when,
    write,
)
from server.routes.reading_query import reading
from server.store.plant import need_press
from server.store.questions import press_with_state
from server.store.records import Baseline, baselines_of

router = APIRouter(prefix="/api/v1", tags=["baselines"])

NOW = "now"
NumberOrNow = Annotated[
    str, Query(pattern="^([0-9]{1,9}|now)$", description="number of a baseline, or `now`: the newest shots")
]


@router.post("/presses/{press}/baselines", status_code=201)
def post_baseline(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Capture a baseline from stored shots, and approve it where that is asked."""
    code = code_of(press)
    who, now_ms = allow(request, "baseline", press=code).name, objects_of(request).now_ms()
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        judged = baselines.judge_shots(connection, found, body, who=who, now_ms=now_ms)
    baseline = write(request, lambda c: baselines.keep_baseline(c, found, judged, now_ms=now_ms))
    told(request, code, evaluate=baseline.state == "approved")
    return {**baseline_item(code, baseline), "missing": judged.captured.missing}


@router.get("/presses/{press}/baselines")
def get_baselines(
    request: Request, press: str, limit: Limit = 100, cursor: str | None = None
) -> dict[str, Any]:
    """The baselines of a press, the newest stretch first, with what qualifies each, and what is advised."""
    after = None if cursor is None else tuple(read_cursor(cursor, length=2))
    with reading(request, press) as (connection, found):
        kept = baselines_of(connection, found.press_id)
        kept = [b for b in reversed(kept) if after is None or (b.to_ms, b.baseline_no) < after]
        page = kept[:limit]
        beside = qualifications_of(connection, found, page)
        advice = advice_for(connection, found, press_with_state(connection, found.press_id))
    more = len(kept) > limit
    answer = page_of(
        [baseline_item(found.press, one, beside[one.baseline_no]) for one in page],
        cursor_text((page[-1].to_ms, page[-1].baseline_no)) if more else None,
    )
    return {**answer, "advice": advice_item(advice)}


@router.get("/presses/{press}/baselines/compare")
def get_comparison(
    request: Request,
    press: str,
    first: Annotated[int | None, Query(ge=1, lt=1 << 31)] = None,
    second: NumberOrNow = NOW,
) -> dict[str, Any]:
    """Two baselines of a press, or one and the newest 200 settled shots made after it, signal by signal.

    Without `first` it is the one in force. Differences are second minus first with 95 % intervals; `effect`
    is Hedges' g, `sigma_ratio` second over first. `moved` and `scattered` hold for all signals
    together (Holm, 5 %).
    """
    with reading(request, press) as (connection, found):
        if first is None:
            first = press_with_state(connection, found.press_id)["baseline_no"]
        if first is None:
            raise InvalidError(
                N_(
                    "first is missing, and press {press!r} has no baseline in force; name one as first",
                    press=found.press,
                ),
                field="first",
            )
        one = baselines.need_baseline(connection, found, first)
        if second == NOW:
            compared = compare_with_now(connection, found, one)
        else:
            other = baselines.need_baseline(connection, found, int(second))
            compared = compare_records(connection, found, one, other)
    if isinstance(compared, Undetermined):
        of = f"baseline {first} of press {found.press!r}"
        raise ConflictError(N_("{of} cannot be compared: {reason}", of=of, reason=compared.reason))
    return {"press": found.press, **compared_item(compared, when=when)}


@router.get("/presses/{press}/baselines/{number}")
def get_baseline(request: Request, press: str, number: Number) -> dict[str, Any]:
    """One baseline with its phase-one report: what was left out and why, and what the rest comes to."""
    with reading(request, press) as (connection, found):
        report = baseline_report(connection, found, baselines.need_baseline(connection, found, number))
    return report_item(found.press, report)


@router.post("/presses/{press}/baselines/{number}/approve")
def approve_baseline(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Let a baseline hold from its last shot on; `note` says why."""
    code = code_of(press)
    who, now_ms = allow(request, "baseline", press=code).name, objects_of(request).now_ms()
    baseline = write(
        request,
        lambda c: baselines.approve(c, need_press(c, code), number, who=who, now_ms=now_ms, body=body),
    )
    told(request, code, evaluate=True)
    return baseline_item(code, baseline)


@router.post("/presses/{press}/baselines/{number}/retire")
def retire_baseline(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Let a baseline hold no more; `note` says why."""
    code = code_of(press)
    who, now_ms = allow(request, "baseline", press=code).name, objects_of(request).now_ms()
    baseline = write(
        request,
        lambda c: baselines.retire(c, need_press(c, code), number, who=who, now_ms=now_ms, body=body),
    )
    told(request, code, evaluate=True)
    return baseline_item(code, baseline)


# --- set-ups ------------------------------------------------------------------------------------


@router.get("/presses/{press}/setups")
def get_setups(request: Request, press: str, limit: Limit = 100, cursor: str | None = None) -> dict[str, Any]:
    """What a press ran with, the last first, with its set-points and the baseline that judges it.

    `entries` are the set-points people entered, `changes` recorded changes of settings; the newest first.
    """
    start = 0 if cursor is None else max(0, read_cursor(cursor, length=1)[0])
    with reading(request, press) as (connection, found):
        history = setup_history(connection, found)
    following = start + limit
    answer = page_of(
        [run_item(run, when=when) for run in history.runs[start:following]],
        cursor_text([following]) if following < len(history.runs) else None,
    )
    return {
        **answer,
        "entries": [entry_item(one, when=when) for one in history.entries[:100]],
        "changes": [event_item(found.press, one) for one in history.changes[:100]],
    }


@router.post("/presses/{press}/setups", status_code=201)
def post_setpoints(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Enter the set-points of a mold and material; what differs from the entry before is a setting event."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    entry = write(
        request,
        lambda c: setups.enter_setpoints(c, need_press(c, code), body, who=who, now_ms=now_ms),
    )
    told(request, code, evaluate=True)
    return entry_item(entry, when=when)


# --- as the API writes them ---------------------------------------------------------------------


def baseline_item(press: str, baseline: Baseline, beside: Qualification | None = None) -> dict[str, Any]:
    """A baseline as the API writes it; beside: what qualifies it, where that was looked up."""
    item = {
        "id": baseline.baseline_no,
        "press": press,
        "mold": baseline.mold,
        "material": baseline.material,
        "setup": baseline.setup,
        "from": when(baseline.from_ms),
        "to": when(baseline.to_ms),
        "shots": baseline.shots,
        "state": baseline.state,
        "dose_lag": baseline.signals.get("dose_lag"),
        "signals": baseline.signals.get("signals", {}),
        "note": baseline.note,
        "captured_by": baseline.captured_by,
        "captured_at": when(baseline.captured_ms),
        "approved_by": baseline.approved_by,
        "approved_at": when(baseline.approved_ms),
        "approved_note": baseline.approved_note,
        "retired_by": baseline.retired_by,
        "retired_at": when(baseline.retired_ms),
        "retired_note": baseline.retired_note,
    }
    return item if beside is None else {**item, "qualification": qualification_item(beside, when=when)}


def report_item(press: str, report: BaselineReport) -> dict[str, Any]:
    """A phase-one report as the API writes it."""
    return {
        **baseline_item(press, report.baseline, report.qualification),
        "report": [{**dataclasses.asdict(one), "normal": one.normal} for one in report.signals],
        "missing": dict(report.missing),
        "left_out": [
            {
                "index": one.index,
                "reason": one.reason,
                "signals": list(one.signals),
                "at": when(one.at_ms),
                "counter": one.counter,
            }
            for one in report.left_out
        ],
        "made_with": [
            {"setup": one.setup, "setpoints": json.loads(one.setpoints)} for one in report.made_with
        ],
        "shots_changed": report.shots_changed,
    }


def advice_item(advice: Advice) -> dict[str, Any]:
    """What is advised, as the API writes it."""
    return {
        "kind": advice.kind,
        "baseline": None if advice.in_use is None else advice.in_use.baseline_no,
        "draft": None if advice.draft is None else advice.draft.baseline_no,
        "changes": [
            {
                "kind": one.kind,
                "at": when(one.at_ms),
                "what": one.what,
                "from": one.from_value,
                "to": one.to_value,
            }
            for one in advice.changes
        ],
        "others": [{"baseline": one.baseline_no, "differs_in": why} for one, why in advice.others],
        "settled_shots": advice.settled,
        "settled_from": when(advice.from_ms),
        "back_after": advice.back_after or None,
    }
