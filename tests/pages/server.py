"""The pages alone behind the outside of an application: no evaluation, no ingest, a clock that stands."""

import dataclasses

from fastapi import FastAPI
from starlette.types import ASGIApp, Receive, Scope, Send

from server.access.actors import OPEN, Actor
from server.notify.outlets import LogOutlet, Outlet
from server.routes import (
    access_pages,
    alarm_budget,
    baseline_pages,
    case_pages,
    find,
    floor_pages,
    reports,
    score,
    study_pages,
)
from server.routes.pages import router
from server.store.database import Store
from tests.pages.plant import NOW


@dataclasses.dataclass(frozen=True)
class StandingObjects:
    """What pages ask of the application's objects."""

    store: Store

    @property
    def outlets(self) -> dict[str, Outlet]:
        return {"log": LogOutlet()}

    def now_ms(self) -> int:
        return NOW


class Looker:
    """Puts one person on every request; plain ASGI, so that streams pass through untouched."""

    def __init__(self, app: ASGIApp, actor: Actor) -> None:
        self.app = app
        self.actor = actor

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope.setdefault("state", {})["actor"] = self.actor
        await self.app(scope, receive, send)


def page_server(store: Store, *, actor: Actor = OPEN) -> FastAPI:
    """Every page over a store, looked at by one person."""
    app = FastAPI()
    app.state.ringtell = StandingObjects(store)
    app.include_router(router)
    app.include_router(baseline_pages.router)
    app.include_router(access_pages.router)
    app.include_router(floor_pages.router)
    app.include_router(score.router)
    app.include_router(find.router)
    app.include_router(alarm_budget.router)
    app.include_router(case_pages.router)
    app.include_router(study_pages.router)
    app.include_router(reports.router)
    app.add_middleware(Looker, actor=actor)
    return app
