"""The audit trail: who did what, with what it was before and after."""

import dataclasses
import itertools
import json
import os
from typing import Any

import sqlalchemy as sa

from server.store.tables import audit

#: Stands for the plant where an action belongs to no press.
PLANT = 0

_serial = itertools.count(int.from_bytes(os.urandom(2), "big"))


@dataclasses.dataclass(frozen=True)
class AuditRow:
    press_id: int
    audit_no: int
    at_ms: int
    who: str
    action: str
    subject: str
    before: Any
    after: Any


def add_audit(
    connection: sa.Connection,
    press_id: int,
    *,
    now_ms: int,
    who: str,
    action: str,
    subject: str,
    before: Any = None,
    after: Any = None,
) -> None:
    """Keep one action. `before` and `after` are what JSON can carry."""
    connection.execute(
        sa.insert(audit).values(
            press_id=press_id,
            audit_no=(now_ms << 20) | (next(_serial) & 0xFFFFF),
            at_ms=now_ms,
            who=who,
            action=action,
            subject=subject,
            before=None if before is None else json.dumps(before, sort_keys=True),
            after=None if after is None else json.dumps(after, sort_keys=True),
        )
    )


def audit_of(connection: sa.Connection, press_id: int, *, limit: int = 100) -> list[AuditRow]:
    """The newest actions on one press (or PLANT), newest first."""
    rows = connection.execute(
        sa.select(audit).where(audit.c.press_id == press_id).order_by(audit.c.audit_no.desc()).limit(limit)
    )
    return [
        AuditRow(
            **{
                **row._mapping,
                "before": None if row.before is None else json.loads(row.before),
                "after": None if row.after is None else json.loads(row.after),
            }
        )
        for row in rows
    ]
