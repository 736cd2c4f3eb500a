"""The whole application over a made-up plant, as a browser meets it: middleware, static files, policy."""

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import sqlalchemy as sa
import uvicorn
from fastapi import FastAPI

from server.app import build_app, build_objects
from server.settings import Settings
from tests.pages.plant import NOW, make_plant
from tests.processes import free_port


@contextlib.contextmanager
def serving(
    folder: Path, work: Callable[[sa.Connection], None] | None = None
) -> Iterator[tuple[str, FastAPI]]:
    """Its address and the application; it ends with the block. work: what has been done there besides."""
    store = make_plant(folder)
    if work is not None:
        store.write(work)
    store.close()
    port = free_port()
    url = f"sqlite:///{folder / 'pages.db'}"
    settings = Settings(database_url=url, port=port, no_login=True, child_process=False)
    app = build_app(build_objects(settings, now_ms=lambda: NOW), run_pipeline=False)
    running = uvicorn.Server(
        uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    end = time.monotonic() + 20
    while not running.started and time.monotonic() < end:
        time.sleep(0.02)
    assert running.started
    try:
        yield f"http://127.0.0.1:{port}", app
    finally:
        running.should_exit = True
        thread.join(timeout=15)


@contextlib.contextmanager
def whole_app(folder: Path) -> Iterator[str]:
    """Its address."""
    with serving(folder) as (address, _app):
        yield address
