"""Server-sent events: what happened, as ids."""

import asyncio
import json
import time
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from server.access.actors import need
from server.access.keys import still_holds
from server.events import Happened

router = APIRouter(tags=["live"])

#: Seconds between two signs of life, and between two looks at whether the session still holds.
SIGN_OF_LIFE_S = 15.0
#: However much happens, the session is looked at again after so long.
HOLDS_FOR_S = 5.0


@router.get("/api/v1/stream")
async def stream(request: Request) -> StreamingResponse:
    """Events `shots`, `finding`, `alarm`, `score`, `press`; the data is `{"id": …}`, nothing else."""
    need(request.state.actor, "read")
    return StreamingResponse(
        _events(request), media_type="text/event-stream", headers={"Cache-Control": "no-store"}
    )


async def _events(request: Request) -> AsyncIterator[str]:
    hub = request.app.state.ringtell.hub
    heard = hub.listen()
    yield "retry: 2000\n\n"
    waiting: asyncio.Task[Happened] | None = None
    looked = time.monotonic()
    try:
        while True:
            waiting = waiting or asyncio.ensure_future(anext(heard))
            done, _ = await asyncio.wait({waiting}, timeout=SIGN_OF_LIFE_S)
            if not done:
                if await request.is_disconnected() or not await run_in_threadpool(_holds, request):
                    return
                yield ": still here\n\n"
                continue
            try:
                happened = waiting.result()
            except StopAsyncIteration:
                return
            waiting = None
            if time.monotonic() - looked >= HOLDS_FOR_S:
                if not await run_in_threadpool(_holds, request):
                    return
                looked = time.monotonic()
            yield f"event: {happened.kind}\ndata: {json.dumps({'id': happened.subject})}\n\n"
    finally:
        if waiting is not None:
            waiting.cancel()


def _holds(request: Request) -> bool:
    objects = request.app.state.ringtell
    with objects.store.read() as connection:
        return still_holds(connection, request.state.actor, now_ms=objects.now_ms())
