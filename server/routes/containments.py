"""Held parts over HTTP: hold, sort, release; and what is known of the parts somebody complains about."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Path, Query, Request

from server.derived.complaint import Found, look_up
from server.record import containments
from server.routes.calls import allow, code_of, objects_of, when, write
from server.routes.reading_query import From, To, read_span
from server.store.containments import Containment, Step, list_containments, steps_of
from server.store.plant import need_press

router = APIRouter(prefix="/api/v1", tags=["containment"])

Given = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/containments")
def get_containments(
    request: Request, state: Literal["open", "released", "all"] = "open", press: str | None = None
) -> dict[str, Any]:
    """Records of held parts, the newest 200 first. `state`: open, released or all."""
    code = None if press is None else code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        found = list_containments(
            connection,
            is_open=None if state == "all" else state == "open",
            press_id=None if code is None else need_press(connection, code).press_id,
        )
    return {"items": [containment_item(name, one) for name, one in found], "next_cursor": None}


@router.get("/presses/{press}/containments/{number}")
def get_one(request: Request, press: str, number: Number) -> dict[str, Any]:
    """A record of held parts with everything that was done with them."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        one = containments.need_containment(connection, found, number)
        steps = steps_of(connection, found.press_id, number)
    return {**containment_item(code, one), "steps": [_step_item(step) for step in steps]}


@router.post("/presses/{press}/containments", status_code=201)
def post_hold(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Hold the shots from `since` (else the estimated onset) to `until` (else now); one record a mold."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    held = write(
        request,
        lambda c: containments.hold(c, need_press(c, code), body, who=who, now_ms=now_ms),
    )
    return {"items": [containment_item(code, one) for one in held], "next_cursor": None}


@router.post("/presses/{press}/containments/{number}/sort")
def post_sorting(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """What sorting found: `parts_checked`, `parts_bad`, `note`."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    one = write(
        request,
        lambda c: containments.note_sorting(c, need_press(c, code), number, body, who=who, now_ms=now_ms),
    )
    return containment_item(code, one)


@router.post("/presses/{press}/containments/{number}/release")
def post_release(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Let held parts go, signed by whoever sends this; `note` says on what grounds."""
    code = code_of(press)
    who, now_ms = allow(request, "mold", press=code).name, objects_of(request).now_ms()
    one = write(
        request,
        lambda c: containments.release(c, need_press(c, code), number, body, who=who, now_ms=now_ms),
    )
    return containment_item(code, one)


@router.get("/presses/{press}/complaint")
def get_complaint(
    request: Request,
    press: str,
    box: Annotated[str, Query(max_length=80)] = "",
    serial: Annotated[str, Query(max_length=80)] = "",
    since: From = None,
    to: To = None,
) -> dict[str, Any]:
    """The shots of a box, a serial or a stretch: what was known then, how capable the mold was that day."""
    code = code_of(press)
    allow(request, "read", press=code)
    span = read_span(since, to)
    with objects_of(request).store.read() as connection:
        found = look_up(
            connection, need_press(connection, code), box=box, serial=serial, from_ms=span[0], to_ms=span[1]
        )
    return {"items": [_found_item(one) for one in found], "next_cursor": None}


def containment_item(press: str, one: Containment) -> dict[str, Any]:
    """A record of held parts as the API writes it."""
    by = one.found_by
    return {
        "press": press,
        "containment": one.containment_no,
        "mold": one.mold,
        "from": when(one.from_ms),
        "to": when(one.to_ms),
        "onset_from": when(one.onset_low_ms),
        "onset_to": when(one.onset_high_ms),
        "why": one.why,
        "shots": one.shots,
        "boxes": by["boxes"],
        "lots": by["lots"],
        "serials": by["serials"],
        "serial_count": by["serial_count"],
        "shifts": [{"name": shift["name"], "from": when(shift["from_ms"])} for shift in by["shifts"]],
        "state": one.state,
        "held_by": one.held_by,
        "held_at": when(one.held_ms),
    }


def _step_item(step: Step) -> dict[str, Any]:
    return {
        "action": step.action,
        "at": when(step.at_ms),
        "who": step.who,
        "parts_checked": step.parts_checked,
        "parts_bad": step.parts_bad,
        "note": step.note,
    }


def _found_item(one: Found) -> dict[str, Any]:
    return {
        "press": one.press,
        "mold": one.mold,
        "shots": one.shots,
        "from": when(one.from_ms),
        "to": when(one.to_ms),
        "likelihood": one.likelihood,
        "alarms": [{"id": number, "kind": kind, "state": state} for number, kind, state in one.alarms],
        "containments": list(one.containments),
        "ppk": one.ppk,
        "demand_ppk": one.demand,
        "capability_text": one.capability_text,
    }
