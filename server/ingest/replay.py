"""Rows kept apart, tried again: what can be stored now is, the rest is kept apart anew with its reason."""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.clock import from_datetime
from server.ingest import receive as ingest
from server.ingest.batch import ReadBatch
from server.ingest.times import AHEAD_MS
from server.ingest.wire import read_body
from server.store import quarantine
from server.store.audit import add_audit
from server.store.plant import need_press

#: Code of a row whose time lay ahead of the server's clock.
AHEAD: Final = "in_the_future"
#: Rows of an earlier wrong clock are looked for this far back, so many at a time.
AHEAD_DAYS: Final = 31
AT_A_TIME: Final = 2_000

_NO_BOUND: Final = 1 << 40

Place = tuple[int, int]


def read_lines(lines: Sequence[str], *, now_ms: int) -> ReadBatch:
    """NDJSON lines as they are kept of replayable rows, read like any other body."""
    if not lines:
        return ReadBatch(0, [], [])
    return read_body(
        "\n".join(lines).encode(),
        content_type="application/x-ndjson",
        content_encoding=None,
        query={},
        received_ms=now_ms,
        max_bytes=_NO_BOUND,
        max_expanded_bytes=_NO_BOUND,
        max_rows=_NO_BOUND,
    )


def take_back(connection: sa.Connection, code: str, *, kind: str, who: str, now_ms: int) -> ingest.Received:
    """Try every replayable row of one kind of a press again, in the caller's transaction."""
    press = need_press(connection, code)
    rows = quarantine.replayable_rows(connection, code, kind=kind)
    received = _again(connection, rows, now_ms=now_ms, source="take-back")
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="shots_taken_back",
        subject=f"{len(rows)} rows",
        before={"kind": kind, "rows": len(rows)},
        after={"stored": received.stored, "rejected": len(received.rejected)},
    )
    return received


def find_due(
    connection: sa.Connection, *, after: Place | None, now_ms: int
) -> tuple[list[Mapping[str, Any]], Place | None]:
    """Rows whose time lay ahead of the clock and no longer does: the clock was wrong.

    Looks at some of them, from a place on; gives those that are due and the next place (None: begin
    anew). It may have to pass over many rows kept apart for other reasons: a reader's work, not the writer's.
    """
    since_ms = now_ms - AHEAD_DAYS * 86_400_000
    rows = quarantine.rows_with_code(connection, AHEAD, after=after or (since_ms, -1), limit=AT_A_TIME)
    due = [row for row in rows if _at_ms(row["raw"], now_ms) <= now_ms + AHEAD_MS]
    last = (int(rows[-1]["arrived_ms"]), int(rows[-1]["row_id"])) if len(rows) == AT_A_TIME else None
    return due, last


def replay(connection: sa.Connection, due: Sequence[Mapping[str, Any]], *, now_ms: int) -> ingest.Received:
    """Try these rows again."""
    return _again(connection, due, now_ms=now_ms, source="clock")


def _again(
    connection: sa.Connection, rows: Sequence[Mapping[str, Any]], *, now_ms: int, source: str
) -> ingest.Received:
    by_press: dict[str, list[int]] = {}
    for row in rows:
        by_press.setdefault(row["press"], []).append(row["row_id"])
    for code, ids in by_press.items():
        quarantine.forget_rows(connection, code, ids)
    batch = read_lines([row["raw"] for row in rows], now_ms=now_ms)
    return ingest.receive(connection, batch, accept_unknown=False, now_ms=now_ms, source=source)


def _at_ms(raw: str, now_ms: int) -> int:
    """The time within a kept line; one that cannot be read stays where it is."""
    try:
        return from_datetime(dt.datetime.fromisoformat(json.loads(raw)["at"]))
    except (ValueError, KeyError, TypeError):
        return now_ms + 2 * AHEAD_MS
