"""`/api/v1/sources`: collectors report themselves; pages and scripts ask how they are doing."""

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from server.record.sources import record_source, remove_source
from server.routes.calls import actor_of, allow, code_of, objects_of, page_of, when, write
from server.store.sources import all_sources

router = APIRouter(prefix="/api/v1", tags=["sources"])


@router.put("/sources/{name}")
def put_source(request: Request, name: str, report: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """A source says how it is doing; the last word counts. Needs the scope `ingest`."""
    bound = actor_of(request).press
    actor = allow(request, "ingest", press=bound or None)
    now_ms = objects_of(request).now_ms()
    write(
        request,
        lambda connection: record_source(
            connection, name, report, by=actor.name, only_press=bound, now_ms=now_ms
        ),
    )
    return {"name": name, "reported_at": when(now_ms)}


@router.get("/sources")
def get_sources(request: Request) -> dict[str, Any]:
    """Every source with its last report."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        kept = all_sources(connection)
    items = [
        {
            "name": one["name"],
            "reported_at": when(one["reported_ms"]),
            "reported_by": one["reported_by"],
            **one["report"],
        }
        for one in kept
    ]
    return page_of(items, None)


@router.delete("/sources/{name}")
def delete_source(request: Request, name: str) -> dict[str, Any]:
    """Take a source off the list; one that still reports comes back."""
    actor = allow(request, "configure")
    now_ms = objects_of(request).now_ms()
    code = code_of(name)
    write(request, lambda connection: remove_source(connection, code, by=actor.name, now_ms=now_ms))
    return {"name": name}
