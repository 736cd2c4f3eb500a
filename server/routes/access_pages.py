"""The page of who may what."""

from fastapi import APIRouter, Request, Response

from server.access.actors import PERMISSIONS, ROLE_PERMISSIONS
from server.routes.calls import code_of, objects_of
from server.routes.pages import page_answer
from server.show.build_access import Asked, build_access

router = APIRouter(include_in_schema=False)

_TABLE = [
    (permission, frozenset(role for role, able in ROLE_PERMISSIONS.items() if permission in able))
    for permission in PERMISSIONS
]


@router.get("/access")
def access_page(request: Request, who: str = "", action: str = "") -> Response:
    asked, now_ms = Asked(code_of(who), code_of(action)), objects_of(request).now_ms()
    return page_answer(
        request,
        "access.html",
        lambda c, plant: build_access(c, plant, table=_TABLE, now_ms=now_ms, asked=asked),
    )
