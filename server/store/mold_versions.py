"""What limits and demand of a mold were, and since when: versions that are never changed."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.numbering import lock_table
from server.store.tables import mold_versions


@dataclasses.dataclass(frozen=True)
class MoldVersion:
    """Limits by signal and demand from `since_ms` on. `who` is empty for what stood before."""

    mold: str
    version_no: int
    since_ms: int
    limits: Mapping[str, Any]
    demand: Mapping[str, Any]
    who: str
    why: str


def versions_of(connection: sa.Connection, mold: str) -> list[MoldVersion]:
    """Every version of a mold, the first one first."""
    rows = connection.execute(
        sa.select(mold_versions)
        .where(mold_versions.c.mold == mold)
        .order_by(mold_versions.c.version_no)
        .limit(1000)
    )
    return [
        MoldVersion(**{**row._mapping, "limits": json.loads(row.limits), "demand": json.loads(row.demand)})
        for row in rows
    ]


def add_version(
    connection: sa.Connection, mold: str, *, since_ms: int, limits: str, demand: str, who: str, why: str
) -> None:
    """Keep limits and demand (JSON) as the newest version; nothing where the newest says the same."""
    lock_table(connection, mold_versions)
    known = versions_of(connection, mold)
    before = (known[-1].limits, known[-1].demand) if known else ({}, {})
    if (json.loads(limits), json.loads(demand)) == before:
        return
    connection.execute(
        sa.insert(mold_versions).values(
            mold=mold,
            version_no=len(known) + 1,
            since_ms=since_ms,
            limits=limits,
            demand=demand,
            who=who,
            why=why,
        )
    )
