"""A plant over a real database, files to import, and the API as a page meets it."""

import contextlib
import dataclasses
import time
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Any

import httpx

from server.app import Objects, build_app, build_objects
from server.settings import Settings

NOW_MS = 1_795_000_000_000
HEADER = ("Cycle", "Time", "Shot size [mm]", "Cushion [mm]", "Peak pressure [bar]", "Part weight [g]")


@dataclasses.dataclass
class Plant:
    """The application's objects and a client of its API."""

    objects: Objects
    client: httpx.AsyncClient

    async def call(self, method: str, path: str, **how: Any) -> Any:
        answer = await self.client.request(method, f"/api/v1{path}", **how)
        assert answer.status_code < 400, answer.text
        return answer.json()

    async def bring(self, name: str, content: bytes) -> int:
        answer = await self.call("POST", f"/imports?name={name}", content=content)
        return int(answer["id"])

    async def ended(self, number: int, *states: str) -> Any:
        """The import once it has one of these states."""
        until = time.monotonic() + 30
        while time.monotonic() < until:
            one = await self.call("GET", f"/imports/{number}")
            if one["state"] in (states or ("done", "failed", "cancelled", "undone")):
                return one
            time.sleep(0.01)
        raise AssertionError(one)


@contextlib.asynccontextmanager
async def plant_at(url: str) -> AsyncIterator[Plant]:
    settings = Settings(database_url=url, no_login=True, accept_unknown=True, child_process=False)
    objects = build_objects(settings, now_ms=lambda: NOW_MS)
    app = build_app(objects, run_pipeline=False)
    transport = httpx.ASGITransport(app)
    try:
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            yield Plant(objects, client)
    finally:
        objects.imports.close()
        objects.pipeline.close()
        objects.store.close()


def rows(count: int, *, first: int = 1, start: str = "2026-04-01") -> list[tuple[Any, ...]]:
    """Shots of a press that works, 20 s apart."""
    made = []
    for i in range(count):
        seconds = 20 * (first + i)
        clock = f"{start} {seconds // 3600 % 24:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
        made.append((first + i, clock, 80 + (i * 7 % 5) / 100, 6 + (i * 3 % 7) / 100, 1000 + i % 9, 41.2))
    return made


def table(shots: Sequence[Sequence[Any]], *, header: Sequence[str] = HEADER, mark: str = ",") -> bytes:
    return ("\n".join(mark.join(map(str, row)) for row in (header, *shots)) + "\n").encode()


def kept(file: Path, content: bytes) -> Path:
    file.write_bytes(content)
    return file
