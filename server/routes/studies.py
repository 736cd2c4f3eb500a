"""Off-line studies over HTTP: one address a kind, and the list of what was done."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Query, Request

from server.errors import InvalidError
from server.language import N_
from server.record.studies import KINDS, keep_study
from server.routes.calls import (
    allow,
    code_of,
    cursor_text,
    objects_of,
    page_of,
    read_cursor,
    when,
    write,
)
from server.store.plant import need_press
from server.store.records import Study, list_studies

#: Kinds on the list: a proof is kept when a case is closed, nobody sends one.
LISTED = (*KINDS, "proof")

router = APIRouter(prefix="/api/v1/studies", tags=["studies"])

Kind = Literal["short-shot", "drift-check", "inspection", "setting-trial", "gate-seal", "qualification"]


@router.post("/{kind}")
def post_study(request: Request, kind: Kind, body: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """Judge a study and keep it: the result stands in the answer.

    A drift check may tell `resin`, `method` and the cautions `confirmed`. What it leaves out of these,
    `not_stated` names.
    """
    named = body.get("press") if isinstance(body, dict) else None
    press = code_of(named) if isinstance(named, str) else None
    who, now_ms = allow(request, "study", press=press).name, objects_of(request).now_ms()
    study = write(request, lambda c: keep_study(c, kind, body, who=who, now_ms=now_ms))
    return {**study.result, "verdict": study.verdict, "id": study.study_no, "at": when(study.at_ms)}


@router.get("")
def get_studies(
    request: Request,
    press: str | None = None,
    kind: str | None = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 100,
    cursor: str | None = None,
) -> dict[str, Any]:
    """Studies, newest first."""
    code = None if press is None else code_of(press)
    allow(request, "read", press=code)
    if kind is not None and kind not in LISTED:
        raise InvalidError(
            N_("kind {kind!r}: one of {join}", kind=kind, join=", ".join(LISTED)), field="kind"
        )
    after = None if cursor is None else read_cursor(cursor, length=3)
    with objects_of(request).store.read() as connection:
        found = list_studies(
            connection,
            press_id=None if code is None else need_press(connection, code).press_id,
            kind=kind,
            after=None if after is None else (after[0], after[1], after[2]),
            limit=limit + 1,
        )
    page = found[:limit]
    last = page[-1][1] if len(found) > limit else None
    return page_of(
        [study_item(press_code, study) for press_code, study in page],
        None if last is None else cursor_text((last.at_ms, last.press_id, last.study_no)),
    )


def study_item(press: str, study: Study) -> dict[str, Any]:
    """A study as the API writes it."""
    return {
        "id": study.study_no,
        "press": press,
        "kind": study.kind,
        "at": when(study.at_ms),
        "mold": study.mold,
        "verdict": study.verdict,
        "asked": dict(study.asked),
        "result": dict(study.result),
        "author": study.author,
    }
