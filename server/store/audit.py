"""The audit trail: who did what, with what it was before and after, each row sealed to the one before.

Each press has a chain of its own (the plant one as press 0). A row's `seq` is its place, its `seal`
covers it and the seal before (`store/seals.py`), `audit_heads` says how far the chain goes. Whoever
adds a link holds the lock on the head, so that no chain forks.
"""

import dataclasses
import itertools
import json
import os
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from server.errors import RingtellError
from server.store.distinct import values_of
from server.store.seals import START, Ring, ring_of, seal
from server.store.tables import audit, audit_heads, presses

#: Stands for the plant where an action belongs to no press.
PLANT = 0

_serial = itertools.count(int.from_bytes(os.urandom(2), "big"))


def _number(now_ms: int) -> int:
    return (now_ms << 20) | (next(_serial) & 0xFFFFF)


@dataclasses.dataclass(frozen=True)
class AuditRow:
    """One action. `seq` is its place in the chain of its press, None while it is not sealed."""

    press_id: int
    audit_no: int
    at_ms: int
    who: str
    action: str
    subject: str
    before: Any
    after: Any
    seq: int | None = None


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
    row: dict[str, Any] = {
        "press_id": press_id,
        "audit_no": _number(now_ms),
        "at_ms": now_ms,
        "who": who,
        "action": action,
        "subject": subject,
        "before": None if before is None else json.dumps(before, sort_keys=True),
        "after": None if after is None else json.dumps(after, sort_keys=True),
    }
    ring = ring_of(connection.engine.url, make=True)
    if ring is None:
        _need_unsealed(connection)
        connection.execute(sa.insert(audit).values(**row))
        return
    _open_trail(connection, ring)
    _add_link(connection, ring, row)


def _add_link(connection: sa.Connection, ring: Ring, row: dict[str, Any]) -> None:
    head = _head(connection, row["press_id"])
    if head["key_id"] and head["key_id"] != ring.current.key_id:
        # Said in the chain itself: from here on another key seals, and whether the old one was at hand.
        known = ring.by_id(head["key_id"]) is not None
        change = {"before": json.dumps({"key": head["key_id"]}), "subject": "audit key"}
        change |= {"action": "audit_key_changed", "who": "ringtell"}
        change |= {"after": json.dumps({"handed_over": known, "key": ring.current.key_id}, sort_keys=True)}
        head = _seal_on(connection, ring, head, {**row, **change, "audit_no": _number(row["at_ms"])})
    _seal_on(connection, ring, head, row)


def _seal_on(
    connection: sa.Connection, ring: Ring, head: Mapping[str, Any], row: dict[str, Any]
) -> dict[str, Any]:
    """Insert a row behind the head; the new head."""
    numbered = {**row, "seq": head["seq"] + 1}
    sealed = seal(ring.current, head["seal"], numbered)
    connection.execute(sa.insert(audit).values(**numbered, seal=sealed, key_id=ring.current.key_id))
    return _move_head(connection, row["press_id"], numbered["seq"], sealed, ring.current.key_id)


def _move_head(
    connection: sa.Connection, press_id: int, seq: int, sealed: bytes, key_id: str
) -> dict[str, Any]:
    head = {"seq": seq, "seal": sealed, "key_id": key_id}
    connection.execute(sa.update(audit_heads).where(audit_heads.c.press_id == press_id).values(**head))
    return head


def _head(connection: sa.Connection, press_id: int) -> Mapping[str, Any]:
    """The head of a chain, locked until the transaction ends; begun where there is none."""
    _begin_chain(connection, press_id)
    query = sa.select(audit_heads).where(audit_heads.c.press_id == press_id).with_for_update()
    return connection.execute(query).one()._asdict()


def _begin_chain(connection: sa.Connection, press_id: int) -> bool:
    kind = postgresql if connection.dialect.name == "postgresql" else sqlite
    begun = connection.execute(
        kind.insert(audit_heads)
        .values(press_id=press_id, seq=0, seal=START, key_id="")
        .on_conflict_do_nothing()
        .returning(audit_heads.c.press_id)
    )
    return begun.first() is not None


# --- rows from before there were seals ----------------------------------------------------------


def _need_unsealed(connection: sa.Connection) -> None:
    """Without a key nothing may be added to a trail that is sealed."""
    if connection.execute(sa.select(audit_heads.c.press_id).limit(1)).first() is not None:
        raise RingtellError(
            "the audit trail is sealed and its key is not at hand: set RINGTELL_AUDIT_KEY or"
            " RINGTELL_AUDIT_KEY_FILE as the server had it; nothing was changed"
        )


def seal_earlier(connection: sa.Connection) -> int:
    """Seal what was written before there were seals, once, and say so in the trail; how many rows."""
    ring = ring_of(connection.engine.url, make=True)
    return 0 if ring is None else _open_trail(connection, ring)


def _open_trail(connection: sa.Connection, ring: Ring) -> int:
    # The head of the plant's chain is begun by the first who comes: only they seal the past.
    exists = connection.execute(sa.select(audit_heads.c.seq).where(audit_heads.c.press_id == PLANT)).first()
    if exists is not None or not _begin_chain(connection, PLANT):
        return 0
    query = sa.select(audit).where(audit.c.seq.is_(None)).order_by(audit.c.press_id, audit.c.audit_no)
    earlier = [dict(row._mapping) for row in connection.execute(query)]
    for press_id, rows in itertools.groupby(earlier, key=lambda row: row["press_id"]):
        _seal_in_place(connection, ring, press_id, rows)
    if earlier:
        newest = max(earlier, key=lambda row: row["audit_no"])
        note = {"rows": len(earlier), "note": "written before there were seals; sealed as found"}
        _add_link(
            connection,
            ring,
            {
                "press_id": PLANT,
                "audit_no": newest["audit_no"] + 1,
                "at_ms": newest["at_ms"],
                "who": "ringtell",
                "action": "trail_sealed",
                "subject": "audit trail",
                "before": None,
                "after": json.dumps(note, sort_keys=True),
            },
        )
    return len(earlier)


def _seal_in_place(connection: sa.Connection, ring: Ring, press_id: int, rows: Any) -> None:
    _begin_chain(connection, press_id)
    key, before, seq = ring.current, START, 0
    for row in rows:
        seq += 1
        before = seal(key, before, {**row, "seq": seq})
        connection.execute(
            sa.update(audit)
            .where(audit.c.press_id == press_id, audit.c.audit_no == row["audit_no"])
            .values(seq=seq, seal=before, key_id=key.key_id)
        )
    _move_head(connection, press_id, seq, before, key.key_id)


# --- reading ------------------------------------------------------------------------------------

_SHOWN = [audit.c[field.name] for field in dataclasses.fields(AuditRow)]


def audit_of(connection: sa.Connection, press_id: int, *, limit: int = 100) -> list[AuditRow]:
    """The newest actions on one press (or PLANT), newest first."""
    rows = connection.execute(
        sa.select(*_SHOWN)
        .where(audit.c.press_id == press_id)
        .order_by(audit.c.seq.desc(), audit.c.audit_no.desc())
        .limit(limit)
    )
    return [_row(row) for row in rows]


def find_audit(
    connection: sa.Connection,
    *,
    press_id: int | None = None,
    who: str = "",
    action: str = "",
    from_ms: int | None = None,
    to_ms: int | None = None,
    after: tuple[int, int] | None = None,
    limit: int = 100,
) -> list[tuple[str, AuditRow]]:
    """Actions with their press ('' for the plant), newest first. after: (audit_no, press_id) of the last."""
    query = sa.select(presses.c.press, *_SHOWN).outerjoin(presses, presses.c.press_id == audit.c.press_id)
    wanted = [
        (press_id, audit.c.press_id == press_id),
        (who or None, audit.c.who == who),
        (action or None, audit.c.action == action),
        (from_ms, audit.c.at_ms >= (from_ms or 0)),
        (to_ms, audit.c.at_ms < (to_ms or 0)),
    ]
    query = query.where(*(condition for value, condition in wanted if value is not None))
    if after is not None:
        query = query.where(sa.tuple_(audit.c.audit_no, audit.c.press_id) < after)
    query = query.order_by(audit.c.audit_no.desc(), audit.c.press_id.desc()).limit(limit)
    return [(row.press or "", _row(row)) for row in connection.execute(query)]


def audit_actions(connection: sa.Connection) -> list[str]:
    """Every kind of action there is in the trail."""
    return values_of(connection, audit.c.action)


def _row(row: sa.Row[Any]) -> AuditRow:
    values = {field.name: getattr(row, field.name) for field in dataclasses.fields(AuditRow)}
    for name in ("before", "after"):
        values[name] = None if values[name] is None else json.loads(values[name])
    return AuditRow(**values)
