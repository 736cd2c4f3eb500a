"""Cases over HTTP: opened, owned, noted in, acted on, closed; each with its story and its comparisons."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request

from server.derived.case_proof import proof_of
from server.derived.case_story import story_of
from server.derived.valve_choice import choice_now
from server.record import cases
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
from server.routes.valves import choice_item
from server.store.alarms import public_id
from server.store.cases import Case, CaseAction, CaseNote, actions_of, list_cases, notes_of
from server.store.plant import need_press

router = APIRouter(prefix="/api/v1", tags=["cases"])

Given = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/cases")
def get_cases(
    request: Request,
    state: Literal["open", "closed", "all"] = "open",
    press: str | None = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 100,
    cursor: str | None = None,
) -> dict[str, Any]:
    """Cases, newest first. `state`: open, closed or all."""
    code = None if press is None else code_of(press)
    allow(request, "read", press=code)
    after = None if cursor is None else read_cursor(cursor, length=3)
    with objects_of(request).store.read() as connection:
        found = list_cases(
            connection,
            press_id=None if code is None else need_press(connection, code).press_id,
            is_open=None if state == "all" else state == "open",
            after=None if after is None else (after[0], after[1], after[2]),
            limit=limit + 1,
        )
    page = found[:limit]
    last = page[-1][1] if len(found) > limit else None
    return page_of(
        [case_item(press_code, case) for press_code, case in page],
        None if last is None else cursor_text((last.opened_ms, last.press_id, last.case_no)),
    )


@router.get("/presses/{press}/cases/{number}")
def get_case(request: Request, press: str, number: Number) -> dict[str, Any]:
    """A case with its story, its actions and what the shots say of each."""
    code = code_of(press)
    allow(request, "read", press=code)
    now_ms = objects_of(request).now_ms()
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        case = cases.need_case(connection, found, number)
        actions = actions_of(connection, case)
        proofs = [proof_of(connection, found, case, actions, action=one, now_ms=now_ms) for one in actions]
        story = story_of(connection, found, case, now_ms=now_ms)
        notes = notes_of(connection, case)
        choice = choice_now(connection, found) if case.is_open else None
    return {
        **case_item(code, case),
        "actions": [
            {**action_item(one), "proof": _times_written(proof.as_evidence())}
            for one, proof in zip(actions, proofs, strict=True)
        ],
        "notes": [note_item(one) for one in notes],
        "choice": None if choice is None else {"valve": choice[0], **choice_item(choice[1])},
        "story": [
            {"at": when(one.at_ms), "kind": one.kind, "text": one.text, "who": one.who} for one in story
        ],
    }


@router.post("/presses/{press}/cases", status_code=201)
def post_case(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Open a case, from an alarm or with a sentence on what is suspected; at most one is open a press."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        onset_ms = cases.onset_of(connection, found)
    case = write(
        request,
        lambda c: cases.open_one(c, found, body or {}, onset_ms=onset_ms, who=who, now_ms=now_ms),
    )
    objects_of(request).hub.publish("press", code)
    return case_item(code, case)


@router.put("/presses/{press}/cases/{number}")
def put_case(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Change owner, sentence or beginning of an open case; what is left out stays."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    case = write(
        request,
        lambda c: cases.change(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms),
    )
    objects_of(request).hub.publish("press", code)
    return case_item(code, case)


@router.post("/presses/{press}/cases/{number}/notes", status_code=201)
def post_note(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Write something down in an open case."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    note = write(
        request, lambda c: cases.note(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms)
    )
    objects_of(request).hub.publish("press", code)
    return note_item(note)


@router.post("/presses/{press}/cases/{number}/actions", status_code=201)
def post_action(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Record what was done; the comparison of the shots before and after it begins by itself."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    action = write(
        request, lambda c: cases.act(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms)
    )
    objects = objects_of(request)
    objects.hub.publish("press", code)
    objects.wake()
    return action_item(action)


@router.post("/presses/{press}/cases/{number}/close")
def close_case(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Close a case with a verdict; `fixed`, `better`, `no_change` and `worse` wait for enough shots."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    case = write(
        request, lambda c: cases.close(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms)
    )
    objects_of(request).hub.publish("press", code)
    objects_of(request).wake()
    return case_item(code, case)


# --- as the API writes them -----------------------------------------------------------------------


def case_item(press: str, case: Case) -> dict[str, Any]:
    return {
        "id": case.case_no,
        "press": press,
        "state": "open" if case.is_open else "closed",
        "about": case.about,
        "since": when(case.onset_ms),
        "opened_at": when(case.opened_ms),
        "opened_by": case.opened_by,
        "owner": case.owner,
        "alarm": None if case.alarm_no is None else public_id(press, case.alarm_no),
        "mold": case.mold,
        "material": case.material,
        "valve_style": case.valve_style,
        "valve": case.valve_no,
        "closed_at": when(case.closed_ms),
        "closed_by": case.closed_by,
        "verdict": case.verdict or None,
        "closing_note": case.closing_note,
        "action": case.action_no,
        "evidence": _times_written(case.evidence) if case.evidence else None,
    }


def action_item(action: CaseAction) -> dict[str, Any]:
    return {
        "id": action.action_no,
        "kind": action.kind,
        "at": when(action.at_ms),
        "event": action.event_no,
        "valve_that_went": action.valve_no,
        "what": action.what,
        "who": action.who,
        "recorded_at": when(action.recorded_ms),
    }


def note_item(note: CaseNote) -> dict[str, Any]:
    return {"id": note.note_no, "at": when(note.at_ms), "who": note.who, "note": note.note}


def _times_written(evidence: Any) -> dict[str, Any]:
    """Kept evidence with its times as the API writes times."""
    item = dict(evidence)
    for name in ("from_ms", "at_ms", "to_ms"):
        if name in item:
            item[name.removesuffix("_ms")] = when(item.pop(name))
    return item
