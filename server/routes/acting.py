"""Acting on presses, molds and the plant: configuration, events, valves, settings."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request, Response

from server.access.actors import Actor
from server.contract import SIGNALS
from server.errors import ForbiddenError
from server.language import N_
from server.record import events, presses, settings, valves
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
from server.store.plant import Press, need_mold, need_press
from server.store.records import Event, Valve, all_valves, shots_between

router = APIRouter(prefix="/api/v1", tags=["acting"])

Given = Annotated[Any, Body()]
Limit = Annotated[int, Query(ge=1, le=10_000)]
#: What a database takes as a number; more was never given out.
Number = Annotated[int, Path(ge=0, lt=1 << 63)]


def told(request: Request, press: str, *, evaluate: bool) -> None:
    """Tell open pages, and let evaluation begin where there is something to do."""
    objects = objects_of(request)
    objects.hub.publish("press", press)
    if evaluate:
        objects.wake()


# --- configuration ------------------------------------------------------------------------------


@router.put("/presses/{press}")
def put_press(request: Request, response: Response, press: str, body: Given = None) -> dict[str, Any]:
    """Create a press, or merge into it what is sent; null clears what may be unknown."""
    code = code_of(press)
    actor, now_ms = allow(request, "configure", press=code), objects_of(request).now_ms()
    who = actor.name
    _need_area(actor, body)

    def job(connection: Any) -> tuple[presses.Configured, Press]:
        done = presses.configure_press(connection, code, body, who=who, now_ms=now_ms)
        return done, need_press(connection, code)

    done, kept = write(request, job)
    told(request, code, evaluate=done.rewrites)
    response.status_code = 201 if done.created else 200
    return press_item(kept)


def _need_area(actor: Actor, body: Any) -> None:
    """Whoever acts in some areas only hands no press over to another."""
    area = body.get("area") if isinstance(body, Mapping) else None
    if actor.areas and isinstance(area, str) and area.strip() not in actor.areas:
        raise ForbiddenError(
            N_(
                "{name} acts in {join} only and moves no press to {area!r}",
                name=actor.name,
                join=", ".join(actor.areas),
                area=area.strip(),
            ),
            field="area",
        )


def press_item(press: Press) -> dict[str, Any]:
    """The configuration of a press as the API writes it."""
    item = dataclasses.asdict(press)
    del item["press_id"], item["created_ms"]
    return {**item, "details": json.loads(press.details), "created_at": when(press.created_ms)}


@router.put("/molds/{mold}")
def put_mold(request: Request, response: Response, mold: str, body: Given = None) -> dict[str, Any]:
    """Create a mold, or merge into it what is sent; `limits` are replaced as a whole."""
    code = code_of(mold)
    who, now_ms = allow(request, "mold").name, objects_of(request).now_ms()

    def job(connection: Any) -> tuple[presses.Configured, dict[str, Any]]:
        done = presses.configure_mold(connection, code, body, who=who, signals=SIGNALS, now_ms=now_ms)
        return done, dict(need_mold(connection, code))

    done, kept = write(request, job)
    response.status_code = 201 if done.created else 200
    return {
        "mold": kept["mold"],
        "part": kept["part"],
        "cavities": kept["cavities"],
        "demand": json.loads(kept["demand"]),
        "limits": json.loads(kept["limits"]),
        "details": json.loads(kept["details"]),
        "created_at": when(kept["created_ms"]),
    }


# --- events -------------------------------------------------------------------------------------


@router.post("/presses/{press}/events", status_code=201)
def post_event(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Record what was done to a press, now or at a time in the past."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    event = write(
        request,
        lambda c: events.record_event(c, need_press(c, code), body, who=who, now_ms=now_ms),
    )
    told(request, code, evaluate=event.kind in events.REWRITING)
    return event_item(code, event)


def event_item(press: str, event: Event) -> dict[str, Any]:
    """An event as the API writes it."""
    return {
        "id": event.event_no,
        "press": press,
        "at": when(event.at_ms),
        "kind": event.kind,
        "setting": event.setting,
        "from": event.from_value,
        "to": event.to_value,
        "lot": event.lot,
        "note": event.note,
        "author": event.author,
        "recorded_at": when(event.recorded_ms),
    }


# --- valves -------------------------------------------------------------------------------------


@router.put("/presses/{press}/valve")
def put_valve(request: Request, press: str, body: Given = None) -> dict[str, Any]:
    """Enter the valve that is fitted; a later `fitted_at` than the current one's is a change."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    valve = write(request, lambda c: valves.put_valve(c, need_press(c, code), body, who=who, now_ms=now_ms))
    told(request, code, evaluate=True)
    return valve_item(code, valve)


@router.get("/valves")
def get_valves(request: Request, limit: Limit = 100, cursor: str | None = None) -> dict[str, Any]:
    """Every valve of every press, with the shots it has done."""
    allow(request, "read")
    start = 0 if cursor is None else max(0, read_cursor(cursor, length=1)[0])
    with objects_of(request).store.read() as connection:
        found = all_valves(connection)
        items = [
            {
                **valve_item(press, valve),
                "shots": (valve.shots_before or 0)
                + shots_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms),
            }
            for press, valve in found[start : start + limit]
        ]
    following = start + limit
    return page_of(items, cursor_text([following]) if following < len(found) else None)


def valve_item(press: str, valve: Valve) -> dict[str, Any]:
    """A valve as the API writes it."""
    return {
        "id": valve.valve_no,
        "press": press,
        "fitted_at": when(valve.fitted_ms),
        "removed_at": when(valve.removed_ms),
        "style": valve.style,
        "part_number": valve.part_number,
        "material_pair": valve.material_pair,
        "nominal_clearance_mm": valve.nominal_clearance_mm,
        "shots_before": valve.shots_before,
        "removed_reason": valve.removed_reason,
        "found": valve.found,
        "outcome": valve.outcome or None,
        "note": valve.note,
        "author": valve.author,
    }


# --- the plant ----------------------------------------------------------------------------------


@router.get("/settings")
def get_settings(request: Request) -> dict[str, Any]:
    """What the plant has decided, or the defaults."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        return settings.open_settings(connection)


@router.put("/settings")
def put_settings(request: Request, body: Given = None) -> dict[str, Any]:
    """Merge settings; nothing is kept unless all of it can be taken."""
    who, now_ms = allow(request, "settings").name, objects_of(request).now_ms()

    def job(connection: Any) -> tuple[bool, dict[str, Any]]:
        rewrites = settings.change_settings(connection, body, who=who, now_ms=now_ms)
        return rewrites, settings.open_settings(connection)

    rewrites, kept = write(request, job)
    if rewrites:
        objects_of(request).wake()
    return kept
