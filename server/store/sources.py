"""What collectors last said of themselves: one row a source, the report as JSON."""

import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.plant import upsert
from server.store.tables import sources


def put_source(
    connection: sa.Connection,
    name: str,
    *,
    kind: str,
    reported_by: str,
    report: Mapping[str, Any],
    now_ms: int,
) -> None:
    row = {
        "name": name,
        "kind": kind,
        "reported_by": reported_by,
        "reported_ms": now_ms,
        "report": json.dumps(report, ensure_ascii=False, separators=(",", ":")),
    }
    upsert(connection, sources, [row])


def source_by_name(connection: sa.Connection, name: str) -> Mapping[str, Any] | None:
    row = connection.execute(sa.select(sources).where(sources.c.name == name)).first()
    return None if row is None else _read(row)


def all_sources(connection: sa.Connection, *, limit: int = 1_000) -> list[Mapping[str, Any]]:
    """By name; `report` as the object it was."""
    rows = connection.execute(sa.select(sources).order_by(sources.c.name).limit(limit))
    return [_read(row) for row in rows]


def count_sources(connection: sa.Connection) -> int:
    return int(connection.execute(sa.select(sa.func.count()).select_from(sources)).scalar_one())


def forget_source(connection: sa.Connection, name: str) -> bool:
    return bool(connection.execute(sa.delete(sources).where(sources.c.name == name)).rowcount)


def _read(row: Any) -> Mapping[str, Any]:
    fields = dict(row._mapping)
    fields["report"] = json.loads(fields["report"])
    return fields
