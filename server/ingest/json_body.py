"""JSON and NDJSON bodies: typed decoding of the whole batch first, row by row where that fails."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

import msgspec

from server.contract import LABELS, SHOT_NUMBERS, SHOT_TEXTS
from server.errors import BadBodyError
from server.ingest.batch import ReadBatch
from server.ingest.columns import FIELDS, RAW_NONE, read_columns
from server.ingest.faults import named, shown
from server.ingest.forms import check_lines, decode, too_many_rows
from server.ingest.json_loose import columns_of_objects, decode_loosely
from server.ingest.json_scan import read_parts, row_of
from server.ingest.labels import Head, read_head
from server.ingest.rows import Row, check_rows
from server.language import N_

HEAD_FIELDS: Final = (*LABELS, "units", "shots")


def _shot_field(name: str) -> tuple[str, Any] | tuple[str, Any, Any]:
    if name == "counter":
        return (name, int)
    if name == "at":
        return (name, str)
    if name in SHOT_NUMBERS:
        return (name, float | None, None)
    if name in SHOT_TEXTS or name in ("press", "mold", "material", "setup"):
        return (name, str | None, None)
    return (name, msgspec.Raw, RAW_NONE)


# Fields in the order of FIELDS, so that `astuple` gives a row of the columns.
_Shot: Any = msgspec.defstruct(
    "_Shot", [_shot_field(name) for name in FIELDS], forbid_unknown_fields=True, gc=False
)
_Batch: Any = msgspec.defstruct(
    "_Batch",
    [
        ("shots", list[_Shot]),
        *((name, str | None, None) for name in LABELS if name != "setpoints"),
        ("setpoints", dict[str, Any] | None, None),
        ("units", dict[str, str] | None, None),
    ],
    forbid_unknown_fields=True,
)
_batch_decoder = msgspec.json.Decoder(_Batch)
_line_decoder = msgspec.json.Decoder(_Shot)


class Around:
    """What stands around a body: labels and units of the query, the clock, the bound on rows."""

    __slots__ = ("labels", "max_rows", "received_ms", "units")

    def __init__(
        self, labels: Mapping[str, str], *, units: Mapping[str, str], received_ms: int, max_rows: int
    ) -> None:
        self.labels = labels
        self.units = units
        self.received_ms = received_ms
        self.max_rows = max_rows

    def head(self, fields: Mapping[str, Any], units: Mapping[str, str] | None) -> Head:
        """Head of the batch; what the body names goes before what the query names."""
        given = {name: value for name, value in fields.items() if value is not None}
        return read_head({**self.labels, **given}, {**self.units, **(units or {})})

    def check_count(self, count: int) -> None:
        if count > self.max_rows:
            raise too_many_rows(count, self.max_rows)


def read_json(body: bytes, around: Around) -> ReadBatch:
    """A batch as one JSON object."""
    body = body.removeprefix(b"\xef\xbb\xbf")
    return read_json_fast(body, around) or read_json_carefully(body, around)


def read_json_fast(body: bytes, around: Around) -> ReadBatch | None:
    """All rows at once, or None where one needs a careful look."""
    try:
        batch = _batch_decoder.decode(body)
    except (UnicodeDecodeError, RecursionError):
        return None
    except msgspec.DecodeError as error:
        return read_json_loosely(body, around) if "unknown field" in str(error) else None
    around.check_count(len(batch.shots))
    head = around.head({name: getattr(batch, name) for name in LABELS}, batch.units)
    return _columns_of(batch.shots, head, around.received_ms)


def read_json_loosely(body: bytes, around: Around) -> ReadBatch | None:
    """The same for shots that carry numbers of the sender's own; slower by half."""
    batch = decode_loosely(body)
    if batch is None:
        return None
    around.check_count(len(batch.shots))
    columns = columns_of_objects(batch.shots)
    if columns is None:
        return None
    head = around.head({name: getattr(batch, name) for name in LABELS}, batch.units)
    return read_columns(columns, head, around.received_ms)


def _columns_of(shots: list[Any], head: Head, received_ms: int) -> ReadBatch | None:
    columns = list(zip(*map(msgspec.structs.astuple, shots), strict=True))
    return read_columns(columns, head, received_ms)


def read_json_carefully(body: bytes, around: Around) -> ReadBatch:
    text = decode(body, "utf-8")
    fields, rows = read_parts(text, max_rows=around.max_rows, check_count=around.check_count)
    unknown = [name for name in fields if name not in HEAD_FIELDS]
    if unknown:
        raise BadBodyError(
            N_(
                "the body has {unknown} beside its shots; known are {join}",
                unknown=shown(unknown[0]),
                join=", ".join(HEAD_FIELDS),
            ),
            field=named(unknown[0]),
        )
    if rows is None:
        raise BadBodyError(
            N_("the body has no list shots; send the shots under it, also a single one"), field="shots"
        )
    head = around.head({name: fields.get(name) for name in LABELS}, _units_of(fields.get("units")))
    return check_rows(rows, head, around.received_ms)


def _units_of(units: Any) -> dict[str, str] | None:
    if units is None:
        return None
    if not isinstance(units, dict) or not all(isinstance(v, str) for v in units.values()):
        raise BadBodyError(N_('units is an object of texts, like {"length": "mm"}'), field="units")
    return units


def read_ndjson(body: bytes, around: Around) -> ReadBatch:
    """One shot a line; empty lines are no rows."""
    body = body.removeprefix(b"\xef\xbb\xbf")
    check_lines(body.count(b"\n"), around.max_rows)
    return read_ndjson_fast(body, around) or read_ndjson_carefully(body, around)


def read_ndjson_fast(body: bytes, around: Around) -> ReadBatch | None:
    lines = [line for line in body.split(b"\n") if line and not line.isspace()]
    around.check_count(len(lines))
    try:
        shots = list(map(_line_decoder.decode, lines))
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return _columns_of(shots, around.head({}, None), around.received_ms)


def read_ndjson_carefully(body: bytes, around: Around) -> ReadBatch:
    text = decode(body, "utf-8")
    return check_rows(_lines(text, around), around.head({}, None), around.received_ms)


def _lines(text: str, around: Around) -> Iterator[Row]:
    count = 0
    for line in text.split("\n"):
        line = line.strip(" \t\r\v\f")
        if line:
            count += 1
            around.check_count(count)
            yield row_of(line)
