"""A source reports itself; a source that is gone is taken off the list."""

import json
from typing import Annotated, Any, Final

import msgspec
import sqlalchemy as sa

from server.errors import ConflictError, ForbiddenError, InvalidError, NotFoundError
from server.language import N_
from server.store.audit import PLANT, add_audit
from server.store.sources import count_sources, forget_source, put_source, source_by_name

#: Sources a plant may have; more are a name made anew at every start.
SOURCES_MAX: Final = 500
_NAME_MAX: Final = 80

_Text = Annotated[str, msgspec.Meta(max_length=400)]
_Short = Annotated[str, msgspec.Meta(max_length=80)]
_Count = Annotated[int, msgspec.Meta(ge=0, le=1 << 53)]
_Moment = Annotated[str, msgspec.Meta(max_length=40, pattern=r"^\d{4}-\d\d-\d\dT[0-9:.]+(Z|[+-]\d\d:\d\d)$")]
_Facts = Annotated[dict[_Short, _Text], msgspec.Meta(max_length=100)]


class _Press(msgspec.Struct, forbid_unknown_fields=True):
    press: _Short
    connected: bool = True
    shots: _Count = 0
    shots_last_hour: _Count = 0
    last_shot_at: _Moment | None = None
    lost: _Count = 0
    apart: _Count = 0
    clock_offset_s: float | None = None
    trouble: _Text = ""
    not_reported: _Facts = msgspec.field(default_factory=dict)
    facts: _Facts = msgspec.field(default_factory=dict)


class _Spool(msgspec.Struct, forbid_unknown_fields=True):
    waiting: _Count = 0
    apart: _Count = 0
    most: _Count = 0
    refused: _Count = 0
    oldest_at: _Moment | None = None


class _Sending(msgspec.Struct, forbid_unknown_fields=True):
    stored: _Count = 0
    duplicate: _Count = 0
    conflict: _Count = 0
    rejected: _Count = 0
    trouble: _Text = ""
    reasons: Annotated[list[_Text], msgspec.Meta(max_length=10)] = []


class _Apart(msgspec.Struct, forbid_unknown_fields=True):
    press: _Short
    at: _Moment
    code: _Short
    reason: _Text
    raw: _Text


class _Report(msgspec.Struct, forbid_unknown_fields=True):
    kind: Annotated[str, msgspec.Meta(min_length=1, max_length=20)]
    address: _Text = ""
    version: _Short = ""
    started_at: _Moment | None = None
    trouble: _Text = ""
    presses: Annotated[list[_Press], msgspec.Meta(max_length=2_000)] = []
    spool: _Spool = msgspec.field(default_factory=_Spool)
    sending: _Sending = msgspec.field(default_factory=_Sending)
    apart: Annotated[list[_Apart], msgspec.Meta(max_length=20)] = []


def record_source(
    connection: sa.Connection, name: str, document: Any, *, by: str, only_press: str, now_ms: int
) -> None:
    """Keep what a source says of itself in place of what it said before.

    only_press: the press a key is bound to, '' for any. Raises `InvalidError` naming the field,
    `ForbiddenError` for another's source or press, `ConflictError` when there are too many.
    """
    report = _checked(name, document)
    strange = [one.press for one in report.presses if only_press and one.press != only_press]
    if strange:
        raise ForbiddenError(
            N_(
                "this key is for press {only_press!r}, not for {strange!r}",
                only_press=only_press,
                strange=strange[0],
            ),
            field="press",
        )
    before = source_by_name(connection, name)
    if before is None and count_sources(connection) >= SOURCES_MAX:
        raise ConflictError(
            N_(
                "{sources_max} sources are known; take those that are gone off the list first",
                sources_max=SOURCES_MAX,
            )
        )
    if before is not None and only_press and before["reported_by"] != by:
        raise ForbiddenError(
            N_(
                "{reported_by!r} reports the source {name!r}; take another name",
                reported_by=before["reported_by"],
                name=name,
            )
        )
    kept = msgspec.to_builtins(report)
    put_source(connection, name, kind=report.kind, reported_by=by, report=kept, now_ms=now_ms)


def _checked(name: str, document: Any) -> _Report:
    if not 0 < len(name) <= _NAME_MAX or not name.isprintable() or name != name.strip():
        raise InvalidError(
            N_("name {name!r}: 1 to {name_max} printable characters", name=name[:100], name_max=_NAME_MAX),
            field="name",
        )
    try:
        report = msgspec.convert(document, _Report)
        # What JSON has no word for would break every answer it is later part of.
        json.dumps(msgspec.to_builtins(report), ensure_ascii=False, allow_nan=False).encode()
    except ValueError:
        raise InvalidError(
            N_("the report of a source holds half of a surrogate pair or a number that is none"),
            field="report",
        ) from None
    except msgspec.ValidationError as error:
        raise InvalidError(N_("the report of a source: {error}", error=error), field="report") from None
    if not report.kind.isprintable():
        raise InvalidError(N_("kind {kind!r}: printable characters", kind=report.kind), field="kind")
    return report


def remove_source(connection: sa.Connection, name: str, *, by: str, now_ms: int) -> None:
    """Take a source off the list; it comes back by itself when it still reports."""
    if not forget_source(connection, name):
        raise NotFoundError(N_("no source {name!r}", name=name), field="name")
    add_audit(connection, PLANT, now_ms=now_ms, who=by, action="source_removed", subject=f"source {name}")
