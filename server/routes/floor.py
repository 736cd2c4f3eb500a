"""The floor over HTTP: ticks, hand-overs, the shift so far, kinds out of service, how the alarms do."""

from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Body, Path, Query, Request

from server.clock import as_text
from server.derived.alarm_performance import Performance, measure_alarms
from server.derived.shift_summary import summarise
from server.errors import InvalidError
from server.language import N_
from server.maths.results import Undetermined
from server.notify import floor, service
from server.notify.alarms import AlarmChanged
from server.record.fields import Given
from server.routes.alarms import alarm_item
from server.routes.calls import allow, code_of, objects_of, when, write
from server.store import alarm_service
from server.store import floor as kept_floor
from server.store.alarm_service import Stop
from server.store.floor import Handover
from server.store.plant import need_press

router = APIRouter(prefix="/api/v1", tags=["floor"])

Sent = Annotated[Any, Body()]
#: What a database takes as a number; more was never given out.
HandoverNo = Annotated[int, Path(ge=0, lt=1 << 31)]


def _given(body: Any, *known: str) -> Given:
    return Given.of({} if body is None else body, known=known)


@router.get("/presses/{press}/ticks")
def list_ticks(request: Request, press: str) -> dict[str, Any]:
    """Steps of the guidance somebody ticked on a press: who, when."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        ticks = kept_floor.ticks_of(connection, need_press(connection, code).press_id)
    return {
        "items": [
            {"step": one.step, "ticked": one.ticked, "who": one.who, "at": as_text(one.at_ms)}
            for one in sorted(ticks.values(), key=lambda one: one.step)
        ]
    }


@router.put("/presses/{press}/ticks")
def put_tick(request: Request, press: str, body: Sent = None) -> dict[str, Any]:
    """Tick a step, or take the tick back. The same again changes nothing."""
    code = code_of(press)
    who, now_ms = allow(request, "acknowledge", press=code).name, objects_of(request).now_ms()
    given = _given(body, "step", "ticked")
    given.need("step", "ticked")
    step, ticked = given.text("step"), given.flag("ticked")
    tick = write(
        request,
        lambda c: floor.tick_step(c, need_press(c, code), step, ticked=ticked, who=who, now_ms=now_ms),
    )
    objects_of(request).hub.publish("press", code)
    return {"step": tick.step, "ticked": tick.ticked, "who": tick.who, "at": as_text(tick.at_ms)}


@router.get("/shift")
def shift_so_far(request: Request) -> dict[str, Any]:
    """What opened, who answered what, and what stays open, since the shift began."""
    allow(request, "read")
    objects = objects_of(request)
    with objects.store.read() as connection:
        found = summarise(connection, now_ms=objects.now_ms())
    return {"shift": found.shift.name, "from": as_text(found.shift.from_ms), **found.as_facts()}


def _handover_item(one: Handover) -> dict[str, Any]:
    return {
        "handover": one.handover_no,
        "shift": one.shift,
        "from": as_text(one.from_ms),
        "at": as_text(one.at_ms),
        "who": one.who,
        "note": one.note,
        "read_by": one.read_by,
        "read_at": when(one.read_ms),
        "summary": dict(one.summary),
    }


@router.get("/handovers")
def list_handovers(request: Request, limit: Annotated[int, Query(ge=1, le=500)] = 20) -> dict[str, Any]:
    """Notes from shift to shift, newest first."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        return {
            "items": [_handover_item(one) for one in kept_floor.latest_handovers(connection, limit=limit)]
        }


@router.post("/handovers", status_code=201)
def hand_over(request: Request, body: Sent = None) -> dict[str, Any]:
    """Hand the shift over with a note, signed with the sender's name."""
    who, objects = allow(request, "acknowledge").name, objects_of(request)
    note, now_ms = _given(body, "note").text("note", longest=floor.HANDOVER_LENGTH_MAX), objects.now_ms()

    def keep(connection: sa.Connection) -> Handover:
        return floor.need_handover(connection, floor.hand_over(connection, note=note, who=who, now_ms=now_ms))

    item = _handover_item(write(request, keep))
    objects.hub.publish("alarm", f"handover-{item['handover']}")
    return item


@router.post("/handovers/{handover_no}/read")
def read_handover(request: Request, handover_no: HandoverNo) -> dict[str, Any]:
    """Say that the note was read; the first name stays."""
    who, objects = allow(request, "acknowledge").name, objects_of(request)
    now_ms = objects.now_ms()
    found = write(request, lambda c: floor.read_handover(c, handover_no, who=who, now_ms=now_ms))
    objects.hub.publish("alarm", f"handover-{handover_no}")
    return _handover_item(found)


def _stop_item(stop: Stop) -> dict[str, Any]:
    return {
        "press": stop.press,
        "kind": stop.kind,
        "from": as_text(stop.from_ms),
        "until": as_text(stop.until_ms),
        "who": stop.who,
        "why": stop.why,
    }


@router.get("/out-of-service")
def list_stops(request: Request) -> dict[str, Any]:
    """Kinds of alarm that are out of service now: on which press, by whom, why, until when."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        return {"items": [_stop_item(stop) for stop in alarm_service.stops_now(connection)]}


@router.put("/presses/{press}/out-of-service/{kind}")
def take_out(request: Request, press: str, kind: str, body: Sent = None) -> dict[str, Any]:
    """Take a kind of alarm out of service on a press until a time, and say why."""
    code = code_of(press)
    who, objects = allow(request, "out_of_service", press=code).name, objects_of(request)
    now_ms, given = objects.now_ms(), _given(body, "why", "until", "hours")
    why, until_ms = given.text("why", longest=service.WHY_LENGTH_MAX), _until(given, now_ms)
    stop, changes = write(
        request,
        lambda c: service.take_out(
            c, need_press(c, code), kind, who=who, why=why, until_ms=until_ms, now_ms=now_ms
        ),
    )
    _tell(request, code, changes)
    return _stop_item(stop)


def _until(given: Given, now_ms: int) -> int:
    """The end, as a moment or as hours from now."""
    if given.has("until") == given.has("hours"):
        raise InvalidError(N_("give either until (a time) or hours (from now)"), field="until")
    if given.has("hours"):
        hours = given.number("hours", least=0.01, most=8_784.0)
        return now_ms + int((hours or 0.0) * 3_600_000)
    # Events may not lie in the future; the end of a stop must, so it is read as if it were then.
    return given.at("until", now_ms=now_ms + 400 * service.DAY_MS) or 0


@router.delete("/presses/{press}/out-of-service/{kind}")
def put_back(request: Request, press: str, kind: str) -> dict[str, Any]:
    """Put a kind back in service; one that is in service stays as it is."""
    code = code_of(press)
    who, now_ms = allow(request, "out_of_service", press=code).name, objects_of(request).now_ms()
    changes = write(request, lambda c: service.put_back(c, need_press(c, code), kind, who=who, now_ms=now_ms))
    _tell(request, code, changes)
    return {"press": code, "kind": kind}


def _tell(request: Request, press: str, changes: list[AlarmChanged]) -> None:
    hub = objects_of(request).hub
    hub.publish("alarm", *({change.id for change in changes} or {press}))


@router.get("/alarm-performance")
def alarm_performance(request: Request, days: Annotated[int, Query(ge=1, le=366)] = 30) -> dict[str, Any]:
    """How the alarms do against published benchmarks: rates, floods, top ten, stale, chattering."""
    allow(request, "read")
    objects = objects_of(request)
    with objects.store.read() as connection:
        return _performance_item(measure_alarms(connection, now_ms=objects.now_ms(), days=days))


def _performance_item(found: Performance) -> dict[str, Any]:
    return {
        "from": as_text(found.from_ms),
        "to": as_text(found.to_ms),
        "alarms": found.alarms,
        "measures": [
            {
                "id": one.id,
                "value": None if isinstance(one.value, Undetermined) else one.value,
                "reason": one.value.reason if isinstance(one.value, Undetermined) else None,
                "benchmark": one.most,
                "unit": one.unit,
                "met": one.met,
                "source": one.source,
            }
            for one in found.measures
        ],
        "top_ten": [
            {"press": one.press, "kind": one.kind, "alarms": one.count, "share": one.share}
            for one in found.frequent
        ],
        "floods": [
            {"from": as_text(one.from_ms), "to": as_text(one.to_ms), "alarms": one.count}
            for one in found.floods
        ],
        "stale": [alarm_item(one) for one in found.stale],
        "chattering": [{"press": press, "kind": kind} for press, kind in found.chattering],
        "urgencies": [
            {"urgency": one.urgency, "alarms": one.count, "share": one.share, "recommended": one.recommended}
            for one in found.urgencies
        ],
    }
