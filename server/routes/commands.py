"""`Idempotency-Key`: a POST that is sent again with the same key acts once and gets the same answer.

The middleware notes the key of a request; `calls.write` keeps it in the very transaction of what the
request does, so that neither is there without the other; once the answer is known it is kept beside the
key. Whoever sends the same again is given that answer. Answers with a secret in them are not kept.
"""

import hashlib
import json
import logging
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import exc
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.access.actors import NOBODY, Actor
from server.errors import AlreadyDoneError, BusyError, ConflictError, InvalidError
from server.language import N_
from server.routes.problems import answer_of
from server.store import commands as kept

log = logging.getLogger("ringtell")

HEADER: Final = "Idempotency-Key"
KEY_LENGTH_MAX: Final = 200
#: Larger answers are not kept: the same request again is then told that it was carried out.
ANSWER_MAX: Final = 256 * 1024
#: So long the answer of a command may take to be kept beside it.
_UNDER_WAY_MS: Final = 10_000
#: Doors have answers with a cookie, or none; alarms keep keys with the steps of each alarm.
_WITHOUT: Final = ("/api/v1/login", "/api/v1/logout", "/api/v1/password", "/api/v1/tablet", "/api/v1/alarms/")


class Command:
    """The key a request came with, what it asks, and whether its transaction is through."""

    def __init__(self, key: str, action: str) -> None:
        self.key, self.action = key, action
        self.is_done = False
        self.is_secret = False
        self.who = ""
        self._body = hashlib.sha256()

    def heard(self, part: bytes) -> None:
        self._body.update(part)

    @property
    def asked(self) -> str:
        """What tells this body from another."""
        return self._body.hexdigest()

    def begin(self, connection: sa.Connection, actor: Actor, *, now_ms: int) -> None:
        """Raise when it was carried out before; else keep the key in this transaction."""
        self.who = actor.name if actor.kind != "key" else f"key {actor.ticket.hex()[:16]}"
        before = kept.carried_out(connection, self.who, self.key)
        if before is None:
            kept.remember(connection, self.who, self.key, action=self.action, asked=self.asked, now_ms=now_ms)
            return
        if (before.action, before.asked) != (self.action, self.asked):
            raise ConflictError(
                N_(
                    "{header} {key!r} was used for {action!r} with other content; use a fresh one",
                    header=HEADER,
                    key=self.key,
                    action=before.action,
                )
            )
        if before.status is not None and before.answer is not None:
            raise AlreadyDoneError(
                N_("this was carried out before"),
                answer_status=before.status,
                answer=json.loads(before.answer),
            )
        if now_ms - before.at_ms < _UNDER_WAY_MS:
            raise BusyError(N_("this very request is being carried out; ask again in 1 s"), retry_after_s=1)
        raise ConflictError(N_("this was carried out before, and its answer is not kept; look it up"))


class CommandMiddleware:
    """Puts `request.state.command` on a POST with a key, and keeps the answer it gets."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        key = _key_of(scope)
        if key is None:
            await self.app(scope, receive, send)
            return
        if not (1 <= len(key) <= KEY_LENGTH_MAX and key.isascii() and key.isprintable()):
            error = InvalidError(
                N_(
                    "{header}: 1 to {key_length_max} printable characters",
                    header=HEADER,
                    key_length_max=KEY_LENGTH_MAX,
                ),
                field=HEADER,
            )
            await answer_of(error)(scope, receive, send)
            return
        command = Command(key, f"POST {scope['path']}")
        command.heard(scope.get("query_string", b""))
        scope.setdefault("state", {})["command"] = command

        async def heard() -> Message:
            message = await receive()
            command.heard(message.get("body", b""))
            return message

        await self.app(scope, heard, _Answer(scope, command, send))


class _Answer:
    """Holds the end of a command's answer back until it is kept."""

    def __init__(self, scope: Scope, command: Command, send: Send) -> None:
        self._scope, self._command, self._send = scope, command, send
        self._status, self._body = 0, b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._status = int(message["status"])
        elif message["type"] == "http.response.body" and len(self._body) <= ANSWER_MAX:
            self._body += message.get("body", b"")
            if not message.get("more_body", False):
                await self._keep()
        await self._send(message)

    async def _keep(self) -> None:
        command = self._command
        if not command.is_done or command.is_secret or len(self._body) > ANSWER_MAX:
            return
        store = self._scope["app"].state.ringtell.store
        answer = self._body.decode()
        try:
            await run_in_threadpool(
                store.write,
                lambda c: kept.keep_answer(c, command.who, command.key, status=self._status, answer=answer),
            )
        except (BusyError, exc.SQLAlchemyError):
            # What was done is done; whoever asks again is told so without the answer.
            log.warning("the answer of %s could not be kept for a repetition", command.action)


def _key_of(scope: Scope) -> str | None:
    if scope["type"] != "http" or scope["method"] != "POST":
        return None
    path: str = scope["path"]
    if not path.startswith("/api/v1/") or path.startswith(_WITHOUT):
        return None
    actor: Any = scope.get("state", {}).get("actor", NOBODY)
    return None if actor.kind == "nobody" else Headers(scope=scope).get(HEADER)
