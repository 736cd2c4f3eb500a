"""Whether the audit trail is whole: every chain walked, and held against anchors kept elsewhere."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.errors import InvalidError, RingtellError
from server.language import N_
from server.store.seals import START, Ring, mark, ring_of, seal
from server.store.tables import audit, audit_heads, presses


@dataclasses.dataclass(frozen=True)
class TrailFault:
    """The first row of a chain that does not hold. `press` empty: the plant's chain."""

    press: str
    seq: int
    audit_no: int | None
    reason: str

    def __str__(self) -> str:
        chain = f"press {self.press}" if self.press else "the plant"
        row = f", row {self.audit_no}" if self.audit_no is not None else ""
        return f"audit trail of {chain}, place {self.seq}{row}: {self.reason}"


@dataclasses.dataclass(frozen=True)
class Trail:
    """What a walk along every chain found. `unsealed`: rows of a trail that has no key at all."""

    chains: int
    rows: int
    unsealed: int
    faults: tuple[TrailFault, ...]


def check_trail(connection: sa.Connection) -> Trail:
    """Walk every chain; of each the first fault."""
    ring = ring_of(connection.engine.url, make=False)
    heads = {row.press_id: row._asdict() for row in connection.execute(sa.select(audit_heads))}
    codes = _codes(connection)
    unsealed = _unsealed(connection)
    if not heads:
        return Trail(0, 0, len(unsealed), ())
    faults = [_slipped_in(codes, row) for row in unsealed[:1]]
    rows = 0
    found = connection.execute(sa.select(audit.c.press_id).where(audit.c.seq.is_not(None)).distinct())
    for press_id in sorted({*heads, *found.scalars()}):
        walked, fault = _walk(connection, ring, press_id, codes, heads.get(press_id))
        rows += walked
        faults += [] if fault is None else [fault]
    return Trail(len(heads), rows, 0, tuple(faults))


def _codes(connection: sa.Connection) -> dict[int, str]:
    rows = connection.execute(sa.select(presses.c.press_id, presses.c.press))
    return {row.press_id: row.press for row in rows}


def _code(codes: Mapping[int, str], press_id: int) -> str:
    return codes.get(press_id, f"no. {press_id}") if press_id else ""


def _unsealed(connection: sa.Connection) -> list[Any]:
    query = sa.select(audit.c.press_id, audit.c.audit_no).where(audit.c.seq.is_(None))
    return list(connection.execute(query.order_by(audit.c.press_id, audit.c.audit_no)))


def _slipped_in(codes: Mapping[int, str], row: Any) -> TrailFault:
    return TrailFault(_code(codes, row.press_id), 0, row.audit_no, "without a seal: it was slipped in")


def _walk(
    connection: sa.Connection,
    ring: Ring | None,
    press_id: int,
    codes: Mapping[int, str],
    head: Mapping[str, Any] | None,
) -> tuple[int, TrailFault | None]:
    """The rows of one chain, and the first that does not hold."""
    press, before, seq, fault = _code(codes, press_id), START, 0, None
    query = sa.select(audit).where(audit.c.press_id == press_id, audit.c.seq.is_not(None))
    for row in connection.execute(query.order_by(audit.c.seq)):
        seq += 1
        reason = _reason(ring, before, seq, row._asdict())
        if reason:
            return seq, TrailFault(press, seq, row.audit_no, reason)
        before = row.seal
    if head is None:
        fault = TrailFault(press, seq, None, "the head of this chain is missing")
    elif head["seq"] != seq or bytes(head["seal"]) != bytes(before):
        fault = TrailFault(press, seq, None, f"the chain ends here; its head says place {head['seq']}")
    return seq, fault


def _reason(ring: Ring | None, before: bytes, seq: int, row: Mapping[str, Any]) -> str:
    if row["seq"] != seq:
        return f"missing; the next one found is place {row['seq']}"
    key = ring.by_id(row["key_id"]) if ring is not None else None
    if key is None:
        return f"sealed with key {row['key_id']}, which is not at hand, so nothing can be said"
    if seal(key, bytes(before), row) != bytes(row["seal"]):
        return "does not fit its seal: it was changed, or the row before it"
    return ""


# --- anchors ------------------------------------------------------------------------------------


def make_anchors(connection: sa.Connection, *, now_ms: int) -> dict[str, Any]:
    """Where every chain stands, sealed, to be kept away from this server: what is cut off later shows."""
    ring = ring_of(connection.engine.url, make=False)
    if ring is None:
        raise RingtellError("the audit trail has no key yet: set RINGTELL_AUDIT_KEY, then there are chains")
    codes = _codes(connection)
    heads = connection.execute(
        sa.select(audit_heads).where(audit_heads.c.seq > 0).order_by(audit_heads.c.press_id)
    )
    chains = [
        {
            "press_id": head.press_id,
            "press": _code(codes, head.press_id),
            "seq": head.seq,
            "seal": bytes(head.seal).hex(),
        }
        for head in heads
    ]
    document = {"kind": "ringtell audit anchors", "made_ms": now_ms, "chains": chains}
    return {**document, "key": ring.current.key_id, "mark": mark(ring.current, _text(document))}


def _text(document: Mapping[str, Any]) -> str:
    told = {name: document.get(name) for name in ("kind", "made_ms", "chains")}
    return json.dumps(told, sort_keys=True, separators=(",", ":"))


def check_anchors(connection: sa.Connection, document: Any) -> list[TrailFault]:
    """Hold the trail against anchors made earlier; chains that were cut off or written anew."""
    ring = ring_of(connection.engine.url, make=False)
    if not isinstance(document, Mapping) or not isinstance(document.get("chains"), list):
        raise InvalidError(
            N_("these are no anchors; take the file from ringtell db anchors"), field="anchors"
        )
    key = ring.by_id(str(document.get("key"))) if ring is not None else None
    if key is None:
        raise InvalidError(
            N_("the anchors were made with key {get!r}, which is not at hand", get=document.get("key"))
        )
    if mark(key, _text(document)) != document.get("mark"):
        raise InvalidError(N_("the anchors do not fit their own mark: the file was changed"), field="anchors")
    faults = []
    for chain in document["chains"]:
        query = sa.select(audit.c.seal, audit.c.audit_no).where(
            audit.c.press_id == chain["press_id"], audit.c.seq == chain["seq"]
        )
        row = connection.execute(query).one_or_none()
        if row is None:
            reason = "the anchors know this place, the trail does not: rows were cut off"
            faults.append(TrailFault(chain["press"], chain["seq"], None, reason))
        elif bytes(row.seal).hex() != chain["seal"]:
            reason = "another seal than the anchors know: the chain was written anew"
            faults.append(TrailFault(chain["press"], chain["seq"], row.audit_no, reason))
    return faults
