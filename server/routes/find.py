"""Finding things by a few words: the page, and the same answer as JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.routes.calls import allow, objects_of
from server.routes.pages import actor_of, page_answer
from server.show.build_find import ASKED_MAX, build_find, find_groups
from server.show.plant_words import plant_at

router = APIRouter()


@router.get("/find", include_in_schema=False)
def find_page(request: Request, q: str = "") -> Response:
    return page_answer(request, "find.html", lambda c, plant: build_find(c, plant, text=q))


@router.get("/api/v1/find")
def get_find(
    request: Request,
    q: Annotated[
        str, Query(min_length=1, max_length=ASKED_MAX, description="words; every one has to be met")
    ],
    limit: Annotated[int, Query(ge=1, le=50, description="things of each kind")] = 8,
) -> dict[str, Any]:
    """What is called so or speaks of it, large and small letters alike.

    Looked through are presses (code, name, area, what they run), molds, materials, set-ups, valves (part
    number), cases, alarms (by number; open ones by kind too), studies and open sheets, startup records,
    setting trials, held parts, reports, pages and help. Each item has `kind`, `name`, a line of `text`,
    the address of its `page`, `exact` (called just so; these come first), and `group`, the heading
    it stands under. `more`: kinds of which there are others. `next_cursor` is always null: more words find
    less.
    """
    allow(request, "read")
    objects = objects_of(request)
    with objects.store.read() as connection:
        plant = plant_at(connection, now_ms=objects.now_ms(), actor=actor_of(request))
        groups = find_groups(connection, plant, q, per_kind=limit)
    items = [
        {
            "kind": row.kind,
            "group": group.title,
            "name": row.title,
            "text": row.text,
            "page": row.href,
            "exact": row.exact,
        }
        for group in groups
        for row in group.rows
    ]
    return {"items": items, "more": [group.kind for group in groups if group.more], "next_cursor": None}
