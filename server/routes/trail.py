"""The audit trail over HTTP: found by press, person, kind and time; its anchors to be kept elsewhere."""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse

from server.clock import as_text
from server.record.fields import read_time
from server.routes.calls import allow, code_of, cursor_text, objects_of, page_of, read_cursor, when
from server.store.audit import PLANT, AuditRow, find_audit
from server.store.plant import need_press
from server.store.trail import make_anchors

router = APIRouter(prefix="/api/v1/audit", tags=["audit"])

#: Stands for what was done to no press in particular.
OF_THE_PLANT = "plant"
#: A time of the far future bounds what may be asked for.
_FAR_MS = 253_402_300_799_999


def audit_item(press: str, row: AuditRow) -> dict[str, Any]:
    """An action as the API writes it."""
    return {
        "press": press or None,
        "place": row.seq,
        "at": when(row.at_ms),
        "who": row.who,
        "action": row.action,
        "subject": row.subject,
        "before": row.before,
        "after": row.after,
    }


@router.get("")
def get_audit(
    request: Request,
    press: str | None = None,
    scope: str = "",
    who: str = "",
    action: str = "",
    from_: Annotated[str | None, Query(alias="from")] = None,
    to: str | None = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 100,
    cursor: str | None = None,
) -> dict[str, Any]:
    """What people did, newest first. `scope=plant`: what was done to no press in particular."""
    allow(request, "audit")
    after = None if cursor is None else read_cursor(cursor, length=2)
    from_ms = None if from_ is None else read_time("from", from_, now_ms=_FAR_MS)
    to_ms = None if to is None else read_time("to", to, now_ms=_FAR_MS)
    with objects_of(request).store.read() as connection:
        press_id = PLANT if scope == OF_THE_PLANT else None
        if press:
            press_id = need_press(connection, code_of(press)).press_id
        found = find_audit(
            connection,
            press_id=press_id,
            who=code_of(who),
            action=code_of(action),
            from_ms=from_ms,
            to_ms=to_ms,
            after=None if after is None else (after[0], after[1]),
            limit=limit + 1,
        )
    page = found[:limit]
    last = page[-1][1] if len(found) > limit else None
    return page_of(
        [audit_item(code, row) for code, row in page],
        None if last is None else cursor_text((last.audit_no, last.press_id)),
    )


@router.get("/anchors")
def get_anchors(request: Request) -> JSONResponse:
    """Where every chain stands now, sealed: keep the file away from this server, `db check` reads it."""
    allow(request, "audit")
    now_ms = objects_of(request).now_ms()
    with objects_of(request).store.read() as connection:
        document = make_anchors(connection, now_ms=now_ms)
    day = as_text(now_ms)[:10]
    return JSONResponse(
        json.loads(json.dumps(document)),
        headers={"Content-Disposition": f'attachment; filename="audit-anchors-{day}.json"'},
    )
