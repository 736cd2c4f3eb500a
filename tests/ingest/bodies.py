"""Builders with defaults: a good shot, and a body read with the bounds of the settings."""

import json
from collections.abc import Mapping
from typing import Any

from server.contract import SHOT_COLUMNS
from server.ingest.wire import ReadBatch, ReadShot, RejectedRow, read_body

#: 2026-05-28T20:26:40Z
RECEIVED_MS = 1_780_000_000_000
JSON, NDJSON, CSV = "application/json", "application/x-ndjson", "text/csv"


def shot(**changes: Any) -> dict[str, Any]:
    """A shot that can be taken; a change to `None` leaves the field out."""
    fields: dict[str, Any] = {
        "counter": 7,
        "at": "2026-04-01T06:00:00Z",
        "shot_size_mm": 80.0,
        "cushion_mm": 6.02,
    }
    fields.update(changes)
    return {name: value for name, value in fields.items() if value is not None}


def read(
    body: Any,
    content_type: str = JSON,
    *,
    encoding: str | None = None,
    query: Mapping[str, str] | None = None,
    max_bytes: int = 1 << 20,
    max_expanded_bytes: int = 1 << 22,
    max_rows: int = 1000,
) -> ReadBatch:
    """`read_body` of bytes, of text, or of an object as JSON."""
    if not isinstance(body, bytes):
        body = (body if isinstance(body, str) else json.dumps(body)).encode()
    return read_body(
        body,
        content_type=content_type,
        content_encoding=encoding,
        query=query or {},
        received_ms=RECEIVED_MS,
        max_bytes=max_bytes,
        max_expanded_bytes=max_expanded_bytes,
        max_rows=max_rows,
    )


def read_one(**changes: Any) -> ReadShot:
    """The only shot of a batch of one."""
    batch = read({"press": "P07", "shots": [shot(**changes)]})
    assert not batch.rejected, batch.rejected
    return batch.shots[0]


def reject_one(**changes: Any) -> RejectedRow:
    """The only row of a batch of one, which must not be taken."""
    batch = read({"press": "P07", "shots": [shot(**changes)]})
    assert not batch.shots, batch.shots
    return batch.rejected[0]


def value(shot: ReadShot, field: str) -> Any:
    return shot.values[SHOT_COLUMNS.index(field)]
