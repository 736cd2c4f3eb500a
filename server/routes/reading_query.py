"""What the reading routes share: times, signals and cursors in the query, answers as JSON bytes."""

import base64
import binascii
import contextlib
import json
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Final

import msgspec
import numpy as np
import sqlalchemy as sa
from fastapi import Query, Request
from fastapi.responses import Response

from server.clock import from_datetime
from server.errors import InvalidError, NotFoundError
from server.language import N_, Marked
from server.record.times import parse_time
from server.routes.calls import allow, code_of, objects_of
from server.store.plant import Press, need_press

#: 9999-12-01: what is asked beyond it, or before 1970, is taken as that.
LATEST_MS: Final = 253_399_622_400_000

Limit = Annotated[int, Query(ge=1, le=10_000, description="items in one answer")]
Cursor = Annotated[str | None, Query(description="next_cursor of the answer before")]
From = Annotated[str | None, Query(alias="from", description="RFC 3339 with offset, inclusive")]
To = Annotated[str | None, Query(description="RFC 3339 with offset, exclusive")]


def read_time(name: str, text: str | None) -> int | None:
    """Milliseconds of a time in the query; None where it was not asked.

    >>> read_time("from", "1970-01-01T00:00:01Z")
    1000
    """
    if text is None:
        return None
    at = parse_time(text)
    if at is None and text.count(" ") == 1:
        # A + that was not percent-encoded arrives as a space.
        at = parse_time(text.replace(" ", "+"))
    if at is None:
        raise InvalidError(
            N_(
                "{name} is {value!r}; it has to be a time with its offset, such as"
                " 2026-04-01T06:00:00+02:00 (write + as %2B) or 2026-04-01T06:00:00Z",
                name=name,
                value=text[:60],
            ),
            field=name,
        )
    return min(max(from_datetime(at), 0), LATEST_MS)


def read_span(from_text: str | None, to_text: str | None) -> tuple[int | None, int | None]:
    """from (inclusive) and to (exclusive) in milliseconds."""
    from_ms, to_ms = read_time("from", from_text), read_time("to", to_text)
    if from_ms is not None and to_ms is not None and to_ms <= from_ms:
        raise InvalidError(
            N_(
                "to is {to_text!r}; it has to be later than from, {from_text!r}",
                to_text=to_text,
                from_text=from_text,
            ),
            field="to",
        )
    return from_ms, to_ms


def read_signal(name: str, known: Sequence[str], *, field: str = "signal") -> str:
    """A known signal, or InvalidError that lists what there is."""
    if name not in known:
        raise InvalidError(
            N_(
                "{field} {name!r} is not known; one of {join}",
                field=field,
                name=name[:60],
                join=", ".join(known),
            ),
            field=field,
        )
    return name


def encode_cursor(key: Sequence[Any]) -> str:
    """A key of numbers and texts as a cursor.

    >>> decode_cursor(encode_cursor([5, "P 01"]), [int, str])
    [5, 'P 01']
    """
    return base64.urlsafe_b64encode(json.dumps(list(key), ensure_ascii=False).encode()).decode().rstrip("=")


def decode_cursor(text: str | None, kinds: Sequence[type]) -> list[Any] | None:
    """The key of a cursor, each part of its kind; None where there is no cursor."""
    if text is None:
        return None
    key: Any = None
    with contextlib.suppress(binascii.Error, ValueError):
        key = json.loads(base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True))
    if not isinstance(key, list) or [type(part) for part in key] != list(kinds) or any(map(_odd, key)):
        raise InvalidError(
            N_(
                "cursor {value!r} is none of ours; take it from next_cursor, or leave it out", value=text[:60]
            ),
            field="cursor",
        )
    return key


def _odd(part: Any) -> bool:
    """A number no key has, or a text no database takes (NUL, lone halves of surrogate pairs)."""
    if isinstance(part, str):
        return any(sign == "\x00" or "\ud800" <= sign <= "\udfff" for sign in part)
    return bool(abs(part) >= 1 << 62)


def asked_code(name: str, text: str) -> str:
    """A code somebody asks about; one that cannot be stored is not found."""
    code = code_of(text)
    if _odd(code):
        raise NotFoundError(
            N_("no {name} {code!r}: a code has no control characters", name=name, code=code[:60]), field=name
        )
    return code


@contextlib.contextmanager
def reading(request: Request, code: str) -> Iterator[tuple[sa.Connection, Press]]:
    """A snapshot and the press of the path, for an actor who may read it."""
    press = asked_code("press", code)
    allow(request, "read", press=press)
    with objects_of(request).store.read() as connection:
        yield connection, need_press(connection, press)


def times_text(at_ms: Any) -> list[str]:
    """Many times at once, as `clock.as_text` writes each.

    >>> times_text([0, 1_775_023_200_125])
    ['1970-01-01T00:00:00.000Z', '2026-04-01T06:00:00.125Z']
    """
    moments = np.asarray(at_ms, dtype=np.int64).astype("datetime64[ms]")
    texts: list[str] = np.datetime_as_string(moments, unit="ms").tolist()
    return [text + "Z" for text in texts]


def _marked(value: object) -> str:
    """The one thing the encoder does not know: a text that is put into the reader's language."""
    if isinstance(value, Marked):
        return str(value)
    raise TypeError(f"{type(value).__name__} cannot be answered")


def as_json(body: Any, *, headers: dict[str, str] | None = None) -> Response:
    """JSON of a large answer; what is not finite becomes null."""
    return Response(
        msgspec.json.encode(body, enc_hook=_marked), media_type="application/json", headers=headers
    )


def page(items: list[Any], limit: int, keys: Sequence[Sequence[Any]]) -> dict[str, Any]:
    """A page of the `limit` first of items that were read with one more; keys: one per item."""
    more = len(items) > limit
    return {
        "items": items[:limit],
        "next_cursor": encode_cursor(keys[limit - 1]) if more else None,
    }
