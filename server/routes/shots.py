"""`POST /api/v1/shots`: bodies in, an answer once the shots are durable; unknown presses accepted."""

import dataclasses
import functools
from typing import Any

from fastapi import APIRouter, Request

from server.access.actors import need
from server.errors import BusyError, TooSlowError
from server.ingest import receive as ingest
from server.ingest.wire import ReadBatch, read_body
from server.record.fields import read_code

router = APIRouter(prefix="/api/v1", tags=["shots"])


@router.post("/shots")
async def post_shots(request: Request) -> dict[str, Any]:
    """Shots as JSON, NDJSON or CSV, plain or gzip. See the contract for the fields."""
    need(request.state.actor, "ingest", press=request.state.actor.press or None)
    objects = request.app.state.ringtell
    gate = objects.gate
    try:
        gate.need_room()
        body = await gate.body_of(request, most=objects.settings.max_body_bytes)
        async with gate.passing(len(body)):
            answer: dict[str, Any] = await gate.run(functools.partial(_take_in, request, body))
            return answer
    except BusyError:
        objects.measures.refused("busy")
        raise
    except TooSlowError:
        objects.measures.refused("slow")
        raise


def _take_in(request: Request, body: bytes) -> dict[str, Any]:
    objects = request.app.state.ringtell
    settings = objects.settings
    batch = read_body(
        body,
        content_type=request.headers.get("content-type", ""),
        content_encoding=request.headers.get("content-encoding"),
        query=dict(request.query_params),
        received_ms=objects.now_ms(),
        max_bytes=settings.max_body_bytes,
        max_expanded_bytes=settings.max_expanded_bytes,
        max_rows=settings.max_rows,
    )
    return _answer(request, batch, accept_unknown=settings.accept_unknown or settings.no_login)


def _answer(request: Request, batch: ReadBatch, *, accept_unknown: bool) -> dict[str, Any]:
    if request.state.actor.press:
        for press in sorted(ingest.presses_named(batch)):
            need(request.state.actor, "ingest", press=press)
    received = request.app.state.ringtell.pipeline.take_in(batch, accept_unknown=accept_unknown)
    answer = dataclasses.asdict(received)
    del answer["presses"]
    return answer


@router.post("/presses/{press}/accept")
def accept(request: Request, press: str) -> dict[str, Any]:
    """Take a press that reported by itself into the plant, with every shot kept of it so far."""
    objects = request.app.state.ringtell
    need(request.state.actor, "accept")
    code = read_code("press", press)
    now_ms = objects.now_ms()

    def take(connection: Any) -> ingest.Received:
        lines = ingest.accept_press(connection, code, now_ms=now_ms)
        batch = (
            read_body(
                "\n".join(lines).encode() or b"\n",
                content_type="application/x-ndjson",
                content_encoding=None,
                query={},
                received_ms=now_ms,
                max_bytes=1 << 40,
                max_expanded_bytes=1 << 40,
                max_rows=1 << 40,
            )
            if lines
            else ReadBatch(0, [], [])
        )
        return ingest.receive(connection, batch, accept_unknown=True, now_ms=now_ms, source="accept")

    received = objects.store.write(take)
    objects.pipeline.wake()
    answer = dataclasses.asdict(received)
    del answer["presses"]
    return answer
