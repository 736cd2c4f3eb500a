"""Logging in and out, one's own password and sessions, and who one is."""

import dataclasses
import logging
import threading
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Body, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from server.access import people, sessions
from server.access.actors import Actor, permissions_of
from server.access.passwords import hash_new_password
from server.access.preferences import keep_preferences
from server.access.tablets import tablet_of
from server.access.throttle import Throttle
from server.errors import BadBodyError, ConflictError, InvalidError, RingtellError, UnauthorizedError
from server.language import N_
from server.routes import cookies
from server.routes.calls import actor_of, objects_of, when, write
from server.store import people as kept
from server.store.people import Person, Session, person_by_name
from server.store.plant import read_settings

log = logging.getLogger("ringtell.access")

router = APIRouter(tags=["access"])

#: Roles that can change something: their sessions end when nobody is there.
_READING_ONLY = "viewer"
#: Two first logins at the same moment share one counter.
_FIRST = threading.Lock()


def safe_path(path: str) -> str:
    """A path on this server; everything else becomes `/`.

    >>> [safe_path(p) for p in ("/alarms?state=all", "//evil.example", "https://evil.example", "/\\\\evil")]
    ['/alarms?state=all', '/', '/', '/']
    """
    if not path.startswith("/") or path.startswith("//") or "\\" in path:
        return "/"
    return path if path.isprintable() else "/"


def throttle_of(request: Request) -> Throttle:
    """The one counter of wrong passwords of this server."""
    state = request.app.state
    with _FIRST:
        if not hasattr(state, "login_throttle"):
            state.login_throttle = Throttle()
    found: Throttle = state.login_throttle
    return found


def address_of(request: Request) -> str:
    return request.client.host if request.client else ""


def checked(request: Request, name: str, password: str) -> Person:
    """The person, if the password is right and nobody is guessing."""
    objects, address = objects_of(request), address_of(request)
    with throttle_of(request).one_try(name, address, now_ms=objects.now_ms()):
        with objects.store.read() as connection:
            known = person_by_name(connection, name)
        try:
            person = people.check_password(known, password, now_ms=objects.now_ms())
        except UnauthorizedError:
            # Not what was typed as a name: a password lands in that field now and then.
            log.warning("wrong password for %s from %s", known.name if known else "an unknown name", address)
            raise
    renewed = people.renewed_hash(person, password)
    if renewed is not None:
        write(request, lambda c: people.keep_renewed_hash(c, person, renewed))
    return person


def opening_of(request: Request, person: Person) -> sessions.Opening:
    """How long a session of this person lasts when it begins with the password."""
    settings = objects_of(request).settings
    idle_ms = int(settings.session_idle_min * 60_000) or None
    return sessions.Opening(
        hours=settings.session_hours,
        idle_ms=None if person.role == _READING_ONLY else idle_ms,
        agent=request.headers.get("user-agent", ""),
        address=address_of(request),
    )


def enter(request: Request, response: Response, person: Person, opening: sessions.Opening) -> Response:
    """Open a session under a fresh token and give its cookie; the one before it ends."""
    objects = objects_of(request)
    former = cookies.token_in(request, cookies.SESSION)
    now_ms = objects.now_ms()
    token = write(
        request, lambda c: sessions.open_session(c, person, opening, now_ms=now_ms, instead_of=former)
    )
    log.info("%s signed in from %s", person.name, opening.address)
    cookies.give(request, response, cookies.SESSION, token, max_age_s=int(opening.hours * 3600))
    return response


def on_this_device(request: Request, opening: sessions.Opening) -> sessions.Opening:
    """On a shared tablet a session ends after a few minutes without a touch, password or not."""
    token = cookies.token_in(request, cookies.TABLET)
    if not token:
        return opening
    with objects_of(request).store.read() as connection:
        tablet = tablet_of(connection, token)
        if tablet is None:
            return opening
        minutes = float(read_settings(connection)["lock_after_min"])
    return dataclasses.replace(opening, idle_ms=int(minutes * 60_000), tablet_id=tablet.tablet_id)


@router.post("/login", include_in_schema=False)
def login_by_form(
    request: Request,
    name: Annotated[str, Form()],
    password: Annotated[str, Form()],
    next: Annotated[str, Form()] = "/",
) -> Response:
    """The form without scripts: back to the login page when wrong, else on to where one wanted."""
    try:
        sent = {"name": name, "password": password}
        person = checked(request, text_of(sent, "name"), text_of(sent, "password"))
    except RingtellError as error:
        if error.status not in (401, 429, 503):
            raise
        wait_s = error.facts.get("retry_after_s")
        query = "wrong=1" if wait_s is None else f"wait={wait_s}"
        if "has_ended" in error.facts:
            query = "ended=1"
        return RedirectResponse(f"/login?{query}", status_code=303)
    target = "/login" if person.must_change else safe_path(next)
    opening = on_this_device(request, opening_of(request, person))
    return enter(request, RedirectResponse(target, status_code=303), person, opening)


@router.post("/api/v1/login")
def login(request: Request, body: Annotated[Any, Body()] = None) -> Response:
    """Name and password for a session cookie."""
    name, password = (text_of(body, field) for field in ("name", "password"))
    person = checked(request, name, password)
    answer = {"name": person.name, "role": person.role, "must_change": person.must_change}
    opening = on_this_device(request, opening_of(request, person))
    return enter(request, JSONResponse(answer), person, opening)


@router.post("/logout", include_in_schema=False)
def logout_by_form(request: Request) -> Response:
    return leave(request, RedirectResponse("/login", status_code=303))


@router.post("/api/v1/logout")
def logout(request: Request) -> Response:
    """End this session."""
    return leave(request, JSONResponse({}))


def leave(request: Request, response: Response) -> Response:
    """End the session in use and take its cookie back."""
    actor, now_ms = actor_of(request), objects_of(request).now_ms()
    if actor.kind == "person":
        write(request, lambda c: sessions.end_session(c, actor, now_ms=now_ms))
    cookies.take_back(request, response, cookies.SESSION)
    return response


@router.post("/api/v1/password")
def change_password(request: Request, body: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """Set one's own password; every other session of the same person ends."""
    actor, objects = need_person_here(request), objects_of(request)
    old, new = (text_of(body, field) for field in ("old_password", "new_password"))
    own_password(request, actor, old, field="old_password")
    with objects.store.read() as connection:
        person = people.need_person(connection, actor.name)
        context = (person.full_name, person.mail, str(read_settings(connection)["plant_name"]))
    new_hash = hash_new_password(actor.name, old=old, new=new, context=context)
    write(request, lambda c: people.change_password(c, actor, new_hash, now_ms=objects.now_ms()))
    return {"name": actor.name, "must_change": False}


def need_person_here(request: Request) -> Actor:
    """The person who asks; keys and open servers have neither password nor sessions."""
    actor = actor_of(request)
    if actor.kind == "nobody":
        raise UnauthorizedError(N_("log in first"))
    if actor.kind != "person":
        raise ConflictError(N_("only a person who has logged in has a password and sessions"))
    return actor


def own_password(request: Request, actor: Actor, password: str, *, field: str) -> None:
    """Ask again before something that must not happen at a page left open."""
    try:
        checked(request, actor.name, password)
    except UnauthorizedError:
        # Not 401: the session is fine, so a page must not send the person away.
        raise InvalidError(N_("{field} is wrong", field=field), field=field) from None


@router.get("/api/v1/me")
def me(request: Request) -> dict[str, Any]:
    """Who one is to this server, and what one may do."""
    return described(actor_of(request))


def described(actor: Actor) -> dict[str, Any]:
    return {
        "name": actor.name,
        "kind": actor.kind,
        "role": actor.role or None,
        "press": actor.press or None,
        "areas": list(actor.areas),
        "by_pin": actor.by_pin,
        "must_change": actor.must_change,
        "permissions": sorted(permissions_of(actor)),
        "units": dict(actor.units),
        "language": actor.language or None,
    }


@router.put("/api/v1/me/preferences")
def put_preferences(request: Request, body: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """Units (by quantity) and language one reads in; '' goes back to the plant's.

    Values of the API stay in stored units: this is about pages and the files they hand out.
    """
    actor, now_ms = need_person_here(request), objects_of(request).now_ms()
    return write(request, lambda c: keep_preferences(c, actor, body, now_ms=now_ms))


# --- one's own sessions -------------------------------------------------------------------------


@router.get("/api/v1/sessions")
def own_sessions(request: Request) -> dict[str, Any]:
    """Where one is signed in."""
    actor = need_person_here(request)
    objects = objects_of(request)
    with objects.store.read() as connection:
        person = people.need_person(connection, actor.name)
        found = kept.sessions_of(connection, person.person_id, now_ms=objects.now_ms())
    return {"items": [session_item(one, actor) for one in found], "next_cursor": None}


@router.delete("/api/v1/sessions")
def end_other_sessions(request: Request) -> dict[str, Any]:
    """Sign out everywhere else."""
    actor, now_ms = need_person_here(request), objects_of(request).now_ms()

    def job(connection: Any) -> int:
        person = people.need_person(connection, actor.name)
        return sessions.end_all(connection, person, but=actor.ticket, by=actor.name, now_ms=now_ms)

    return {"ended": write(request, job)}


@router.delete("/api/v1/sessions/{session}")
def end_own_session(request: Request, session: str) -> dict[str, Any]:
    """Sign out in one place."""
    actor, now_ms = need_person_here(request), objects_of(request).now_ms()

    def job(connection: Any) -> None:
        person = people.need_person(connection, actor.name)
        sessions.end_one(connection, person, session, by=actor.name, now_ms=now_ms)

    write(request, job)
    return {"ended": 1}


def session_item(session: Session, actor: Actor) -> dict[str, Any]:
    """A session as the API writes it; its id opens nothing."""
    return {
        "id": sessions.session_id(session.token_hash),
        "is_this_one": session.token_hash == actor.ticket,
        "opened_at": when(session.created_ms),
        "seen_at": when(session.seen_ms),
        "ends_at": when(session.ends_ms),
        "by_pin": session.by_pin,
        "tablet": session.tablet_id,
        "agent": session.agent,
        "address": session.address,
    }


def text_of(body: Any, field: str) -> str:
    if not isinstance(body, Mapping):
        raise BadBodyError(N_("the body has to be a JSON object"))
    value = body.get(field)
    if not isinstance(value, str) or not value:
        raise InvalidError(N_("{field} has to be text", field=field), field=field)
    if "\0" in value or any("\ud800" <= sign <= "\udfff" for sign in value):
        raise InvalidError(N_("{field} holds a character that is none", field=field), field=field)
    return value
