"""What every answer carries: the strict policy, no guessing of types, and TLS for good once there was TLS."""

from typing import Final

from fastapi import FastAPI
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Pages load from this server alone; no script and no style within a page.
PAGE_POLICY: Final = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "object-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
)
#: What is no page loads nothing, even when a browser is brought to show it.
_BARE_POLICY: Final = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
_ALWAYS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}
#: Half a year, for this name alone: other services of the host may speak plainly.
_TLS_ONLY: Final = "max-age=15768000"


class HeadersMiddleware:
    """Adds what a route has not said itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                _complete(MutableHeaders(scope=message), scope)
            await send(message)

        await self.app(scope, receive, send_with_headers)


def _complete(headers: MutableHeaders, scope: Scope) -> None:
    for name, value in _ALWAYS.items():
        headers.setdefault(name, value)
    kind = headers.get("content-type", "")
    # A script of its own process (a service worker) would be bound by the policy it arrives with.
    if "javascript" not in kind:
        policy = PAGE_POLICY if kind.startswith("text/html") else _BARE_POLICY
        headers.setdefault("Content-Security-Policy", policy)
    if scope["path"].startswith("/api/"):
        headers.setdefault("Cache-Control", "no-store")
    if scope.get("scheme") == "https":
        headers.setdefault("Strict-Transport-Security", _TLS_ONLY)


def install(app: FastAPI) -> None:
    app.add_middleware(HeadersMiddleware)
