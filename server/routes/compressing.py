"""Pages and data go out compressed: what was read by eye or program weighs a fifth on the way.

Only answers to GET that come in one piece: streams stay streams, and what is told once (a password, a key) is
never an answer to GET. Pages hold nothing secret that guessing at lengths could find out: whose session it is
stands in a cookie, and no page repeats it.
"""

import gzip
from typing import Final

import brotli
from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Kinds of answers that are text; what is compressed already (pictures, XLSX, Parquet) stays as it is.
KINDS: Final = ("text/html", "application/json", "application/problem+json", "text/csv")
#: Below this a packet is a packet.
LEAST_BYTES: Final = 1_000
#: From this on another thread does it, so that others are answered meanwhile.
_LONG_BYTES: Final = 64_000
_QUALITY: Final = 4


class CompressingMiddleware:
    """Compresses an answer that comes whole, in the best form the caller takes."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        form = "" if scope["type"] != "http" or scope["method"] != "GET" else accepted(Headers(scope=scope))
        if not form:
            await self.app(scope, receive, send)
            return
        await self.app(scope, receive, _Answer(send, form).send)


class _Answer:
    """The head is held back until it is known whether the body comes whole."""

    def __init__(self, send: Send, form: str) -> None:
        self._send, self._form = send, form
        self._head: Message | None = None

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_text(Headers(raw=message["headers"])):
            self._head = message
            return
        head, self._head = self._head, None
        if head is not None:
            if message["type"] == "http.response.body" and not message.get("more_body", False):
                message = await self._made_small(head, message)
            await self._send(head)
        await self._send(message)

    async def _made_small(self, head: Message, message: Message) -> Message:
        headers = MutableHeaders(scope=head)
        headers.add_vary_header("Accept-Encoding")
        body: bytes = message.get("body", b"")
        if len(body) < LEAST_BYTES:
            return message
        if len(body) < _LONG_BYTES:
            small = compressed(body, self._form)
        else:
            small = await run_in_threadpool(compressed, body, self._form)
        headers["Content-Encoding"] = self._form
        headers["Content-Length"] = str(len(small))
        return {**message, "body": small}


def accepted(headers: Headers) -> str:
    """`br`, `gzip` or, where the caller takes neither, ''.

    >>> accepted(Headers({"accept-encoding": "gzip, deflate, br"})), accepted(Headers({}))
    ('br', '')
    >>> accepted(Headers({"accept-encoding": "br;q=0, gzip"}))
    'gzip'
    """
    offered = {}
    for part in headers.get("accept-encoding", "").lower().split(","):
        name, _, weight = part.partition(";")
        offered[name.strip()] = weight.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return next((form for form in ("br", "gzip") if offered.get(form)), "")


def compressed(body: bytes, form: str) -> bytes:
    """The body in one of the forms.

    >>> gzip.decompress(compressed(b"shots", "gzip"))
    b'shots'
    """
    if form == "br":
        made: bytes = brotli.compress(body, quality=_QUALITY)
        return made
    return gzip.compress(body, compresslevel=5, mtime=0)


def _is_text(headers: Headers) -> bool:
    kind = headers.get("content-type", "").partition(";")[0].strip()
    return kind in KINDS and "content-encoding" not in headers


def install(app: FastAPI) -> None:
    app.add_middleware(CompressingMiddleware)
