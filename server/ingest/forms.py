"""What a body says about itself: media type, character set, compression, and the query beside it."""

import gzip
import io
import zlib
from collections.abc import Mapping
from typing import Final

from server.contract import UNITS
from server.errors import BadBodyError, TooLargeError, UnknownMediaError
from server.ingest.faults import named, shown
from server.language import N_

MEDIA: Final = ("application/json", "application/x-ndjson", "text/csv")
_SAME_AS: Final = {
    "application/ndjson": "application/x-ndjson",
    "application/jsonl": "application/x-ndjson",
    "application/csv": "text/csv",
    "text/tab-separated-values": "text/csv",
}
_CHARSETS: Final = {
    "utf-8": "utf-8",
    "utf8": "utf-8",
    "us-ascii": "utf-8",
    "ascii": "utf-8",
    "iso-8859-1": "latin-1",
    "latin-1": "latin-1",
    "windows-1252": "cp1252",
}
#: Query parameters beside the units.
_QUERY_LABELS: Final = ("press", "mold", "material", "lot", "setup")
_PIECE: Final = 1 << 20


def read_media(content_type: str) -> tuple[str, str]:
    """Media type and Python codec of a Content-Type header."""
    media, *parameters = (part.strip() for part in content_type.split(";"))
    media = media.lower()
    media = _SAME_AS.get(media, media)
    if media not in MEDIA:
        raise UnknownMediaError(
            N_(
                "the body is {media}; send {join} or {media_2}",
                media=shown(media),
                join=", ".join(MEDIA[:-1]),
                media_2=MEDIA[-1],
            ),
            field="Content-Type",
        )
    codec = "utf-8"
    for parameter in parameters:
        name, _, value = parameter.partition("=")
        if name.strip().lower() == "charset":
            charset = value.strip().strip('"').lower()
            codec = _CHARSETS.get(charset, "")
            if not codec or (codec != "utf-8" and media != "text/csv"):
                raise UnknownMediaError(
                    N_("the character set {charset} is not taken; send UTF-8", charset=shown(charset))
                )
    return media, codec


def expand(body: bytes, content_encoding: str | None, *, max_bytes: int, max_expanded_bytes: int) -> bytes:
    """The body as it was before compression; never more than `max_expanded_bytes` of it in memory."""
    if len(body) > max_bytes:
        raise TooLargeError(
            N_(
                "the body has {body} bytes; at most {max_bytes} are taken at once, so send smaller batches",
                body=len(body),
                max_bytes=max_bytes,
            )
        )
    encoding = (content_encoding or "identity").strip().lower()
    if encoding in ("identity", ""):
        return body
    if encoding not in ("gzip", "x-gzip"):
        raise UnknownMediaError(
            N_("the content encoding {encoding} is not taken; send gzip or none", encoding=shown(encoding)),
            field="Content-Encoding",
        )
    return _gunzip(body, max_expanded_bytes)


def _gunzip(body: bytes, limit: int) -> bytes:
    pieces: list[bytes] = []
    size = 0
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(body)) as stream:
            while piece := stream.read(min(_PIECE, limit + 1 - size)):
                size += len(piece)
                if size > limit:
                    raise TooLargeError(
                        N_(
                            "the body expands to more than {limit} bytes, the most taken; send smaller"
                            " batches",
                            limit=limit,
                        )
                    )
                pieces.append(piece)
    except (OSError, EOFError, zlib.error) as error:
        raise BadBodyError(
            N_("the body is no whole gzip stream: {error}", error=error), field="Content-Encoding"
        ) from None
    return b"".join(pieces)


def read_query(query: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Labels and units of the query; a name that is neither is a fault, for it may be a misspelt unit."""
    labels = {name: query[name] for name in _QUERY_LABELS if name in query}
    units = {name: query[name] for name in UNITS if name in query}
    for name in query:
        if name not in labels and name not in units:
            known = ", ".join((*_QUERY_LABELS, *UNITS))
            raise BadBodyError(
                N_("the query has {name}; known are {known}", name=shown(name), known=known),
                field=named(name),
            )
    return labels, units


def decode(body: bytes, codec: str) -> str:
    """Text of the body, without a byte order mark."""
    try:
        text = body.decode(codec)
    except UnicodeDecodeError as error:
        raise BadBodyError(
            N_(
                "the body is no {codec} text at byte {start}; save it as UTF-8",
                codec=codec.upper(),
                start=error.start,
            )
        ) from None
    return text.removeprefix("\ufeff")


def too_many_rows(count: int, max_rows: int) -> TooLargeError:
    return TooLargeError(
        N_(
            "the body has {count} rows or more; at most {max_rows} are taken at once, so send"
            " smaller batches",
            count=count,
            max_rows=max_rows,
        )
    )


def check_lines(count: int, max_rows: int) -> None:
    """Empty lines are no rows, but millions of them are no table."""
    if count > 2 * max_rows + 1000:
        raise too_many_rows(count, max_rows)
