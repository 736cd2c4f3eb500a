"""A page server in a thread of its own, and a Chromium that looks at it."""

import asyncio
import contextlib
import dataclasses
import queue
import socket
import threading
import time
from collections.abc import AsyncIterator, Iterator
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, StreamingResponse
from playwright.sync_api import Browser, Page

from server.notify.floor import tick_step
from server.store.database import Store
from server.store.plant import need_press
from tests.chromium import chromium
from tests.pages.plant import NOW, make_plant
from tests.pages.server import page_server


@dataclasses.dataclass
class PageServer:
    """Where it listens, what it was told, and a way to tell its open pages something."""

    base: str
    answered: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    heard: "queue.Queue[str]" = dataclasses.field(default_factory=queue.Queue)
    down: bool = False


def _outside(app: FastAPI, server: PageServer, store: Store) -> None:
    """What pages call beside themselves: the stream, the answer to an alarm, a tick."""

    @app.put("/api/v1/presses/{press}/ticks")
    async def tick(request: Request, press: str) -> JSONResponse:
        body = await request.json()
        store.write(
            lambda c: tick_step(
                c, need_press(c, press), body["step"], ticked=body["ticked"], who="ines", now_ms=NOW
            )
        )
        return JSONResponse({})

    @app.get("/api/v1/stream")
    async def stream(request: Request) -> StreamingResponse:
        async def events() -> AsyncIterator[str]:
            yield "retry: 500\n\n"
            while not await request.is_disconnected():
                try:
                    yield f"event: {server.heard.get_nowait()}\ndata: {{}}\n\n"
                except queue.Empty:
                    await asyncio.sleep(0.05)

        return StreamingResponse(events(), media_type="text/event-stream")

    @app.post("/api/v1/alarms/{alarm_id}/acknowledge")
    async def acknowledge(request: Request, alarm_id: str) -> JSONResponse:
        if server.down:
            return JSONResponse({"title": "down"}, status_code=503)
        server.answered.append(
            {
                "id": alarm_id,
                "body": await request.json(),
                "key": request.headers.get("idempotency-key"),
                "guard": request.headers.get("x-ringtell"),
            }
        )
        return JSONResponse({})


@contextlib.contextmanager
def serving(store: Store) -> Iterator[PageServer]:
    """The pages over a store at an address of their own; the store is closed with them."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = PageServer(f"http://127.0.0.1:{port}")
    app = page_server(store)
    _outside(app, made, store)
    running = uvicorn.Server(
        uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not running.started and time.monotonic() < until:
        time.sleep(0.02)
    assert running.started
    yield made
    running.should_exit = True
    thread.join(timeout=10)
    store.close()


# Package, not session: Playwright keeps an event loop running in this thread while it is open, and
# tests after these run loops of their own.
@pytest.fixture(scope="package")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageServer]:
    with serving(make_plant(tmp_path_factory.mktemp("browser"))) as made:
        yield made


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


@dataclasses.dataclass(frozen=True)
class Watched:
    """A page with everything it complained about."""

    page: Page
    complaints: list[str]

    def violations(self) -> list[str]:
        found: list[str] = self.page.evaluate("window.violations")
        return found


_LISTEN = """
window.violations = [];
document.addEventListener('securitypolicyviolation', (event) => {
  window.violations.push(`${event.violatedDirective} ${event.sourceFile}:${event.lineNumber}`);
});
"""


def watch(page: Page) -> Watched:
    """Listen to a page before it opens anything."""
    watched = Watched(page, [])

    def complain(message: Any) -> None:
        if message.type in ("error", "warning"):
            watched.complaints.append(message.text)

    page.on("console", complain)
    page.on("pageerror", lambda error: watched.complaints.append(str(error)))
    page.add_init_script(_LISTEN)
    return watched
