"""Keys of devices: made, listed, handed over to a successor, revoked."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request

from server.access import keys
from server.access.keys import NewKey
from server.record.fields import Given, read_code
from server.routes.calls import allow, objects_of, page_of, shown_once, when, write
from server.store import device_keys as kept
from server.store.device_keys import DeviceKey

router = APIRouter(prefix="/api/v1/keys", tags=["keys"])

Sent = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


def key_item(key: DeviceKey, now_ms: int) -> dict[str, Any]:
    """A key as the API writes it; of the key itself nothing is left to show."""
    return {
        "id": key.key_id,
        "name": key.name,
        "press": key.press or None,
        "scopes": key.scopes.split(),
        "holds": key.holds(now_ms),
        "created_at": when(key.created_ms),
        "created_by": key.created_by,
        "last_used_at": when(key.last_used_ms),
        "ends_at": when(key.ends_ms),
        "revoked_at": when(key.revoked_ms),
        "replaces": key.replaces,
    }


def _shown_once(made: NewKey, now_ms: int) -> dict[str, Any]:
    text = f"Key {made.key.key_id}, shown this once: {made.token}"
    return {**key_item(made.key, now_ms), "token": made.token, "text": text}


@router.get("")
def get_keys(request: Request) -> dict[str, Any]:
    """Every key there ever was, the oldest first."""
    allow(request, "keys")
    objects = objects_of(request)
    with objects.store.read() as connection:
        found = kept.all_keys(connection)
    return page_of([key_item(key, objects.now_ms()) for key in found], None)


@router.post("", status_code=201)
def post_key(request: Request, body: Sent = None) -> dict[str, Any]:
    """A new key for one press, or without `press` for all; the answer holds it, once."""
    by, now_ms = allow(request, "keys").name, objects_of(request).now_ms()
    shown_once(request)
    given = Given.of(body, known=("name", "press", "scopes"))
    press = read_code("press", given.body["press"]) if given.body.get("press") else ""
    scopes = given.body.get("scopes", ["ingest"])
    wanted = scopes.split() if isinstance(scopes, str) else scopes
    if not isinstance(wanted, list) or not all(isinstance(one, str) for one in wanted):
        wanted = []
    name = given.text("name")
    made = write(
        request,
        lambda c: keys.create_key(c, press=press, scopes=wanted, name=name, by=by, now_ms=now_ms),
    )
    return _shown_once(made, now_ms)


@router.post("/{number}/rotate", status_code=201)
def rotate_key(request: Request, number: Number, body: Sent = None) -> dict[str, Any]:
    """A successor; the old key goes on for `overlap_hours`, so that no shot is refused meanwhile."""
    by, now_ms = allow(request, "keys").name, objects_of(request).now_ms()
    shown_once(request)
    given = Given.of({} if body is None else body, known=("overlap_hours",))
    hours = given.number("overlap_hours")
    overlap = keys.OVERLAP_HOURS if hours is None else hours
    made = write(request, lambda c: keys.rotate_key(c, number, overlap_hours=overlap, by=by, now_ms=now_ms))
    return _shown_once(made, now_ms)


@router.delete("/{number}")
def revoke_key(request: Request, number: Number) -> dict[str, Any]:
    """From now on it opens nothing."""
    by, now_ms = allow(request, "keys").name, objects_of(request).now_ms()
    write(request, lambda c: keys.revoke_key(c, number, by=by, now_ms=now_ms))
    return {"revoked": number}
