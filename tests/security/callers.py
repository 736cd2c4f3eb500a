"""The whole application over a database of its own, and one caller a role, a scope, a press, an area."""

import contextlib
import dataclasses
from collections.abc import AsyncIterator, Iterator
from typing import Any

import anyio
import httpx
from fastapi import FastAPI

from server.access.keys import create_key
from server.access.people import Changes, add_person, change_person, need_person
from server.access.sessions import Opening, open_session
from server.access.tablets import enrol
from server.app import build_app, build_objects
from server.contract import ROLES
from server.record.presses import configure_mold, configure_press
from server.routes.cookies import SESSION, TABLET
from server.settings import Settings
from server.store.alarms import Alarm, insert_alarm
from server.store.people import change_person as change_row
from server.store.plant import need_press

MORNING = 1_775_023_200_000
#: Presses of the plant by area.
PRESSES = {"P01": "Hall 1", "P02": "Hall 2"}


@dataclasses.dataclass(frozen=True)
class Who:
    """Somebody who calls: what they send along, and what the table says of them."""

    name: str
    headers: dict[str, str] = dataclasses.field(repr=False)
    role: str = ""
    scopes: tuple[str, ...] = ()
    press: str = ""
    areas: tuple[str, ...] = ()


@dataclasses.dataclass(frozen=True)
class House:
    """The application and everybody who calls it."""

    app: FastAPI
    objects: Any
    callers: dict[str, Who]

    @contextlib.asynccontextmanager
    async def client(self) -> AsyncIterator[httpx.AsyncClient]:
        transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000") as client:
            yield client

    def send(self, who: str, method: str, path: str, **more: Any) -> httpx.Response:
        async def one() -> httpx.Response:
            async with self.client() as client:
                headers = {**self.callers[who].headers, **more.pop("headers", {})}
                return await client.request(method, path, headers=headers, **more)

        return anyio.run(one)


@contextlib.contextmanager
def house(url: str) -> Iterator[House]:
    """A plant of two presses in two halls, everybody signed in, one alarm open on each press."""
    objects = build_objects(Settings(database_url=url, child_process=False), now_ms=lambda: MORNING)
    callers = objects.store.write(_furnish)
    try:
        yield House(build_app(objects, run_pipeline=False), objects, {who.name: who for who in callers})
    finally:
        objects.pipeline.close()
        objects.store.close()


def _furnish(connection: Any) -> list[Who]:
    for press, area in PRESSES.items():
        configure_press(connection, press, {"area": area}, who="test", now_ms=MORNING)
        _alarm(connection, need_press(connection, press).press_id, press)
    configure_mold(connection, "M-1", {}, who="test", signals=(), now_ms=MORNING)
    callers = [Who("nobody", {})]
    callers += [_person(connection, role, role) for role in ROLES]
    callers.append(_person(connection, "line_lead of Hall 2", "line_lead", areas=("Hall 2",)))
    callers.append(_person(connection, "administrator by pin", "administrator", by_pin=True))
    for scope in ("ingest", "read", "act"):
        callers.append(_key(connection, scope, ""))
        callers.append(_key(connection, scope, "P02"))
    return callers


def _alarm(connection: Any, press_id: int, press: str) -> None:
    alarm = Alarm(
        press_id, press, 0, "silent", "unacknowledged", "this_shift", "", MORNING, MORNING, None, None, None,
        None, "", None, True, {},
    )  # fmt: skip
    insert_alarm(connection, alarm)


def _person(
    connection: Any, called: str, role: str, *, areas: tuple[str, ...] = (), by_pin: bool = False
) -> Who:
    name = called.replace(" ", "-")
    add_person(connection, name, role, by="test", now_ms=MORNING)
    if areas:
        change_person(connection, name, Changes(areas=areas), by="test", now_ms=MORNING)
    person = need_person(connection, name)
    change_row(connection, person.person_id, must_change=False)
    made = enrol(connection, "tablet", by="test", now_ms=MORNING) if by_pin else None
    opening = Opening(hours=12, by_pin=by_pin, tablet_id=made.tablet.tablet_id if made else None)
    token = open_session(connection, person, opening, now_ms=MORNING)
    headers = {"Cookie": f"{SESSION}={token}", "X-Ringtell": "page"}
    if made:
        headers["Cookie"] += f"; {TABLET}={made.token}"
    return Who(called, headers, role=role, areas=areas)


def _key(connection: Any, scope: str, press: str) -> Who:
    made = create_key(connection, press=press, scopes=(scope,), by="test", now_ms=MORNING)
    name = f"key {scope}" + (f" of {press}" if press else "")
    return Who(name, {"Authorization": f"Bearer {made.token}"}, scopes=(scope,), press=press)


def routes_of(app: FastAPI) -> list[tuple[str, str]]:
    """Every method and path the application answers."""
    found = {(method, path) for path, methods in _walk(app.routes) for method in methods}
    return sorted((method, path) for method, path in found if method != "HEAD")


def _walk(routes: Any) -> Iterator[tuple[str, set[str]]]:
    for route in routes:
        contexts = getattr(route, "effective_route_contexts", None)
        if contexts is not None:
            for one in contexts():
                yield str(one.path), set(one.methods or ())
        elif hasattr(route, "path"):
            yield str(route.path), set(getattr(route, "methods", None) or ())
