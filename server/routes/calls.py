"""What the acting routes share: who calls, writing under a permission, cursors, times as text."""

import base64
import binascii
import json
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, Protocol, TypeVar

import sqlalchemy as sa
from fastapi import Request

from server.access.actors import NOBODY, Actor, Permission, need
from server.clock import as_text
from server.errors import InvalidError, NotFoundError
from server.events import EventKind
from server.language import N_
from server.notify.outlets import Outlet
from server.settings import Settings
from server.store.database import Store

Result = TypeVar("Result")


#: A cursor holds a few numbers.
_CURSOR_MAX: Final = 400


class Hub(Protocol):
    """Tells open pages which ids changed."""

    def publish(self, kind: EventKind, *subjects: str) -> None: ...


class Objects(Protocol):
    """What `app` puts together for the routes."""

    @property
    def store(self) -> Store: ...
    @property
    def settings(self) -> Settings: ...
    @property
    def hub(self) -> Hub: ...
    @property
    def outlets(self) -> Mapping[str, Outlet]: ...
    def now_ms(self) -> int: ...
    def wake(self) -> None: ...


def objects_of(request: Request) -> Objects:
    found: Objects = request.app.state.ringtell
    return found


def actor_of(request: Request) -> Actor:
    """Who sent this; nobody unless the access layer said so."""
    found: Actor = getattr(request.state, "actor", NOBODY)
    return found


def allow(request: Request, permission: Permission, *, press: str | None = None) -> Actor:
    """The actor, if they may do this; else Unauthorized or Forbidden."""
    actor = actor_of(request)
    need(actor, permission, press=press)
    return actor


def code_of(text: str) -> str:
    """A press or mold code of a path in its stored form; what can be no code is not looked for."""
    if "\0" in text:
        raise NotFoundError(N_("no code holds a NUL character"))
    return unicodedata.normalize("NFC", text)


class Command(Protocol):
    """What came with an `Idempotency-Key` (`routes/commands.py`)."""

    is_done: bool
    is_secret: bool

    def begin(self, connection: sa.Connection, actor: Actor, *, now_ms: int) -> None: ...


def write(request: Request, job: Callable[[sa.Connection], Result]) -> Result:
    """Run a job in its own transaction; the first of a request with an Idempotency-Key runs once ever."""
    objects = objects_of(request)
    command: Command | None = getattr(request.state, "command", None)
    if command is None or command.is_done:
        return objects.store.write(job)
    actor, now_ms = actor_of(request), objects.now_ms()

    def once(connection: sa.Connection) -> Result:
        command.begin(connection, actor, now_ms=now_ms)
        return job(connection)

    result = objects.store.write(once)
    command.is_done = True
    return result


def shown_once(request: Request) -> None:
    """The answer holds a secret: it is not kept, even for whoever sends the very same again."""
    command: Command | None = getattr(request.state, "command", None)
    if command is not None:
        command.is_secret = True


def when(at_ms: int | None) -> str | None:
    """A time as the API writes it."""
    return None if at_ms is None else as_text(at_ms)


def cursor_text(key: Sequence[int]) -> str:
    """A keyset cursor as text nobody needs to read.

    >>> read_cursor(cursor_text([1, 2, 3]), length=3)
    [1, 2, 3]
    """
    return base64.urlsafe_b64encode(json.dumps(list(key)).encode()).decode().rstrip("=")


def read_cursor(text: str, *, length: int) -> list[int]:
    """The key in a cursor, or InvalidError."""
    if len(text) > _CURSOR_MAX:  # none of ours is that long, and what lies nested deep breaks who reads it
        raise _bad_cursor(text)
    try:
        key = json.loads(base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True))
    except (binascii.Error, ValueError):
        key = None
    if not isinstance(key, list) or len(key) != length:
        raise _bad_cursor(text)
    for part in key:
        if isinstance(part, bool) or not isinstance(part, int) or abs(part) >= 1 << 62:
            raise _bad_cursor(text)
    return key


def _bad_cursor(text: str) -> InvalidError:
    return InvalidError(
        N_("cursor {value!r} is none of ours; take it from next_cursor", value=text[:60]), field="cursor"
    )


def page_of(items: list[Any], cursor: str | None) -> dict[str, Any]:
    return {"items": items, "next_cursor": cursor}
