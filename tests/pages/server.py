"""The pages alone behind the outside of an application: no evaluation, no ingest, a clock that stands."""

import dataclasses
from collections.abc import Awaitable, Callable

from fastapi import FastAPI, Request, Response

from server.access.actors import OPEN, Actor
from server.routes.pages import router
from server.store.database import Store
from tests.pages.plant import NOW


@dataclasses.dataclass(frozen=True)
class StandingObjects:
    """What pages ask of the application's objects."""

    store: Store

    def now_ms(self) -> int:
        return NOW


def page_server(store: Store, *, actor: Actor = OPEN) -> FastAPI:
    """Every page over a store, looked at by one person."""
    app = FastAPI()
    app.state.ringtell = StandingObjects(store)
    app.include_router(router)

    @app.middleware("http")
    async def look(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
        request.state.actor = actor
        return await call_next(request)

    return app
