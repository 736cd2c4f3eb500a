"""Who is told about alarms, over HTTP: routes, what waits and what failed, a test message."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request

from server.errors import InvalidError
from server.language import N_
from server.notify import routing
from server.notify.routing import Wanted
from server.record.fields import Given
from server.routes.calls import allow, objects_of, when, write
from server.store import outbox as kept_messages
from server.store import outlet_routes as kept
from server.store.outbox import Queued
from server.store.outlet_routes import Route
from server.words.recipients import shown_recipient

router = APIRouter(prefix="/api/v1", tags=["outlets"])

Sent = Annotated[Any, Body()]
#: What a database takes as a number; more was never given out.
RouteNo = Annotated[int, Path(ge=0, lt=1 << 31)]
_FIELDS = ("outlet", "recipient", "area", "urgency", "shift", "level", "after_min", "active")


def route_item(route: Route) -> dict[str, Any]:
    """A route as the API writes it. Of a webhook only the host: its path may be a secret."""
    return {
        "route": route.route_no,
        "outlet": route.outlet,
        "recipient": shown_recipient(route.outlet, route.recipient),
        "area": route.area,
        "urgency": route.urgency,
        "shift": route.shift,
        "level": route.level,
        "after_min": route.after_min,
        "active": route.active,
    }


def _message_item(message: Queued) -> dict[str, Any]:
    return {
        "alarm": f"{message.press}-{message.alarm_no}" if message.press else None,
        "outlet": message.outlet,
        "recipient": shown_recipient(message.outlet, message.recipient),
        "queued_at": when(message.created_ms),
        "tries": message.tries,
        "next_try_at": when(message.next_try_ms),
        "delivered_at": when(message.delivered_ms),
        "given_up_at": when(message.dead_ms),
        "trouble": message.trouble,
    }


def _fields(body: Any) -> dict[str, Any]:
    given = Given.of({} if body is None else body, known=_FIELDS)
    found: dict[str, Any] = {}
    for name in ("outlet", "urgency", "shift"):
        if given.has(name):
            found[name] = given.text(name, longest=20)
    if given.has("area"):
        found["area"] = given.text("area")
    if given.has("recipient"):
        found["recipient"] = given.text("recipient", longest=2_000)
    for name, most in (("level", routing.LEVEL_MAX), ("after_min", routing.AFTER_MIN_MAX)):
        if given.has(name):
            found[name] = given.whole(name, least=0, most=most)
    if given.has("active"):
        found["active"] = given.flag("active")
    return found


@router.get("/routes")
def list_routes(request: Request) -> dict[str, Any]:
    """Every route, and the outlets this server was told how to use."""
    allow(request, "settings")
    with objects_of(request).store.read() as connection:
        found = kept.routes(connection)
    return {"items": [route_item(route) for route in found], "outlets": sorted(objects_of(request).outlets)}


@router.post("/routes", status_code=201)
def add_route(request: Request, body: Sent = None) -> dict[str, Any]:
    """Keep a new route."""
    who, objects = allow(request, "settings").name, objects_of(request)
    fields, now_ms = _fields(body), objects.now_ms()
    if "outlet" not in fields:
        raise InvalidError(N_("outlet is missing; one of those GET /api/v1/routes names"), field="outlet")

    def add(connection: Any) -> Route:
        return routing.add(connection, Wanted(**fields), outlets=objects.outlets, who=who, now_ms=now_ms)

    return route_item(write(request, add))


@router.put("/routes/{route_no}")
def change_route(request: Request, route_no: RouteNo, body: Sent = None) -> dict[str, Any]:
    """Change some of a route."""
    who, objects = allow(request, "settings").name, objects_of(request)
    fields, now_ms = _fields(body), objects.now_ms()
    return route_item(
        write(
            request,
            lambda c: routing.change(c, route_no, fields, outlets=objects.outlets, who=who, now_ms=now_ms),
        )
    )


@router.delete("/routes/{route_no}")
def remove_route(request: Request, route_no: RouteNo) -> dict[str, Any]:
    """Remove a route; what is queued through it still leaves."""
    who, now_ms = allow(request, "settings").name, objects_of(request).now_ms()
    write(request, lambda c: routing.remove(c, route_no, who=who, now_ms=now_ms))
    return {"route": route_no}


@router.post("/routes/{route_no}/test")
def send_test_message(request: Request, route_no: RouteNo) -> dict[str, Any]:
    """Queue a test message along a route."""
    who, now_ms = allow(request, "settings").name, objects_of(request).now_ms()
    number = write(request, lambda c: routing.send_test(c, route_no, who=who, now_ms=now_ms))
    return {"message": number, "text": "Queued: it should arrive within a minute."}


@router.get("/messages")
def list_messages(request: Request, which: str = "waiting") -> dict[str, Any]:
    """Messages that wait, that were given up (`dead`) or that were sent, newest first."""
    allow(request, "settings")
    if which not in ("waiting", "dead", "sent"):
        raise InvalidError(
            N_("which {which!r}: waiting, dead or sent", which=which), field="which", value=which
        )
    with objects_of(request).store.read() as connection:
        return {"items": [_message_item(one) for one in kept_messages.messages(connection, which=which)]}


@router.post("/messages/again")
def try_again(request: Request) -> dict[str, Any]:
    """Try everything once more that was given up."""
    allow(request, "settings")
    now_ms = objects_of(request).now_ms()
    many = write(request, lambda c: kept_messages.try_again(c, now_ms=now_ms))
    return {"messages": many, "text": f"Due again: {many}."}
