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
from server.language import N_, spoken
from server.routes import problems
from server.routes.pages import render
from server.routes.speaking import language_of
from server.show.frame import Frame
from server.show.more_pages import TroublePage

_PLANT: Final = ("/", N_("To the plant"))
_AGAIN: Final = N_("Try again")
#: Status → title, answer, and whether the same address may be there a moment later.
_WORDS: Final[dict[int, tuple[str, str, bool]]] = {
    403: (N_("Not yours to open"), N_("This page is not yours to open."), False),
    404: (N_("Not found"), N_("There is no such page here."), False),
    405: (N_("Not found"), N_("There is no page at this address."), False),
    422: (N_("Cannot be shown"), N_("This address asks for something that cannot be shown."), False),
    429: (N_("Later"), N_("The server is busy. Try again in a moment."), True),
    500: (N_("Failed"), N_("Something failed here. It is written down."), True),
    503: (N_("Later"), N_("The server cannot answer at this moment. It goes on by itself."), True),
    507: (N_("No room"), N_("The server's disk is full. Whoever looks after it has to make room."), True),
}
_OTHER: Final = (N_("Cannot be shown"), N_("This page cannot be shown."), True)


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
            with spoken(language_of(self._scope)):
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
        ways.append(("/login", N_("To the login")))
    frame = Frame(title=title, active="", plant_name="", clock_text="", may=may)
    return render("trouble.html", TroublePage(frame=frame, answer=answer, under=under, way_out=tuple(ways)))


def install(app: FastAPI) -> None:
    app.add_middleware(TroublePages)
