"""Logging in and out, one's own password, and who one is."""

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Body, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from server.access import people
from server.access.actors import Actor, permissions_of
from server.access.throttle import Throttle
from server.errors import BadBodyError, ConflictError, InvalidError, RingtellError, UnauthorizedError
from server.routes.calls import actor_of, objects_of, write
from server.routes.middleware import COOKIE
from server.store.people import Person, person_by_name

router = APIRouter(tags=["access"])


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
    if not hasattr(state, "login_throttle"):
        state.login_throttle = Throttle()
    found: Throttle = state.login_throttle
    return found


def _check(request: Request, name: str, password: str) -> Person:
    """The person, if the password is right and nobody is guessing."""
    objects, throttle = objects_of(request), throttle_of(request)
    address = request.client.host if request.client else ""
    throttle.check(name, address, now_ms=objects.now_ms())
    with objects.store.read() as connection:
        known = person_by_name(connection, name)
    try:
        person = people.check_password(known, password)
    except UnauthorizedError:
        throttle.failed(name, address, now_ms=objects.now_ms())
        raise
    throttle.succeeded(name)
    return person


def _enter(request: Request, response: Response, person: Person) -> Response:
    objects = objects_of(request)
    hours = objects.settings.session_hours
    token = write(
        request, lambda c: people.open_session(c, person, hours=hours, now_ms=objects.now_ms())
    )
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(hours * 3600),
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
    )
    return response


@router.post("/login", include_in_schema=False)
def login_by_form(
    request: Request,
    name: Annotated[str, Form()],
    password: Annotated[str, Form()],
    next: Annotated[str, Form()] = "/",
) -> Response:
    """The form without scripts: back to the login page when wrong, else on to where one wanted."""
    try:
        person = _check(request, name, password)
    except RingtellError as error:
        if error.status not in (401, 429):
            raise
        return RedirectResponse("/login?wrong=1", status_code=303)
    target = "/login" if person.must_change else safe_path(next)
    return _enter(request, RedirectResponse(target, status_code=303), person)


@router.post("/api/v1/login")
def login(request: Request, body: Annotated[Any, Body()] = None) -> Response:
    """Name and password for a session cookie."""
    name, password = (_text(body, field) for field in ("name", "password"))
    person = _check(request, name, password)
    answer = {"name": person.name, "role": person.role, "must_change": person.must_change}
    return _enter(request, JSONResponse(answer), person)


@router.post("/logout", include_in_schema=False)
def logout_by_form(request: Request) -> Response:
    return _leave(request, RedirectResponse("/login", status_code=303))


@router.post("/api/v1/logout")
def logout(request: Request) -> Response:
    """End this session."""
    return _leave(request, JSONResponse({}))


def _leave(request: Request, response: Response) -> Response:
    actor, now_ms = actor_of(request), objects_of(request).now_ms()
    if actor.kind == "person":
        write(request, lambda c: people.end_session(c, actor, now_ms=now_ms))
    response.delete_cookie(COOKIE, httponly=True, samesite="lax")
    return response


@router.post("/api/v1/password")
def change_password(request: Request, body: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """Set one's own password; every other session of the same person ends."""
    actor, objects = actor_of(request), objects_of(request)
    if actor.kind == "nobody":
        raise UnauthorizedError("log in first")
    if actor.kind != "person":
        raise ConflictError("only a person who has logged in has a password")
    old, new = (_text(body, field) for field in ("old_password", "new_password"))
    try:
        _check(request, actor.name, old)
    except UnauthorizedError:
        # Not 401: the session is fine, so a page must not send the person away.
        raise InvalidError("old_password is wrong", field="old_password") from None
    new_hash = people.hash_new_password(actor.name, old=old, new=new)
    write(request, lambda c: people.change_password(c, actor, new_hash, now_ms=objects.now_ms()))
    return {"name": actor.name, "must_change": False}


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
        "must_change": actor.must_change,
        "permissions": sorted(permissions_of(actor)),
    }


def _text(body: Any, field: str) -> str:
    if not isinstance(body, Mapping):
        raise BadBodyError("the body has to be a JSON object")
    value = body.get(field)
    if not isinstance(value, str) or not value:
        raise InvalidError(f"{field} has to be text", field=field)
    if "\0" in value or any("\ud800" <= sign <= "\udfff" for sign in value):
        raise InvalidError(f"{field} holds a character that is none", field=field)
    return value
