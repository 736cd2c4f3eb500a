"""What the pages of a Parquet file unpack to, read from their own headers before any of them is unpacked.

The footer says how large row groups are, and may say anything: what is unpacked is what a page's header
claims. Pages are gone through as their reader will, from the first of a column until its values are all
there. Where columns begin is read here from the footer's bytes too (`compact_structs.py`): asked for a
damaged column's numbers, the library ends the process instead of raising.
"""

import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Final

from server.ingest.compact_structs import BINARY, I32, I64, STRUCT, Fields, items, read_struct
from server.language import N_

#: A header with its statistics is far smaller; nearly all are shorter than the first.
_HEADERS: Final = (512, 1 << 16)
#: Pages of one file: a file of pages that hold nothing would keep a core busy for minutes.
_PAGES_MAX: Final = 100_000
#: Rows a byte of the file may stand for, once there are many: nulls and repeats cost nothing to write.
_ROWS_PER_BYTE_MAX: Final = 10
_ROWS_UNASKED: Final = 1_000_000
#: What stands behind the footer: its length and four letters.
_TAIL: Final = 8
_FOOTER_MAX: Final = 64 << 20
_DATA, _DICTIONARY, _DATA_V2 = 0, 2, 3
#: Field of the page header that holds what each type of page counts; its field 1 is the number of values.
_COUNTS: Final = {_DATA: 5, _DICTIONARY: 7, _DATA_V2: 8}


class BrokenPageError(Exception):
    """A footer or a header that is none."""


@dataclasses.dataclass(frozen=True)
class Chunk:
    """One column of one row group: where its first page begins, and how many values its pages hold."""

    at: int
    values: int


def too_many_rows(path: Path, rows: int) -> bool:
    """Whether a file says it holds more rows than so few bytes can be a log of."""
    return rows > max(_ROWS_UNASKED, _ROWS_PER_BYTE_MAX * path.stat().st_size)


def largest_group(path: Path) -> int:
    """Bytes the largest row group unpacks to by the headers of its pages. Raises BrokenPageError."""
    with path.open("rb") as file:
        walk = Walk(file)
        return max((sum(map(walk.unpacked, group)) for group in walk.groups()), default=0)


class Walk:
    """From page to page of one file, counting them."""

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._pages = file, 0

    def groups(self) -> Iterator[list[Chunk]]:
        """The row groups, by the footer."""
        end = self._file.seek(0, 2) - _TAIL
        self._file.seek(max(0, end))
        length = int.from_bytes(self._file.read(4), "little")
        if length > min(_FOOTER_MAX, end):
            raise BrokenPageError(N_("its footer is longer than it may be"))
        self._file.seek(end - length)
        try:
            footer, _ = read_struct(self._file.read(length))
            groups = items(footer, 4, STRUCT)
            found = [[_chunk(column) for column in items(group, 1, STRUCT)] for group in groups]
        except (IndexError, KeyError, ValueError) as error:
            raise BrokenPageError(N_("its footer is damaged ({error})", error=error)) from None
        yield from found

    def unpacked(self, chunk: Chunk) -> int:
        """Bytes all pages of a column chunk claim to unpack to."""
        at, seen, total = chunk.at, 0, 0
        while seen < chunk.values:
            self._pages += 1
            if self._pages > _PAGES_MAX:
                raise BrokenPageError(N_("more than {pages_max:,} pages", pages_max=_PAGES_MAX))
            header, length = self._header(at)
            try:
                kind, unpacked, packed = (header[field, I32] for field in (1, 2, 3))
                values = header[_COUNTS[kind], STRUCT][1, I32] if kind in _COUNTS else 0
            except KeyError:
                raise BrokenPageError(N_("the page at byte {at} lacks a size", at=at)) from None
            if min(unpacked, packed, values) < 0 or (kind == _DICTIONARY and values > chunk.values):
                raise BrokenPageError(N_("the page at byte {at} says a size that cannot be", at=at))
            seen += 0 if kind == _DICTIONARY else values
            total += unpacked
            at += length + packed
        return total

    def _header(self, at: int) -> tuple[Fields, int]:
        for size in _HEADERS if at >= 0 else ():
            try:
                self._file.seek(at)
                return read_struct(self._file.read(size))
            except IndexError:
                continue
            except (ValueError, OverflowError):
                break
        raise BrokenPageError(N_("no page begins at byte {at}", at=at))


def _chunk(column: Fields) -> Chunk:
    meta = column[3, STRUCT]
    items(meta, 3, BINARY)
    data, dictionary = meta[9, I64], meta.get((11, I64), 0)
    return Chunk(at=dictionary if 0 < dictionary < data else data, values=meta[5, I64])
