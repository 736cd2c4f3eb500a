"""Shots from the body of an HTTP request. READ HERE FIRST: `read_body` is all the rest needs.

What is taken, beyond the contract's page:

- the query may name units (`?length=in`) and, once for all rows, press, mold, material, lot, setup;
  what a JSON body names goes before it, what a shot names before both;
- a speed follows the unit of length (`injection_speed_mm_s` in in/s where lengths are inches);
  set-points and `extra` are kept as sent;
- a number under a name that is no field of a shot is kept in `extra`; any other value there keeps
  the row apart, for it may be a misspelt field;
- texts are kept in NFC without edge spaces, whole numbers are taken for text, empty is missing;
- empty lines are no rows; an unquoted CSV cell may have spaces around it.
"""

from collections.abc import Mapping

from server.ingest.batch import ReadBatch, ReadShot, RejectedRow, shot_line
from server.ingest.csv_body import read_csv
from server.ingest.forms import expand, read_media, read_query
from server.ingest.json_body import Around, read_json, read_ndjson
from server.ingest.labels import Label

__all__ = ["Label", "ReadBatch", "ReadShot", "RejectedRow", "read_body", "shot_line"]


def read_body(
    body: bytes,
    *,
    content_type: str,
    content_encoding: str | None,
    query: Mapping[str, str],
    received_ms: int,
    max_bytes: int,
    max_expanded_bytes: int,
    max_rows: int,
) -> ReadBatch:
    """Every row of the body as a shot or as a rejected row.

    Raises `UnknownMediaError` (415), `TooLargeError` (413) and `BadBodyError` (422) for what is
    wrong with the body as a whole, and nothing else, whatever the bytes are.
    """
    media, codec = read_media(content_type)
    labels, units = read_query(query)
    plain = expand(body, content_encoding, max_bytes=max_bytes, max_expanded_bytes=max_expanded_bytes)
    around = Around(labels, units=units, received_ms=received_ms, max_rows=max_rows)
    if media == "application/json":
        return read_json(plain, around)
    if media == "application/x-ndjson":
        return read_ndjson(plain, around)
    return read_csv(plain, around, codec=codec)
