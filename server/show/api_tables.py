"""Shots as a table for other programs: CSV with cells no spreadsheet runs, and Parquet."""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from typing import Any

from server.lazily import Lazily

pa, pq = Lazily("pyarrow"), Lazily("pyarrow.parquet")

CSV, PARQUET = "text/csv", "application/vnd.apache.parquet"

#: A spreadsheet takes a text that begins with one of these for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")

#: Where one of them begins a cell though it stands within ours.
_NEXT_CELL = re.compile(r'([;\t\r\n][\s"]{0,8})(?=[=+\-@|%])').sub


def safe_cell(value: Any) -> Any:
    """A cell as a spreadsheet shows it; a text it would run gets an apostrophe before it.

    >>> safe_cell("=1+1"), safe_cell(-1.5), safe_cell("A1"), safe_cell(None), safe_cell(" =1")
    ("'=1+1", -1.5, 'A1', '', "' =1")
    """
    if value is None:
        return ""
    if isinstance(value, str) and (value.startswith(_FORMULA) or value.lstrip().startswith(_FORMULA)):
        return "'" + value
    return value


def safe_in_csv(value: Any) -> Any:
    """A cell of a CSV file as a spreadsheet shows it, also one that takes semicolons, tabs and every line
    end for the end of a cell: behind each of them a new cell would begin.

    >>> safe_in_csv("=1+1"), safe_in_csv("lot 7; =1+1"), safe_in_csv("a;b"), safe_in_csv(-1.5)
    ("'=1+1", "lot 7; '=1+1", 'a;b', -1.5)
    """
    cell = safe_cell(value)
    return _NEXT_CELL(r"\1'", cell) if isinstance(cell, str) else cell


def csv_bytes(columns: Mapping[str, Sequence[Any]]) -> bytes:
    """CSV (RFC 4180, UTF-8) with a header; what is missing is an empty cell.

    >>> csv_bytes({"lot": ["-A", None], "cushion_mm": [6.0, 5.5]})
    b"lot,cushion_mm\\r\\n'-A,6.0\\r\\n,5.5\\r\\n"
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([safe_in_csv(name) for name in columns])
    for row in zip(*columns.values(), strict=True):
        writer.writerow([safe_in_csv(one) for one in row])
    return out.getvalue().encode()


def arrow_types() -> dict[str, Any]:
    """The type of a column of each kind."""
    return {
        "time": pa.timestamp("ms", tz="UTC"),
        "whole": pa.int64(),
        "number": pa.float64(),
        "text": pa.string(),
    }


def parquet_bytes(columns: Mapping[str, Sequence[Any]], kinds: Mapping[str, str]) -> bytes:
    """Parquet; kinds: `time` (UTC milliseconds), `whole`, `number` or `text` per column."""
    types = arrow_types()
    arrays = {name: pa.array(values, type=types[kinds[name]]) for name, values in columns.items()}
    out = io.BytesIO()
    pq.write_table(pa.table(arrays), out)
    return out.getvalue()


def chosen_media(accept: str) -> str | None:
    """CSV or PARQUET where the Accept header prefers one of them over JSON, else None.

    >>> chosen_media("text/csv"), chosen_media("*/*"), chosen_media("application/json, text/csv;q=0.5")
    ('text/csv', None, None)
    """
    best, choice = 0.0, None
    for position, part in enumerate(accept.split(",")):
        media, *parameters = (one.strip().lower() for one in part.split(";"))
        weight = next((one[2:] for one in parameters if one.startswith("q=")), "1")
        try:
            value = float(weight) - position * 1e-6
        except ValueError:
            continue
        if value > best:
            best, choice = value, media
    return choice if choice in (CSV, PARQUET) else None
