"""Which limits and which demand a stretch of time is judged by: those of its day."""

import dataclasses
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.mold_versions import MoldVersion, versions_of
from server.store.page_queries import document


@dataclasses.dataclass(frozen=True)
class InForce:
    """Limits by signal and demand; `version` is None while none was entered. `newer`: others came since."""

    limits: Mapping[str, Any]
    demand: Mapping[str, Any]
    version: MoldVersion | None
    newer: bool


def in_force(connection: sa.Connection, mold: Mapping[str, Any], *, until_ms: int | None) -> InForce:
    """What held at the end of a stretch (`until_ms`, exclusive; None: now).

    Before the first version the first one holds: values measured before anybody entered the drawing's
    limits are still judged by the drawing.
    """
    versions = versions_of(connection, mold["mold"])
    if not versions:
        return InForce(document(mold["limits"]), document(mold["demand"]), None, newer=False)
    held = [one for one in versions if until_ms is None or one.since_ms < until_ms]
    one = held[-1] if held else versions[0]
    return InForce(one.limits, one.demand, one, newer=one is not versions[-1])
