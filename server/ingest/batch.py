"""What reading gives: shots as plain tuples, and the rows kept apart."""

import dataclasses
from typing import Any, NamedTuple

import msgspec

from server.clock import as_text
from server.contract import SHOT_COLUMNS, SHOT_DOCUMENTS
from server.ingest.labels import LABEL_FIELDS, Label


class ReadShot(NamedTuple):
    """A shot ready to store. `values` follow `contract.SHOT_COLUMNS`, in stored units.

    Every shot of a batch with the same context carries the same `Label` object.
    """

    row: int
    label: Label
    at_ms: int
    counter: int
    values: tuple[Any, ...]


@dataclasses.dataclass(frozen=True, slots=True)
class RejectedRow:
    """A row kept apart. `raw` is its text as it came; where `replayable`, the shot as an NDJSON line."""

    row: int
    field: str
    code: str
    message: str
    raw: str
    press: str | None = None
    replayable: bool = False
    at_ms: int | None = None


@dataclasses.dataclass(frozen=True, slots=True)
class ReadBatch:
    """Every row of a body: `received == len(shots) + len(rejected)`."""

    received: int
    shots: list[ReadShot]
    rejected: list[RejectedRow]


def shot_line(shot: ReadShot) -> str:
    """The shot as a self-contained NDJSON line in stored units; reading it gives the same shot again.

    It is what is kept of a row that may be replayed: unknown press, clock ahead.
    """
    fields: dict[str, Any] = {"counter": shot.counter, "at": as_text(shot.at_ms)}
    for name, value in zip(LABEL_FIELDS, shot.label, strict=True):
        if value is not None:
            fields[name] = msgspec.Raw(value.encode()) if name == "setpoints" else value
    for name, value in zip(SHOT_COLUMNS, shot.values, strict=True):
        if value is not None:
            fields[name] = msgspec.Raw(value.encode()) if name in SHOT_DOCUMENTS else value
    return msgspec.json.encode(fields).decode()
