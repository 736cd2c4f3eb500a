"""A batch in JSON taken apart into its head and its rows, each row with the text it came as.

The careful path's parser: it takes NaN and Infinity, which some senders write, as values that only
their own row is refused for, and it stops at the bound on rows before it has built them all.
"""

import json
import re
from collections.abc import Callable
from typing import Any, Final

from server.errors import BadBodyError, TooLargeError
from server.ingest.faults import RowFault
from server.ingest.rows import Row
from server.language import N_

#: Longest whole number read as one; anything longer is beyond every bound there is.
_DIGITS: Final = 400
#: Lists and objects a row may hold, on average over the most rows taken, before the body is refused:
#: an empty object takes two bytes on the wire and sixty-four in memory.
_CONTAINERS: Final = 50
_space = re.compile(r"[ \t\n\r]*").match


def _whole(text: str) -> int | float:
    return int(text) if len(text) <= _DIGITS else float(text)


_decoder = json.JSONDecoder()
#: Slower, for the rare text with a number that `int` refuses for its length.
_patient = json.JSONDecoder(parse_int=_whole)


def _read(text: str, place: int) -> tuple[Any, int]:
    """The value at a place, and the place after it."""
    try:
        return _decoder.raw_decode(text, place)
    except json.JSONDecodeError:
        raise
    except ValueError:
        return _patient.raw_decode(text, place)


def row_of(text: str) -> Row:
    """A row of its own line."""
    try:
        fields, end = _read(text, 0)
        if end < len(text):
            raise json.JSONDecodeError(N_("Extra data"), text, end)
        return Row(raw=text, fields=fields)
    except json.JSONDecodeError as error:
        return Row(text, None, RowFault("", "bad_json", N_("the row is no JSON: {error}", error=error)))
    except RecursionError:
        return Row(text, None, RowFault("", "bad_json", N_("the row nests too deeply")))


def read_parts(
    text: str, *, max_rows: int, check_count: Callable[[int], None]
) -> tuple[dict[str, Any], list[Row] | None]:
    """Head fields and rows of a body; rows are None where it has no list `shots`.

    Raises `BadBodyError` for what is no JSON object, and what `check_count` raises for too many rows.
    """
    if text.count("{") + text.count("[") > _CONTAINERS * (max_rows + 1):
        raise TooLargeError(
            N_("the body holds more lists and objects than its rows can need; send smaller batches")
        )
    try:
        return _Scan(text, check_count).whole()
    except RecursionError:
        raise BadBodyError(N_("the body nests too deeply to be a batch of shots")) from None
    except json.JSONDecodeError as error:
        raise BadBodyError(
            N_(
                "the body is no JSON: {msg} at line {lineno}, column {colno}",
                msg=error.msg,
                lineno=error.lineno,
                colno=error.colno,
            )
        ) from None


class _Scan:
    """A place in the text that moves on with what is read."""

    def __init__(self, text: str, check_count: Callable[[int], None]) -> None:
        self.text = text
        self.check_count = check_count
        self.place = 0

    def whole(self) -> tuple[dict[str, Any], list[Row] | None]:
        if self.next() != "{":
            self.value()  # says what is wrong where it is no JSON at all
            raise BadBodyError(N_('the body is no object; send {"press": …, "mold": …, "shots": […]}'))
        head: dict[str, Any] = {}
        rows: list[Row] | None = None
        for name in self.members():
            if name == "shots":
                rows = self.rows()
            else:
                head[name] = self.value()
        if self.next():
            raise json.JSONDecodeError(N_("Extra data"), self.text, self.place)
        return head, rows

    def next(self) -> str:
        """The next sign that is no space; empty at the end."""
        match = _space(self.text, self.place)
        assert match is not None
        self.place = match.end()
        return self.text[self.place : self.place + 1]

    def value(self) -> Any:
        self.next()
        value, self.place = _read(self.text, self.place)
        return value

    def take(self, sign: str, otherwise: str) -> None:
        if self.next() != sign:
            raise json.JSONDecodeError(otherwise, self.text, self.place)
        self.place += 1

    def more(self, end: str) -> bool:
        """Past a comma, or past the end of the list or object."""
        if self.next() == end:
            self.place += 1
            return False
        self.take(",", "Expecting ',' delimiter")
        return True

    def members(self) -> Any:
        """Names of an object's members, each with the place set to its value."""
        self.take("{", "Expecting an object")
        if self.next() == "}":
            self.place += 1
            return
        while True:
            if self.next() != '"':
                raise json.JSONDecodeError(
                    N_("Expecting property name enclosed in double quotes"), self.text, self.place
                )
            name = self.value()
            self.take(":", "Expecting ':' delimiter")
            yield name
            if not self.more("}"):
                return

    def rows(self) -> list[Row] | None:
        if self.next() != "[":
            self.value()
            return None
        self.place += 1
        rows: list[Row] = []
        if self.next() == "]":
            self.place += 1
            return rows
        while True:
            self.next()
            start = self.place
            fields = self.value()
            rows.append(Row(self.text[start : self.place], fields))
            self.check_count(len(rows))
            if not self.more("]"):
                return rows
