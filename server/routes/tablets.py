"""Shared tablets: enrolled by somebody responsible, then used in turn with a short number each."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request
from fastapi.responses import JSONResponse, Response

from server.access import tablets
from server.access.passwords import hash_new_pin
from server.access.sessions import Opening
from server.access.tablets import tablet_of
from server.errors import ForbiddenError, UnauthorizedError
from server.language import N_
from server.record.fields import Given
from server.routes import cookies
from server.routes.access import (
    address_of,
    enter,
    leave,
    log,
    need_person_here,
    on_this_device,
    own_password,
    text_of,
    throttle_of,
)
from server.routes.calls import allow, objects_of, page_of, when, write
from server.store import people as kept
from server.store.people import Person, Tablet
from server.store.plant import read_settings

router = APIRouter(prefix="/api/v1", tags=["tablets"])

Sent = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


def tablet_item(tablet: Tablet) -> dict[str, Any]:
    return {
        "id": tablet.tablet_id,
        "name": tablet.name,
        "created_by": tablet.created_by,
        "created_at": when(tablet.created_ms),
        "last_used_at": when(tablet.last_used_ms),
        "struck_off_at": when(tablet.revoked_ms),
    }


@router.get("/tablets")
def get_tablets(request: Request) -> dict[str, Any]:
    """Every tablet there ever was."""
    allow(request, "keys")
    with objects_of(request).store.read() as connection:
        return page_of([tablet_item(one) for one in kept.all_tablets(connection)], None)


@router.post("/tablets", status_code=201)
def post_tablet(request: Request, body: Sent = None) -> Response:
    """Make this very browser a shared tablet, and sign out of it: what follows is done by short number."""
    by, objects = allow(request, "keys").name, objects_of(request)
    given = Given.of(body, known=("name",))
    given.need("name")
    name = given.text("name")
    made = write(request, lambda c: tablets.enrol(c, name, by=by, now_ms=objects.now_ms()))
    answer = leave(request, JSONResponse(tablet_item(made.tablet), status_code=201))
    age_s = cookies.TABLET_DAYS * 86_400
    cookies.give(request, answer, cookies.TABLET, made.token, max_age_s=age_s)
    return answer


@router.delete("/tablets/{number}")
def delete_tablet(request: Request, number: Number) -> dict[str, Any]:
    """Strike a tablet off: it asks for names no more, and whoever is signed in there is signed out."""
    by, now_ms = allow(request, "keys").name, objects_of(request).now_ms()
    write(request, lambda c: tablets.strike_off(c, number, by=by, now_ms=now_ms))
    return {"struck_off": number}


# --- on the tablet ------------------------------------------------------------------------------


@router.get("/tablet")
def this_tablet(request: Request) -> dict[str, Any]:
    """Which tablet this is and who may change over; for enrolled tablets only."""
    with objects_of(request).store.read() as connection:
        tablet = _need_tablet(connection, request)
        people = tablets.names_with_pin(connection)
        minutes = read_settings(connection)["lock_after_min"]
    return {
        "name": tablet.name,
        "lock_after_s": int(float(minutes) * 60),
        "people": [{"name": one.name, "full_name": one.full_name or one.name} for one in people],
    }


def _need_tablet(connection: Any, request: Request) -> Tablet:
    tablet = tablet_of(connection, cookies.token_in(request, cookies.TABLET))
    if tablet is None:
        raise UnauthorizedError(N_("this is no shared tablet; sign in, or have it enrolled on the keys page"))
    return tablet


@router.post("/tablet/enter")
def enter_by_pin(request: Request, body: Sent = None) -> Response:
    """Change over: name and short number for a session on this tablet; the one before it ends."""
    objects = objects_of(request)
    with objects.store.read() as connection:
        tablet = _need_tablet(connection, request)
    name, pin = text_of(body, "name"), text_of(body, "pin")
    # Counted by tablet, not by address: several stand behind one.
    where = f"tablet {tablet.tablet_id}"
    with throttle_of(request).one_try(name, where, now_ms=objects.now_ms()):
        with objects.store.read() as connection:
            known = kept.person_by_name(connection, name)
        person = _checked(request, known, pin, where=where)
    write(request, lambda c: kept.tablet_used(c, tablet.tablet_id, now_ms=objects.now_ms()))
    opening = Opening(
        hours=objects.settings.session_hours,
        by_pin=True,
        agent=request.headers.get("user-agent", ""),
        address=address_of(request),
    )
    answer = JSONResponse({"name": person.name, "role": person.role})
    return enter(request, answer, person, on_this_device(request, opening))


def _checked(request: Request, known: Person | None, pin: str, *, where: str) -> Person:
    now_ms = objects_of(request).now_ms()
    try:
        person = tablets.check_pin(known, pin)
    except UnauthorizedError:
        log.warning("wrong short number for %s on %s", known.name if known else "an unknown name", where)
        if known is not None:
            write(request, lambda c: tablets.pin_tried(c, known, right=False, now_ms=now_ms))
        raise
    write(request, lambda c: tablets.pin_tried(c, person, right=True, now_ms=now_ms))
    return person


@router.put("/pin")
def put_pin(request: Request, body: Sent = None) -> dict[str, Any]:
    """Set one's own short number for shared tablets, with the password; `pin` null takes it away."""
    actor, objects = need_person_here(request), objects_of(request)
    if actor.must_change:
        raise ForbiddenError(N_("set your own password first"))
    given = Given.of(body, known=("password", "pin"))
    own_password(request, actor, text_of(body, "password"), field="password")
    pin_hash = None if given.body.get("pin") is None else hash_new_pin(text_of(body, "pin"))
    write(request, lambda c: tablets.keep_pin(c, actor, pin_hash, now_ms=objects.now_ms()))
    return {"has_pin": pin_hash is not None}
