"""A small server to call: the access layer and the acting routes over a database of its own."""

import contextlib
import dataclasses
from collections.abc import Iterator
from typing import Any

import anyio
import httpx
from fastapi import FastAPI

from server.access.keys import create_key
from server.access.passwords import hash_new_password
from server.access.people import add_person
from server.routes import (
    access,
    acting,
    alarms,
    baselines,
    keys,
    live,
    people,
    photos,
    problems,
    sheets,
    studies,
    tablets,
    trail,
)
from server.routes.gate import Gate
from server.routes.middleware import install
from server.settings import Settings
from server.store.database import Store
from server.store.people import change_person, person_by_name

#: 2026-04-01T06:00:00Z
MORNING = 1_775_023_200_000
PASSWORD = "correct horse 12"


class Heard:
    """A hub that only writes down what it was told."""

    def __init__(self) -> None:
        self.told: list[tuple[str, ...]] = []

    def publish(self, kind: str, *subjects: str) -> None:
        self.told.append((kind, *subjects))


@dataclasses.dataclass
class Objects:
    store: Store
    settings: Settings
    hub: Heard
    clock: int = MORNING
    gate: Gate = dataclasses.field(default_factory=Gate)
    woken: int = 0

    def now_ms(self) -> int:
        return self.clock

    def wake(self) -> None:
        self.woken += 1


class Caller:
    """Sends requests as one browser or device would: cookies are kept."""

    def __init__(self, app: FastAPI, **headers: str) -> None:
        self.app = app
        self.headers = headers
        self.cookies: dict[str, str] = {}

    def __call__(
        self, method: str, path: str, json: Any = None, *, host: str = "127.0.0.1:8000", **more: Any
    ) -> httpx.Response:
        return anyio.run(self._send, method, path, json, host, more)

    async def _send(
        self, method: str, path: str, json: Any, host: str, more: dict[str, Any]
    ) -> httpx.Response:
        headers = {**self.headers, **more.pop("headers", {})}
        if self.cookies:
            headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{host}") as client:
            answer = await client.request(method, path, json=json, headers=headers, **more)
        for name, value in answer.cookies.items():
            self.cookies[name] = value
        return answer


@dataclasses.dataclass
class Plant:
    """The server, its objects, and ways to call it."""

    app: FastAPI
    objects: Objects

    def caller(self, **headers: str) -> Caller:
        return Caller(self.app, **headers)

    def person(self, name: str, role: str) -> Caller:
        """Somebody with a password of their own, logged in as a page would be."""
        with_password(self.objects.store, name, role)
        caller = self.caller(**{"X-Ringtell": "page"})
        answer = caller("POST", "/api/v1/login", {"name": name, "password": PASSWORD})
        assert answer.status_code == 200, answer.text
        return caller

    def key(self, *, press: str = "", scopes: tuple[str, ...] = ("ingest",)) -> Caller:
        made = self.objects.store.write(
            lambda c: create_key(c, press=press, scopes=scopes, by="test", now_ms=MORNING)
        )
        return self.caller(Authorization=f"Bearer {made.token}")


def with_password(store: Store, name: str, role: str) -> None:
    """Add somebody whose password is PASSWORD."""
    new_hash = hash_new_password(name, old="", new=PASSWORD)
    store.write(lambda c: add_person(c, name, role, by="test", now_ms=MORNING))
    with store.read() as connection:
        person = person_by_name(connection, name)
    assert person is not None
    own = {"password_hash": new_hash, "must_change": False, "one_time_ends_ms": None}
    store.write(lambda c: change_person(c, person.person_id, **own))


@contextlib.contextmanager
def plant(url: str, *, no_login: bool = False) -> Iterator[Plant]:
    store = Store(url)
    objects = Objects(store, Settings(database_url=url, no_login=no_login), Heard())
    app = FastAPI()
    app.state.ringtell = objects
    problems.install(app)
    install(app)
    acts = (acting, baselines, alarms, studies, sheets, photos)
    for module in (access, *acts, people, keys, tablets, trail, live):
        app.include_router(module.router)
    try:
        yield Plant(app, objects)
    finally:
        store.close()
