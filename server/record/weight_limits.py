"""Limits on the percent variation of short shots: per mold and process class, with starting values."""

from typing import Any

import sqlalchemy as sa

from server.record.fields import Given, read_code
from server.store import sheets as kept
from server.store.audit import PLANT, add_audit
from server.store.plant import need_mold
from server.valve.weights import PROCESS_CLASSES


def limit_for(connection: sa.Connection, mold: str, process_class: str) -> float:
    """What holds for a mold: its own limit, else the plant's for the class, else the starting value."""
    known = kept.weight_limits(connection)
    for key in ((mold, process_class), ("", process_class)):
        if key in known:
            return known[key]
    return PROCESS_CLASSES[process_class]


def put_limit(connection: sa.Connection, body: Any, *, who: str, now_ms: int) -> dict[str, Any]:
    """Set a limit of a mold (none named: of every mold) and class; `limit_pct` null takes it back."""
    given = Given.of(body, known=("mold", "process_class", "limit_pct"))
    process = given.choice("process_class", tuple(PROCESS_CLASSES))
    mold = given.text("mold", longest=40)
    if mold:
        mold = str(need_mold(connection, read_code("mold", mold))["mold"])
    limit = given.number("limit_pct", above=0.0, most=100.0)
    before = kept.weight_limits(connection).get((mold, process))
    if before != limit:
        kept.put_weight_limit(connection, mold, process, limit, who=who, now_ms=now_ms)
        add_audit(
            connection,
            PLANT,
            now_ms=now_ms,
            who=who,
            action="weight_limit_set",
            subject=f"{mold or 'every mold'} {process}",
            before={"limit_pct": before},
            after={"limit_pct": limit},
        )
    return {"mold": mold, "process_class": process, "limit_pct": limit_for(connection, mold, process)}
