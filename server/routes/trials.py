"""Setting trials over HTTP: planned, each level set, splay noted, ended; with how they stand."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request

from server.derived.trial_progress import progress_of
from server.record import setting_trials
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
from server.store.plant import need_press
from server.store.trials import Trial, TrialStep, list_trials, steps_of

router = APIRouter(prefix="/api/v1", tags=["trials"])

Given = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/trials")
def get_trials(
    request: Request,
    press: str | None = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 100,
    cursor: str | None = None,
) -> dict[str, Any]:
    """Setting trials, newest first."""
    code = None if press is None else code_of(press)
    allow(request, "read", press=code)
    after = None if cursor is None else read_cursor(cursor, length=3)
    with objects_of(request).store.read() as connection:
        found = list_trials(
            connection,
            press_id=None if code is None else need_press(connection, code).press_id,
            after=None if after is None else (after[0], after[1], after[2]),
            limit=limit + 1,
        )
    page = found[:limit]
    last = page[-1][1] if len(found) > limit else None
    return page_of(
        [trial_item(press_code, trial) for press_code, trial in page],
        None if last is None else cursor_text((last.planned_ms, last.press_id, last.trial_no)),
    )


@router.get("/presses/{press}/trials/{number}")
def get_trial(request: Request, press: str, number: Number) -> dict[str, Any]:
    """A trial with its steps and how it stands, from the shots that came in."""
    code = code_of(press)
    allow(request, "read", press=code)
    now_ms = objects_of(request).now_ms()
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        trial = setting_trials.need_trial(connection, found, number)
        progress = progress_of(connection, found, trial, now_ms=now_ms)
        steps = steps_of(connection, trial)
    return {
        **trial_item(code, trial),
        "set": [step_item(one) for one in steps],
        "progress": progress.as_result(),
        "text": setting_trials.result_text(trial, progress) if not trial.runs else "",
    }


@router.post("/presses/{press}/trials", status_code=201)
def post_trial(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Plan a trial; its order is drawn and kept. At most one runs on a press."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    trial = write(
        request, lambda c: setting_trials.plan(c, need_press(c, code), body or {}, who=who, now_ms=now_ms)
    )
    objects_of(request).hub.publish("press", code)
    return trial_item(code, trial)


@router.post("/presses/{press}/trials/{number}/level")
def post_level(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """The next level of the plan is set now."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    step = write(
        request,
        lambda c: setting_trials.set_level(
            c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms
        ),
    )
    objects_of(request).hub.publish("press", code)
    return step_item(step)


@router.put("/presses/{press}/trials/{number}/splay")
def put_splay(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """In how many shots of a step somebody saw splay."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    step = write(
        request,
        lambda c: setting_trials.note_splay(
            c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms
        ),
    )
    objects_of(request).hub.publish("press", code)
    return step_item(step)


@router.post("/presses/{press}/trials/{number}/end")
def end_trial(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """End a trial and say which level the press goes on with."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    trial = write(
        request,
        lambda c: setting_trials.end(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms),
    )
    objects_of(request).hub.publish("press", code)
    objects_of(request).wake()
    return trial_item(code, trial)


def trial_item(press: str, trial: Trial) -> dict[str, Any]:
    return {
        "id": trial.trial_no,
        "press": press,
        "setting": trial.setting,
        "unit": trial.unit,
        "signal": trial.signal,
        "levels": list(trial.levels),
        "today": trial.levels[trial.today],
        "shots_per_level": trial.shots_per_level,
        "settling": trial.settling,
        "ordering": trial.ordering,
        "seed": trial.seed,
        "plan": [trial.levels[level] for level in trial.plan],
        "planned_at": when(trial.planned_ms),
        "planned_by": trial.planned_by,
        "note": trial.note,
        "case": trial.case_no,
        "state": "running" if trial.runs else trial.ended_as,
        "ended_at": when(trial.ended_ms),
        "ended_by": trial.ended_by,
        "kept": None if trial.kept_level is None else trial.levels[trial.kept_level],
        "result": trial.result or None,
    }


def step_item(step: TrialStep) -> dict[str, Any]:
    return {
        "step": step.step_no,
        "level": step.level,
        "at": when(step.at_ms),
        "who": step.who,
        "splay": step.splay,
    }
