"""What tells a watchdog how the server is: alive, ready, and in numbers."""

from typing import Any, Final

import anyio
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from starlette.concurrency import run_in_threadpool

from server.measures import CONTENT_TYPE, Gauges
from server.store.live_questions import Counts, counts, schema_is_current
from server.store.trouble import trouble_of

router = APIRouter(tags=["live"])

#: Seconds within which the database answers, the writer gets through a group, evaluation a piece.
ANSWERS_S: Final = 3.0
WRITER_S: Final = 30.0
EVALUATOR_S: Final = 180.0

_DESCRIBED: Final = {
    "ringtell_presses": "Presses of the plant",
    "ringtell_presses_in_trouble": "Presses whose evaluation failed and rests",
    "ringtell_shots_pending": "Shots that wait for evaluation",
    "ringtell_intake_rows": "Batches that wait for evaluation",
    "ringtell_evaluation_lag_seconds": "Since the longest waiting batch arrived; 0 when none waits",
    "ringtell_alarms_open": "Open alarms by state",
    "ringtell_alarms_total_by_kind": "Alarms ever opened, by kind",
    "ringtell_rows_kept_apart": "Rows kept apart by kind",
    "ringtell_messages_waiting": "Messages about alarms not yet delivered",
    "ringtell_messages_lag_seconds": "Since the oldest undelivered message was due; 0 when none waits",
    "ringtell_writes_waiting": "Writes that wait for the database",
    "ringtell_writer_busy_seconds": "How long the writer has been at one group",
    "ringtell_ingest_in_hand": "Requests with shots being read or stored now",
    "ringtell_open_pages": "Pages that listen to what happens",
    "ringtell_database_bytes": "Size of the database",
}


@router.get("/healthz", include_in_schema=False)
async def healthz() -> dict[str, str]:
    """The process answers; nothing else is asked, so that trouble elsewhere restarts nobody."""
    return {"status": "ok"}


@router.get("/readyz", include_in_schema=False)
async def readyz(request: Request) -> JSONResponse:
    """Whether shots would be taken and judged now: 503 names what is not in order."""
    objects = request.app.state.ringtell
    checks = {
        "database": await _database(objects),
        "writer": _writer(objects),
        "evaluation": _thread(objects, "evaluate", EVALUATOR_S),
        "ticks": _thread(objects, "tick", EVALUATOR_S),
    }
    ready = all(said == "ok" for said in checks.values())
    body = {"status": "ok" if ready else "not ready", "checks": checks}
    return JSONResponse(body, status_code=200 if ready else 503, headers={"Cache-Control": "no-store"})


async def _database(objects: Any) -> str:
    def ask() -> bool:
        with objects.store.read() as connection:
            return schema_is_current(connection)

    try:
        with anyio.fail_after(ANSWERS_S):
            # A thread of its own: it must answer even when every other one waits for the database.
            current = await anyio.to_thread.run_sync(ask, abandon_on_cancel=True, limiter=_own())
    except TimeoutError:
        return f"the database has not answered for {ANSWERS_S:g} s"
    except Exception as error:
        trouble = trouble_of(error)
        return trouble.message if trouble is not None else f"the database failed: {type(error).__name__}"
    return "ok" if current else "the schema is not that of this version: run ringtell db upgrade"


def _own() -> anyio.CapacityLimiter:
    return anyio.CapacityLimiter(1)


def _writer(objects: Any) -> str:
    state = objects.store.writer_state()
    if not state.is_alive:
        return "the writer has ended"
    if state.busy_s > WRITER_S:
        return f"the writer has been at one group for {state.busy_s:.0f} s"
    return "ok"


def _thread(objects: Any, name: str, within_s: float) -> str:
    since = objects.pipeline.since_sign(name)
    if since is None:
        return "does not run"
    return "ok" if since <= within_s else f"got nowhere for {since:.0f} s"


@router.get("/metrics", include_in_schema=False)
async def metrics(request: Request) -> Response:
    """Counters, histograms and queue sizes in the Prometheus text format."""
    objects = request.app.state.ringtell
    found = await run_in_threadpool(_counts, objects)
    text = objects.measures.text(_gauges(objects, found), _DESCRIBED)
    return Response(text, media_type=CONTENT_TYPE, headers={"Cache-Control": "no-store"})


def _counts(objects: Any) -> Counts:
    with objects.store.read() as connection:
        return counts(connection)


def _gauges(objects: Any, found: Counts) -> Gauges:
    now_ms, state = objects.now_ms(), objects.store.writer_state()
    plain: dict[str, float] = {
        "ringtell_presses": found.presses,
        "ringtell_presses_in_trouble": found.in_trouble,
        "ringtell_shots_pending": found.shots_pending,
        "ringtell_intake_rows": found.intake_rows,
        "ringtell_evaluation_lag_seconds": _age_s(found.oldest_intake_ms, now_ms),
        "ringtell_messages_waiting": found.messages_waiting,
        "ringtell_messages_lag_seconds": _age_s(found.oldest_message_ms, now_ms),
        "ringtell_writes_waiting": state.waiting,
        "ringtell_writer_busy_seconds": state.busy_s,
        "ringtell_ingest_in_hand": objects.gate.in_hand,
        "ringtell_open_pages": objects.hub.listeners,
        "ringtell_database_bytes": found.database_bytes,
    }
    gauges: dict[tuple[str, tuple[tuple[str, str], ...]], float] = {
        (name, ()): float(value) for name, value in plain.items()
    }
    for name, label, values in (
        ("ringtell_alarms_open", "state", found.alarms_open),
        ("ringtell_alarms_total_by_kind", "kind", found.alarms_ever),
        ("ringtell_rows_kept_apart", "kind", found.kept_apart),
    ):
        gauges |= {(name, ((label, value),)): float(count) for value, count in values.items()}
    return gauges


def _age_s(since_ms: int | None, now_ms: int) -> float:
    return 0.0 if since_ms is None else max(0.0, (now_ms - since_ms) / 1000)
