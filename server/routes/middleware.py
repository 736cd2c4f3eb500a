"""Who sends a request, decided before any route runs; and refused where nobody may come in.

Pure ASGI, so that event streams and large bodies pass through untouched.
"""

import ipaddress
import threading
from collections.abc import Callable
from typing import Any, Final
from urllib.parse import quote, urlsplit

from fastapi import FastAPI
from sqlalchemy import exc
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from server.access.actors import NOBODY, OPEN, Actor
from server.access.keys import hold_key
from server.access.sessions import SEEN_EVERY_MS, hold_session
from server.errors import (
    BusyError,
    ForbiddenError,
    InvalidError,
    NotFoundError,
    RingtellError,
    UnauthorizedError,
)
from server.language import N_
from server.routes import compressing, cookies, trouble_pages
from server.routes import headers as answer_headers
from server.routes.bodies import BodyMiddleware
from server.routes.commands import CommandMiddleware
from server.routes.problems import answer_of
from server.routes.speaking import SpeakingMiddleware
from server.store.database import USUAL
from server.store.device_keys import key_used
from server.store.people import session_seen
from server.store.trouble import trouble_of

#: A header no form of another site can send.
CSRF_HEADER: Final = "X-Ringtell"
_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
#: What everybody may see: the way in, whether the server lives, and how the API is used.
_PUBLIC: Final = frozenset(
    {"/login", "/api/v1/login", "/healthz", "/readyz", "/openapi.json", "/docs", "/favicon.ico"}
    | {"/manifest.webmanifest", "/service-worker.js"}
)
#: What a shared tablet may ask before anybody has said who they are; its own cookie is looked at there.
_OF_A_TABLET: Final = frozenset({"/api/v1/tablet", "/api/v1/tablet/enter"})
_PUBLIC_FOLDERS: Final = ("/static/",)
#: What somebody with a one-time password may do: set their own, or leave.
_WITH_ONE_TIME: Final = frozenset({"/api/v1/password", "/api/v1/me", "/api/v1/logout", "/logout"})


class AccessMiddleware:
    """Puts `request.state.actor` on every request."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._signs = SignsOfUse()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        try:
            objects = scope["app"].state.ringtell
            _check_address(scope)
            if objects.settings.no_login:
                _check_loopback(headers)
                actor = OPEN
            else:
                actor = await _actor(objects, scope, headers, self._signs)
                _check_origin(scope, headers, actor)
                if not _is_public(scope["path"]):
                    _check_entry(scope, actor)
        except RingtellError as error:
            await _refusal(scope, headers, error)(scope, receive, send)
            return
        except exc.SQLAlchemyError as error:
            trouble = trouble_of(error)
            if trouble is None:
                raise
            await answer_of(trouble)(scope, receive, send)
            return
        scope.setdefault("state", {})["actor"] = actor
        await self.app(scope, receive, send)


def install(app: FastAPI) -> None:
    """Let every request of the app pass here first."""
    app.add_middleware(CommandMiddleware)
    app.add_middleware(BodyMiddleware)
    app.add_middleware(SpeakingMiddleware)
    app.add_middleware(AccessMiddleware)
    trouble_pages.install(app)
    answer_headers.install(app)
    compressing.install(app)


class SignsOfUse:
    """Writes down now and then that a session or a key was used; never once a request."""

    def __init__(self) -> None:
        self._written: dict[bytes, int] = {}
        self._lock = threading.Lock()

    def note(self, objects: Any, ticket: bytes, write: Callable[..., None], *, every_ms: int) -> None:
        """Called when a sign is due; requests that come together leave one."""
        now_ms = objects.now_ms()
        with self._lock:
            if abs(now_ms - self._written.get(ticket, -every_ms)) < every_ms:
                return
            if len(self._written) > 20_000:
                self._written.clear()
            self._written[ticket] = now_ms
        try:
            objects.store.write(lambda c: write(c, ticket, now_ms=now_ms), priority=USUAL)
        except (BusyError, exc.SQLAlchemyError):
            # Whoever reads must not fail because a sign of use could not be kept; the next request tries.
            with self._lock:
                self._written.pop(ticket, None)


async def _actor(objects: Any, scope: Scope, headers: Headers, signs: SignsOfUse) -> Actor:
    """Who the key or the cookie stands for. A key that is sent has to be right."""
    authorization = headers.get("authorization")
    if authorization is not None:
        kind, _, token = authorization.partition(" ")
        is_bearer = kind.lower() == "bearer"
        found = await run_in_threadpool(_key, objects, token.strip(), signs) if is_bearer else None
        if found is None:
            raise UnauthorizedError(
                N_(
                    "this key is unknown or revoked; send Authorization: Bearer with one from ringtell"
                    " key create"
                )
            )
        return found
    token = cookies.read_cookie(headers, cookies.SESSION, scope.get("scheme", "http"))
    if not token:
        return NOBODY
    used = _is_use(scope, headers)
    return await run_in_threadpool(_session, objects, token, signs if used else None) or NOBODY


def _key(objects: Any, token: str, signs: SignsOfUse) -> Actor | None:
    with objects.store.read() as connection:
        held = hold_key(connection, token, now_ms=objects.now_ms())
    if held is not None and held.is_due:
        signs.note(objects, held.actor.ticket, key_used, every_ms=SEEN_EVERY_MS)
    return None if held is None else held.actor


def _session(objects: Any, token: str, signs: SignsOfUse | None) -> Actor | None:
    with objects.store.read() as connection:
        held = hold_session(connection, token, now_ms=objects.now_ms())
    if held is not None and held.is_due and signs is not None:
        signs.note(objects, held.actor.ticket, session_seen, every_ms=held.seen_every_ms)
    return None if held is None else held.actor


def _is_use(scope: Scope, headers: Headers) -> bool:
    """Whether somebody is there: not a page that keeps itself current by itself."""
    if scope["method"] not in _SAFE or scope["path"] == "/api/v1/me":
        return True
    if "x-fragment" in headers or scope["path"] == "/api/v1/stream":
        return False
    mode = headers.get("sec-fetch-mode")
    return mode is None or mode == "navigate"


def _check_address(scope: Scope) -> None:
    """A NUL character names nothing, and some databases fail at one."""
    if "\0" in scope["path"]:
        raise NotFoundError(N_("no address holds a NUL character"))
    if b"%00" in scope.get("query_string", b""):
        raise InvalidError(N_("the query holds a NUL character, which is in nothing there is"))


def _is_public(path: str) -> bool:
    return path in _PUBLIC or path in _OF_A_TABLET or path.startswith(_PUBLIC_FOLDERS)


def _check_entry(scope: Scope, actor: Actor) -> None:
    if actor.kind == "nobody":
        raise UnauthorizedError(N_("log in at /login, or send Authorization: Bearer with a device key"))
    if actor.must_change and scope["path"] not in _WITH_ONE_TIME:
        raise ForbiddenError(
            N_("the password was given out once; set your own with POST /api/v1/password first"),
            way_out="/login",
        )


def _check_origin(scope: Scope, headers: Headers, actor: Actor) -> None:
    """A page of another site must not act with somebody's cookie, nor log them in as another."""
    if scope["method"] in _SAFE or actor.kind == "key":
        return
    origin = headers.get("origin")
    if origin is not None and not _same_origin(origin, headers, scheme=scope.get("scheme", "http")):
        raise ForbiddenError(
            N_("Origin {origin!r} is not this server: the request came from another site", origin=origin)
        )
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        raise ForbiddenError(N_("the browser says that another site sent this request"))
    if actor.kind == "person" and origin is None and CSRF_HEADER not in headers:
        raise ForbiddenError(
            N_(
                "send the header {csrf_header}, or Origin, with whatever changes something",
                csrf_header=CSRF_HEADER,
            )
        )


def _same_origin(origin: str, headers: Headers, *, scheme: str = "http") -> bool:
    host = headers.get("host", "").lower()
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    # Behind a proxy that is not believed, TLS ends outside: the page is then https, this request is not.
    schemes = ("https",) if scheme == "https" else ("http", "https")
    return bool(host) and parts.scheme in schemes and parts.netloc.lower() == host


def _check_loopback(headers: Headers) -> None:
    """Without login, only pages of this machine may talk to it: no name that another could own."""
    host = headers.get("host", "")
    if not is_loopback(_host_name(host)):
        raise ForbiddenError(
            N_(
                "Host {host!r}: without login this server answers to 127.0.0.1, [::1] and localhost only",
                host=host,
            )
        )
    origin = headers.get("origin")
    if origin is not None and not _same_origin(origin, headers):
        raise ForbiddenError(
            N_("Origin {origin!r} is not this server: the request came from another site", origin=origin)
        )


def _host_name(host: str) -> str:
    if "@" in host:  # a user before the name belongs into no Host
        return ""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def is_loopback(name: str) -> bool:
    """Whether a host name stands for this machine and nothing else.

    >>> [is_loopback(name) for name in ("localhost", "127.0.0.1", "::1", "localhost.example", "10.0.0.1")]
    [True, True, True, False, False]
    """
    if name.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _refusal(scope: Scope, headers: Headers, error: RingtellError) -> ASGIApp:
    """A problem for programs, the way to the login for people."""
    path: str = scope["path"]
    wants_page = scope["method"] in ("GET", "HEAD") and "text/html" in headers.get("accept", "")
    to_login = error.status == 401 or "way_out" in error.facts
    if not (wants_page and to_login) or path.startswith("/api/") or "authorization" in headers:
        return answer_of(error)
    query: str = scope.get("query_string", b"").decode("latin-1")
    target = path + ("?" + query if query else "")
    return RedirectResponse(f"/login?next={quote(target, safe='/')}", status_code=303)
