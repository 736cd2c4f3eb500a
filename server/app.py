"""Puts the objects together: store, hub, pipeline, routes. Nothing else is created anywhere else."""

import contextlib
import dataclasses
from collections.abc import AsyncIterator, Callable, Mapping

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool

from server import __version__
from server.clock import now_ms as read_clock
from server.import_files import files_of
from server.import_jobs import ImportJobs
from server.languages import need_language
from server.measures import Measures
from server.notify.delivery import Courier
from server.notify.hub import Hub
from server.notify.outlets import Outlet, outlets_of
from server.pipeline import Pipeline
from server.routes import (
    access,
    access_pages,
    acting,
    alarm_budget,
    alarms,
    baseline_pages,
    baselines,
    case_pages,
    cases,
    containments,
    described,
    docs,
    exports,
    find,
    floor,
    floor_pages,
    imports,
    keys,
    live,
    maths,
    observing,
    outlets,
    pages,
    people,
    photos,
    problems,
    quality,
    reading,
    reports,
    score,
    sheets,
    shots,
    sources,
    studies,
    study_pages,
    tablets,
    trail,
    trials,
    valves,
    watching,
)
from server.routes.assets import assets
from server.routes.gate import Gate
from server.routes.middleware import install as install_middleware
from server.settings import Settings
from server.store.database import Store
from server.thin import Nightly
from server.typeset import Typesetter


@dataclasses.dataclass(frozen=True)
class Objects:
    """What the routes work with, under `app.state.ringtell`."""

    settings: Settings
    store: Store
    hub: Hub
    pipeline: Pipeline
    now_ms: Callable[[], int]
    imports: ImportJobs
    gate: Gate = dataclasses.field(default_factory=Gate)
    typesetter: Typesetter = dataclasses.field(default_factory=Typesetter)

    @property
    def measures(self) -> Measures:
        """What the server counts of itself."""
        return self.pipeline.measures

    @property
    def outlets(self) -> Mapping[str, Outlet]:
        """The ways messages leave this server."""
        return self.pipeline.courier.outlets

    def wake(self) -> None:
        """Something waits for evaluation."""
        self.pipeline.wake()


def build_objects(
    settings: Settings, *, now_ms: Callable[[], int] = read_clock, workers: int = 1, scheduler: str = ""
) -> Objects:
    """Store, hub and pipeline over the database of the settings; its schema must stand.

    workers, scheduler: where evaluation computes, when it is more than one press at a time.
    """
    store = Store(settings.database_url)
    hub = Hub()
    courier = Courier(
        store, outlets_of(settings), now_ms=now_ms, page=settings.public_address,
        language=need_language(settings.language),
    )  # fmt: skip
    pipeline = Pipeline(
        store, hub, now_ms=now_ms, child_process=settings.child_process, courier=courier,
        listen_url=settings.database_direct_url, workers=workers, scheduler=scheduler,
    )  # fmt: skip
    return Objects(settings, store, hub, pipeline, now_ms, ImportJobs(pipeline, files_of(settings)))


def build_app(objects: Objects, *, run_pipeline: bool = True) -> FastAPI:
    """The web application. run_pipeline False: nothing is evaluated by itself (tests)."""

    @contextlib.asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        assets().prepare()
        await run_in_threadpool(objects.imports.start)
        nightly = Nightly(objects.store, objects.now_ms)
        if run_pipeline:
            objects.pipeline.start()
            nightly.start()
        yield
        await run_in_threadpool(nightly.close)
        await run_in_threadpool(objects.imports.close)
        await run_in_threadpool(objects.typesetter.close)
        await run_in_threadpool(objects.pipeline.close)
        await run_in_threadpool(objects.store.close)

    app = FastAPI(title="Ringtell", version=__version__, lifespan=life, docs_url=None, redoc_url=None)
    app.state.ringtell = objects
    problems.install(app)
    install_middleware(app)
    observing.install(app)
    stages = (
        shots, imports, sources, reading, quality, acting, baselines, alarms, alarm_budget, floor, outlets,
        studies, sheets, photos, cases, containments, trials, valves, reports, exports, maths, score, find,
    )  # fmt: skip
    shown = (pages, baseline_pages, floor_pages, case_pages, study_pages)
    doors = (access, access_pages, people, keys, tablets, trail)
    for module in (*stages, *doors, live, watching, docs, *shown):
        app.include_router(module.router)
    described.install(app)
    return app
