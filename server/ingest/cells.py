"""Text cells as the values a shot holds: what CSV and tables share."""

import csv
import io
import json
import re
from collections.abc import Sequence
from typing import Any, Final

from server.contract import SHOT_DOCUMENTS, SHOT_NUMBERS, SHOT_TEXTS
from server.ingest.faults import RowFault, shown
from server.ingest.labels import LABEL_FIELDS
from server.language import N_

NUMBER_FIELDS: Final = frozenset(SHOT_NUMBERS)
TEXT_FIELDS: Final = frozenset({"at", *LABEL_FIELDS, *SHOT_TEXTS}) - {"setpoints"}
DOCUMENT_FIELDS: Final = frozenset({"setpoints", *SHOT_DOCUMENTS})

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?").fullmatch
_WHOLE = re.compile(r"[+-]?[0-9]+").fullmatch
_DIGITS_MAX: Final = 400


def number_of(text: str) -> float | int | None:
    """The number a cell holds, or None where it holds something else.

    >>> number_of("6.02"), number_of("12"), number_of("1_0"), number_of("nan")
    (6.02, 12, None, None)
    """
    if len(text) > _DIGITS_MAX or not _NUMBER(text):
        return None
    return int(text) if _WHOLE(text) else float(text)


def value_of(field: str, text: str) -> Any:
    """What a cell of `field` means; an empty one is missing. Raises `RowFault`."""
    text = text.strip()
    if not text:
        return None
    if field in TEXT_FIELDS:
        return text
    if field in DOCUMENT_FIELDS:
        return _document(field, text)
    number = number_of(text)
    if number is not None:
        return number
    if field in NUMBER_FIELDS:
        raise RowFault(
            field,
            "not_a_number",
            N_(
                "{field} is {value}; send a number with a point, or leave the cell empty where missing",
                field=field,
                value=shown(text),
            ),
        )
    return text


def _document(field: str, text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise RowFault(
            field,
            "bad_json",
            N_("{field} is {value}; a cell of it holds JSON", field=field, value=shown(text)),
        ) from None


def line_of(cells: Sequence[str], delimiter: str) -> str:
    """A line of delimited text again, for keeping apart."""
    line = io.StringIO()
    try:
        csv.writer(line, delimiter=delimiter, lineterminator="").writerow(cells)
    except csv.Error:
        return delimiter.join(cells)
    return line.getvalue()
