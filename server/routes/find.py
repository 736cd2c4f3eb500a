"""Finding by a few letters, as a page and for programs."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.routes.calls import allow, objects_of
from server.routes.pages import page_answer
from server.show.build_find import LONGEST, build_find, find_groups
from server.show.frame import Actor
from server.show.plant_words import plant_at

router = APIRouter(tags=["find"])


@router.get("/find", include_in_schema=False)
def find_page(request: Request, q: str = "") -> Response:
    return page_answer(request, "find.html", lambda c, plant: build_find(c, plant, asked=q))


@router.get("/api/v1/find")
def find(request: Request, q: Annotated[str, Query(min_length=1, max_length=LONGEST)]) -> dict[str, Any]:
    """Presses, molds, materials, valves, cases, studies and words that hold the letters."""
    allow(request, "read")
    objects = objects_of(request)
    with objects.store.read() as connection:
        plant = plant_at(connection, now_ms=objects.now_ms(), actor=Actor())
        groups = find_groups(connection, plant, " ".join(q.split()))
    items = [
        {"kind": title.lower(), "name": one.name, "text": one.text, "page": one.href}
        for title, found in groups
        for one in found
    ]
    return {"items": items, "next_cursor": None}
