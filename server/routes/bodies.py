"""How large a body may be, for every route that does not bound its own, before a byte of it is understood.

Frameworks read a body whole before they look at it: without a bound whoever finds the login fills the memory.
"""

import re
from typing import Any, Final

from starlette.requests import ClientDisconnect, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.access.actors import NOBODY, Actor
from server.errors import BusyError, RingtellError
from server.language import N_
from server.routes.problems import answer_of

#: A name and a password, from whoever is not known yet.
OF_NOBODY: Final = 16 * 1024
#: Largest JSON anybody sends; 200,000 numbers take half of it.
OF_KNOWN: Final = 8 << 20
#: Bodies held at the same time, all together.
HELD_MAX: Final = 64 << 20
#: These read and bound their bodies themselves: shots, files, photos.
_OWN_BOUND: Final = re.compile(
    r"/api/v1/(shots|imports|presses/[^/]+/(studies/[^/]+/photos|sheets/[^/]+/file))"
).fullmatch
_WITHOUT: Final = frozenset({"GET", "HEAD", "OPTIONS"})


class BodyMiddleware:
    """Reads a body, bounded in size and time, and hands it on whole."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._held = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in _WITHOUT or _OWN_BOUND(scope["path"]):
            await self.app(scope, receive, send)
            return
        objects = scope["app"].state.ringtell
        actor: Actor = scope.get("state", {}).get("actor", NOBODY)
        most = OF_NOBODY if actor.kind == "nobody" else min(OF_KNOWN, objects.settings.max_body_bytes)
        try:
            body = await objects.gate.body_of(Request(scope, receive), most=most)
            if self._held + len(body) > HELD_MAX:
                raise BusyError(N_("too many large requests are in hand; send it again"), retry_after_s=1)
        except RingtellError as error:
            await answer_of(error)(scope, receive, send)
            return
        except ClientDisconnect:
            return
        self._held += len(body)
        try:
            await self.app(scope, _again(body, receive), send)
        finally:
            self._held -= len(body)


def _again(body: bytes, receive: Receive) -> Receive:
    """What was read, as if it just came; behind it whatever comes next."""
    left: list[Any] = [{"type": "http.request", "body": body, "more_body": False}]

    async def given() -> Message:
        return left.pop() if left else await receive()

    return given
