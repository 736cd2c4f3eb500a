"""The fast path for batches whose shots carry numbers under names of the sender's own."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import msgspec

from server.contract import LABELS
from server.ingest.cells import DOCUMENT_FIELDS, NUMBER_FIELDS
from server.ingest.columns import FIELDS, RAW_NONE, Column

_KNOWN: Final = frozenset(FIELDS)
_HEAD_ONLY: Final = frozenset({"units", "shots"})
_NONE = type(None)
_NUMBERS: Final = frozenset({int, float})

_Batch: Any = msgspec.defstruct(
    "_LooseBatch",
    [
        ("shots", list[dict[str, Any]]),
        *((name, str | None, None) for name in LABELS if name != "setpoints"),
        ("setpoints", dict[str, Any] | None, None),
        ("units", dict[str, str] | None, None),
    ],
    forbid_unknown_fields=True,
)
_decoder = msgspec.json.Decoder(_Batch)


def decode_loosely(body: bytes) -> Any | None:
    """The batch with its shots as plain objects; None where it is not one."""
    try:
        return _decoder.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def columns_of_objects(shots: Sequence[Mapping[str, Any]]) -> list[Column] | None:
    """Columns in the order of `FIELDS`; None where a value needs the careful path."""
    names: set[str] = set()
    for shot in shots:
        names.update(shot)
    own = names - _KNOWN
    if own & _HEAD_ONLY:
        return None
    try:
        columns = {name: _column(name, [shot.get(name) for shot in shots]) for name in names & _KNOWN}
        if own:
            columns["extra"] = [_extra(shot, own) for shot in shots]
    except (ValueError, OverflowError, msgspec.MsgspecError):
        return None
    count = len(shots)
    return [columns[name] if name in columns else _absent(name, count) for name in FIELDS]


def _absent(name: str, count: int) -> Column:
    return [RAW_NONE if name in DOCUMENT_FIELDS else None] * count


def _column(name: str, values: list[Any]) -> Column:
    kinds = set(map(type, values))
    if name in DOCUMENT_FIELDS:
        return [RAW_NONE if v is None else msgspec.Raw(msgspec.json.encode(v)) for v in values]
    if name in NUMBER_FIELDS:
        _check(kinds - {_NONE} <= _NUMBERS)
        return [float(v) if v is not None else None for v in values] if int in kinds else values
    if name == "counter":
        _check(kinds == {int})
    else:
        _check(kinds <= {str, _NONE})
    return values


def _extra(shot: Mapping[str, Any], own: set[str]) -> msgspec.Raw:
    """The shot's own numbers together with its `extra`, which goes before them."""
    kept = {}
    for name in own:
        value = shot.get(name)
        if value is not None:
            _check(type(value) in _NUMBERS)
            kept[name] = value
    given = shot.get("extra")
    if given is not None:
        _check(type(given) is dict)
        kept.update(given)
    return msgspec.Raw(msgspec.json.encode(kept))


def _check(holds: bool) -> None:
    if not holds:
        raise ValueError
