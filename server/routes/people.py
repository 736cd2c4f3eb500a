"""People, by administrators: who there is, added, changed, shut out, signed out, a new password."""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from server.access import people, sessions
from server.access.people import Changes, Welcome
from server.record.fields import Given
from server.routes.access import session_item
from server.routes.calls import actor_of, allow, code_of, objects_of, page_of, shown_once, when, write
from server.store import people as kept
from server.store.people import Person

router = APIRouter(prefix="/api/v1/people", tags=["people"])

Sent = Annotated[Any, Body()]
_FIELDS = ("role", "full_name", "mail", "areas", "active")


def person_item(person: Person) -> dict[str, Any]:
    """A person as the API writes them: nothing a password or a short number could be found from."""
    return {
        "name": person.name,
        "role": person.role,
        "full_name": person.full_name,
        "mail": person.mail,
        "areas": json.loads(person.areas),
        "active": person.active,
        "must_change": person.must_change,
        "has_pin": person.pin_hash is not None,
        "created_at": when(person.created_ms),
    }


def _changes(given: Given) -> Changes:
    def text(name: str) -> str | None:
        return given.text(name, longest=people.TEXT_LENGTH_MAX) if given.has(name) else None

    areas = given.body.get("areas")
    if areas is not None and (not isinstance(areas, list) or not all(isinstance(a, str) for a in areas)):
        raise people.bad_areas()
    return Changes(
        role=text("role"),
        full_name=text("full_name"),
        mail=text("mail"),
        areas=None if areas is None else tuple(dict.fromkeys(area.strip() for area in areas)),
        active=given.flag("active") if given.has("active") else None,
    )


def _welcome(welcome: Welcome) -> dict[str, Any]:
    text = f"One-time password of {welcome.name}, shown this once: {welcome.password}"
    return {
        "name": welcome.name,
        "role": welcome.role,
        "one_time_password": welcome.password,
        "text": text,
    }


@router.get("")
def get_people(request: Request) -> dict[str, Any]:
    """Everybody, those shut out too."""
    allow(request, "people")
    with objects_of(request).store.read() as connection:
        return page_of([person_item(one) for one in kept.all_people(connection)], None)


@router.post("", status_code=201)
def post_person(request: Request, body: Sent = None) -> dict[str, Any]:
    """Add somebody; the answer holds the one-time password, once."""
    by, now_ms = allow(request, "people").name, objects_of(request).now_ms()
    shown_once(request)
    given = Given.of(body, known=("name", *_FIELDS[:-1]))
    given.need("name", "role")
    changes = _changes(given)
    name = given.text("name")
    return _welcome(
        write(
            request,
            lambda c: people.add_person(
                c,
                name,
                changes.role or "",
                full_name=changes.full_name or "",
                mail=changes.mail or "",
                areas=changes.areas or (),
                by=by,
                now_ms=now_ms,
            ),
        )
    )


@router.put("/{name}")
def put_person(request: Request, name: str, body: Sent = None) -> dict[str, Any]:
    """Change what is sent: role, areas, names, and `active` false to shut somebody out at once."""
    by, now_ms = allow(request, "people").name, objects_of(request).now_ms()
    changes = _changes(Given.of(body, known=_FIELDS))
    wanted = code_of(name)
    return person_item(
        write(request, lambda c: people.change_person(c, wanted, changes, by=by, now_ms=now_ms))
    )


@router.post("/{name}/reset")
def reset_person(request: Request, name: str) -> dict[str, Any]:
    """A new one-time password; every session ends and the short number is void."""
    by, now_ms = allow(request, "people").name, objects_of(request).now_ms()
    shown_once(request)
    wanted = code_of(name)
    return _welcome(write(request, lambda c: people.reset_password(c, wanted, by=by, now_ms=now_ms)))


@router.get("/{name}/sessions")
def get_sessions(request: Request, name: str) -> dict[str, Any]:
    """Where somebody is signed in."""
    allow(request, "people")
    objects = objects_of(request)
    with objects.store.read() as connection:
        person = people.need_person(connection, code_of(name))
        found = kept.sessions_of(connection, person.person_id, now_ms=objects.now_ms())
    return page_of([session_item(one, actor_of(request)) for one in found], None)


@router.delete("/{name}/sessions")
def end_sessions(request: Request, name: str) -> dict[str, Any]:
    """Sign somebody out everywhere."""
    by, now_ms = allow(request, "people").name, objects_of(request).now_ms()
    wanted = code_of(name)

    def job(connection: Any) -> int:
        person = people.need_person(connection, wanted)
        return sessions.end_all(connection, person, by=by, now_ms=now_ms)

    return {"ended": write(request, job)}


@router.delete("/{name}/sessions/{session}")
def end_one_session(request: Request, name: str, session: str) -> dict[str, Any]:
    """Sign somebody out in one place."""
    by, now_ms = allow(request, "people").name, objects_of(request).now_ms()
    wanted = code_of(name)

    def job(connection: Any) -> None:
        person = people.need_person(connection, wanted)
        sessions.end_one(connection, person, session, by=by, now_ms=now_ms)

    write(request, job)
    return {"ended": 1}
