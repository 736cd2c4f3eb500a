"""Every request gets an id, echoed to whoever sent it, and is measured until its answer begins."""

import logging
import time
from typing import Final

from fastapi import FastAPI
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.logs import new_request_id, request_id

log = logging.getLogger("ringtell.request")

HEADER: Final = "X-Request-Id"
#: Asked every few seconds by watchdogs: measured, not logged.
_UNLOGGED: Final = frozenset({"/healthz", "/readyz", "/metrics"})


class ObservingMiddleware:
    """Outermost: whatever refuses or fails further in has its id and its measure, too."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        one = new_request_id(Headers(scope=scope).get(HEADER))
        token = request_id.set(one)
        began = time.perf_counter()
        status = 0

        async def observed(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = int(message["status"])
                MutableHeaders(scope=message)[HEADER] = one
                _note(scope, status, time.perf_counter() - began)
            await send(message)

        try:
            await self.app(scope, receive, observed)
        finally:
            request_id.reset(token)


def install(app: FastAPI) -> None:
    """Let every request pass here before anything else: installed after all other middleware."""
    app.add_middleware(ObservingMiddleware)


def _note(scope: Scope, status: int, seconds: float) -> None:
    route = getattr(scope.get("route"), "path", "other")
    scope["app"].state.ringtell.measures.answered(route, status, seconds)
    if scope["path"] in _UNLOGGED:
        return
    log.info(
        "%s %s %d", scope["method"], scope["path"], status,
        extra={"method": scope["method"], "route": route, "status": status, "ms": round(seconds * 1000, 1)},
    )  # fmt: skip
