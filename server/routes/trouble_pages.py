"""Trouble as a page, where somebody opened one: what happened, in words, and the way out.

Needs no database: it may be what is in trouble. Programs get problem+json as ever.
"""

import json
from typing import Any, Final
from urllib.parse import quote

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.access.actors import NOBODY, permissions_of
from server.routes import problems
from server.routes.pages import render
from server.show.frame import Frame
from server.show.more_pages import TroublePage

_PLANT: Final = ("/", "To the plant")
_AGAIN: Final = "Try again"
#: Status → title, answer, and whether the same address may be there a moment later.
_WORDS: Final[dict[int, tuple[str, str, bool]]] = {
    403: ("Not yours to open", "This page is not yours to open.", False),
    404: ("Not found", "There is no such page here.", False),
    405: ("Not found", "There is no page at this address.", False),
    422: ("Cannot be shown", "This address asks for something that cannot be shown.", False),
    429: ("Later", "The server is busy. Try again in a moment.", True),
    500: ("Failed", "Something failed here. It is written down.", True),
    503: ("Later", "The server cannot answer at this moment. It goes on by itself.", True),
    507: ("No room", "The server's disk is full. Whoever looks after it has to make room.", True),
}
_OTHER: Final = ("Cannot be shown", "This page cannot be shown.", True)


class TroublePages:
    """Answers what nobody foresaw, and turns problems into pages for who opened one."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _Answer(scope, receive, send)
        try:
            await self.app(scope, receive, answer.send)
        except Exception as error:
            # Answered here rather than outside of everything: so it is bound, measured and has its id.
            if answer.has_begun:
                raise
            await problems.unforeseen(error)(scope, receive, answer.send)


class _Answer:
    """An answer on its way out; a problem is held back until it is whole."""

    def __init__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.has_begun = False
        self._scope, self._receive, self._send = scope, receive, send
        self._status = 0
        self._headers: dict[str, str] = {}
        self._held: bytearray | None = None

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.has_begun = True
            headers = Headers(raw=message["headers"])
            if headers.get("content-type") == problems.MEDIA_TYPE and _opens_a_page(self._scope):
                self._status, self._held = int(message["status"]), bytearray()
                self._headers = {name: headers[name] for name in ("retry-after",) if name in headers}
                return
        if self._held is None:
            await self._send(message)
            return
        self._held += message.get("body", b"")
        if not message.get("more_body", False):
            problem = json.loads(self._held)
            page = trouble_page(self._status, problem, path=self._scope["path"], may=_may(self._scope))
            answer = HTMLResponse(page, status_code=self._status, headers=self._headers)
            answer.headers["Cache-Control"] = "no-store"
            await answer(self._scope, self._receive, self._send)


def _opens_a_page(scope: Scope) -> bool:
    headers = Headers(scope=scope)
    wants = "text/html" in headers.get("accept", "") and "x-fragment" not in headers
    return wants and scope["method"] == "GET" and not scope["path"].startswith(("/api/", "/static/"))


def _may(scope: Scope) -> frozenset[str]:
    """What whoever asked may do; nothing where the door had not yet said who it is."""
    actor = scope.get("state", {}).get("actor", NOBODY)
    return frozenset() if actor.must_change else permissions_of(actor)


def trouble_page(
    status: int, problem: dict[str, Any], *, path: str, may: frozenset[str] = frozenset()
) -> str:
    """The page for a problem; what it says beyond the words of its status is the problem's own detail.

    may: who may read finds from here what the address did not lead to.
    """
    title, answer, again = _WORDS.get(status, _OTHER)
    detail = str(problem.get("detail", ""))
    under = "" if detail == problem.get("title") else detail[:1].upper() + detail[1:]
    ways = [_PLANT]
    if again:
        # However many slashes it began with, it leads to this server.
        ways.insert(0, ("/" + quote(path.lstrip("/")), _AGAIN))
    if status == 403:
        ways.append(("/login", "To the login"))
    frame = Frame(title=title, active="", plant_name="", clock_text="", may=may)
    return render("trouble.html", TroublePage(frame=frame, answer=answer, under=under, way_out=tuple(ways)))


def install(app: FastAPI) -> None:
    app.add_middleware(TroublePages)
