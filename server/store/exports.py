"""Kept rows for other programs: one press after the other, by key, a page a snapshot.

A page is a snapshot of its own, so that no export holds one for minutes; rows that come meanwhile behind
the page read last are in it, none is in it twice.
"""

import dataclasses
import math
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from typing import Any, Final, Literal

import sqlalchemy as sa

from server.maths.quantile_sketch import quantiles
from server.store import tables as t
from server.store.audit import PLANT
from server.store.spreads import SHOWN

ColumnKind = Literal["time", "whole", "number", "text"]
#: Rows of one page.
PAGE: Final = 5_000


@dataclasses.dataclass(frozen=True)
class Rows:
    """What can be taken out: a table keyed by the press, the column of its time ('' for none), columns left
    out. `audit`: only who may read the trail; `spread`: quantiles of the sketch that stands with each row."""

    table: sa.Table
    time: str
    without: tuple[str, ...] = ()
    audit: bool = False
    spread: bool = False

    @property
    def key(self) -> tuple[sa.Column[Any], ...]:
        """The rest of the key, behind the press."""
        return tuple(column for column in self.table.primary_key.columns if column.name != "press_id")

    @property
    def columns(self) -> tuple[sa.Column[Any], ...]:
        left_out = {"press_id", *self.without}
        return tuple(
            column
            for column in self.table.c
            if column.name not in left_out and not isinstance(column.type, sa.LargeBinary)
        )


EXPORTS: Final[dict[str, Rows]] = {
    "shots": Rows(t.shots, "at_ms", ("setup_id",)),
    "findings": Rows(t.findings, "from_ms"),
    "scores": Rows(t.scores, "at_ms", ("ordinal",)),
    "summaries": Rows(t.rollups, "bucket_ms", ("setup_id",), spread=True),
    "events": Rows(t.events, "at_ms"),
    "alarms": Rows(t.alarms, "opened_ms"),
    "alarm-steps": Rows(t.alarm_steps, "at_ms"),
    "baselines": Rows(t.baselines, "from_ms"),
    "studies": Rows(t.studies, "at_ms"),
    "cases": Rows(t.cases, "opened_ms", ("open_mark",)),
    "case-actions": Rows(t.case_actions, ""),
    "trials": Rows(t.setting_trials, ""),
    "valves": Rows(t.valves, "fitted_ms"),
    "containments": Rows(t.containments, ""),
    "containment-steps": Rows(t.containment_steps, "at_ms"),
    "audit": Rows(t.audit, "at_ms", audit=True),
}


def kind_of(column: sa.Column[Any]) -> ColumnKind:
    if column.name.endswith("_ms"):
        return "time"
    if isinstance(column.type, sa.Double | sa.Float):
        return "number"
    return "whole" if isinstance(column.type, sa.Integer | sa.Boolean) else "text"


def heads_of(rows: Rows) -> dict[str, ColumnKind]:
    """Names of the columns handed out, with the press first; times lose their `_ms`."""
    heads: dict[str, ColumnKind] = {"press": "text"}
    for column in rows.columns:
        kind = kind_of(column)
        heads[column.name.removesuffix("_ms") if kind == "time" else column.name] = kind
    if rows.table is t.shots:
        heads |= {"mold": "text", "material": "text", "setup": "text"}
    if rows.spread:
        heads |= {f"p{100 * share:02.0f}": "number" for share in SHOWN}
    return heads


def pages_of(
    rows: Rows,
    read: Callable[[], AbstractContextManager[sa.Connection]],
    *,
    press: str | None,
    from_ms: int | None,
    to_ms: int | None,
    page: int = PAGE,
) -> Iterator[list[tuple[Any, ...]]]:
    """Pages of rows under `heads_of`; times in UTC milliseconds. `from_ms` inclusive, `to_ms` exclusive."""
    with read() as connection:
        query = sa.select(t.presses.c.press_id, t.presses.c.press).order_by(t.presses.c.press)
        if press is not None:
            query = query.where(t.presses.c.press == press)
        owners = [(int(one.press_id), str(one.press)) for one in connection.execute(query)]
    if rows.audit and press is None:
        # Lines of the plant itself stand under no press.
        owners.insert(0, (PLANT, ""))
    for press_id, code in owners:
        after: tuple[Any, ...] | None = None
        while True:
            with read() as connection:
                found = connection.execute(_page(rows, press_id, after, from_ms, to_ms, page)).all()
            if found:
                width = len(rows.key)
                after = tuple(found[-1][:width])
                kept = [(code, *row[width:]) for row in found]
                yield _with_spread(kept) if rows.spread else kept
            if len(found) < page:
                break


def _with_spread(page: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Rows whose last cell is a sketch, with its quantiles instead; empty while the hour or day goes on."""
    found = quantiles([row[-1] for row in page], probabilities=SHOWN).tolist()
    return [
        (*row[:-1], *(None if math.isnan(value) else value for value in values))
        for row, values in zip(page, found, strict=True)
    ]


def _page(
    rows: Rows,
    press_id: int,
    after: tuple[Any, ...] | None,
    from_ms: int | None,
    to_ms: int | None,
    page: int,
) -> sa.Select[Any]:
    chosen: list[Any] = [column.label(f"key_{i}") for i, column in enumerate(rows.key)] + list(rows.columns)
    source: Any = rows.table
    if rows.table is t.shots:
        chosen += [t.setups.c.mold, t.setups.c.material, t.setups.c.setup]
        same = sa.and_(t.setups.c.press_id == t.shots.c.press_id, t.setups.c.setup_id == t.shots.c.setup_id)
        source = rows.table.outerjoin(t.setups, same)
    query = sa.select(*chosen).select_from(source).where(rows.table.c.press_id == press_id)
    if rows.spread:
        query = query.add_columns(rows.table.c.sketch)
    if after is not None:
        query = query.where(sa.tuple_(*rows.key) > after)
    if rows.time:
        if from_ms is not None:
            query = query.where(rows.table.c[rows.time] >= from_ms)
        if to_ms is not None:
            query = query.where(rows.table.c[rows.time] < to_ms)
    return query.order_by(*rows.key).limit(page)
