"""The page of who may what, and the way in: a login, on a shared tablet the question who is there."""

from typing import Annotated

import sqlalchemy as sa
from fastapi import APIRouter, Query, Request, Response

from server.access.actors import PERMISSIONS, ROLE_PERMISSIONS
from server.access.tablets import names_with_pin, tablet_of
from server.routes import cookies
from server.routes.access import safe_path
from server.routes.calls import code_of, objects_of
from server.routes.pages import page_answer
from server.show.build_access import Asked, build_access
from server.show.build_settings import build_login
from server.show.more_pages import LoginPage
from server.show.plant_words import Plant
from server.store.people import any_person

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


@router.get("/login")
def login_page(
    request: Request,
    next_path: Annotated[str, Query(alias="next")] = "/",
    wrong: str = "",
    ended: str = "",
    wait: Annotated[int, Query(ge=0, le=86_400)] = 0,
) -> Response:
    def build(connection: sa.Connection, plant: Plant) -> LoginPage:
        tablet = tablet_of(connection, cookies.token_in(request, cookies.TABLET))
        known = names_with_pin(connection) if tablet else []
        return build_login(
            plant,
            next_path=safe_path(next_path),
            wrong=bool(wrong),
            ended=bool(ended),
            wait_s=wait,
            tablet=tablet.name if tablet else "",
            people=[(one.name, one.full_name) for one in known],
            nobody=not any_person(connection),
        )

    return page_answer(request, "login.html", build, public=True)
