"""What the pages of a Parquet file unpack to, read from their own headers before any of them is unpacked.

The footer says how large row groups are, and may say anything: what is unpacked is what a page's header
claims. Headers are Thrift structures in the compact protocol (Apache Thrift, THRIFT-110; Parquet's
`PageHeader`: 2 uncompressed_page_size, 3 compressed_page_size); only their sizes are of interest here.
"""

from pathlib import Path
from typing import Any, BinaryIO, Final

#: A header with its statistics is far smaller.
_HEADER_MAX: Final = 1 << 16
_PAGES_MAX: Final = 1_000_000
#: Bytes of the kinds that have a length of their own: truths (in the mark itself), bytes, doubles.
_FIXED: Final = {1: 0, 2: 0, 3: 1, 7: 8}


class BrokenPageError(Exception):
    """A header that is none."""


class _Compact:
    """Enough of the compact protocol to find two numbers of a structure and where it ends."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self.at = 0

    def numbers(self) -> dict[int, int]:
        """Whole numbers of the structure that begins here, by field; `at` stands behind it."""
        found: dict[int, int] = {}
        field = 0
        while (mark := self._byte()) != 0:
            step, kind = mark >> 4, mark & 15
            field = field + step if step else self._zigzag()
            if kind in (4, 5, 6):
                found[field] = self._zigzag()
            else:
                self._pass_over(kind, depth=0)
        return found

    def _pass_over(self, kind: int, depth: int) -> None:
        if depth > 12:
            raise BrokenPageError("nested too deep")
        if kind in _FIXED:
            self._skip(_FIXED[kind])
        elif kind in (4, 5, 6):
            self._varint()
        elif kind == 8:
            self._skip(self._varint())
        elif kind in (9, 10):
            self._pass_over_list(depth)
        elif kind == 12:
            while (mark := self._byte()) != 0:
                if not mark >> 4:
                    self._varint()
                self._pass_over(mark & 15, depth + 1)
        else:
            raise BrokenPageError(f"a field of kind {kind}")

    def _pass_over_list(self, depth: int) -> None:
        mark = self._byte()
        size, kind = mark >> 4, mark & 15
        if size == 15:
            size = self._varint()
        if size > _HEADER_MAX:
            raise BrokenPageError("a list beyond all headers")
        for _ in range(size):
            # A truth within a list is a byte of its own.
            self._pass_over(3 if kind in (1, 2) else kind, depth + 1)

    def _byte(self) -> int:
        self._skip(1)
        return self._data[self.at - 1]

    def _skip(self, count: int) -> None:
        self.at += count
        if self.at > len(self._data):
            raise BrokenPageError("it ends within a header")

    def _varint(self) -> int:
        value = shift = 0
        while True:
            byte = self._byte()
            value |= (byte & 127) << shift
            if byte < 128:
                return value
            shift += 7
            if shift > 63:
                raise BrokenPageError("a number without end")

    def _zigzag(self) -> int:
        value = self._varint()
        return (value >> 1) ^ -(value & 1)


def largest_group(path: Path, meta: Any) -> int:
    """Bytes the largest row group unpacks to by the headers of its pages. Raises BrokenPageError.

    meta: the file's metadata as pyarrow reads it.
    """
    largest = 0
    with path.open("rb") as file:
        for group in range(meta.num_row_groups):
            row_group = meta.row_group(group)
            size = sum(_chunk(file, row_group.column(i)) for i in range(row_group.num_columns))
            largest = max(largest, size)
    return largest


def _chunk(file: BinaryIO, column: Any) -> int:
    """Bytes the pages of a column chunk claim to unpack to."""
    begin = column.data_page_offset
    if column.has_dictionary_page and column.dictionary_page_offset is not None:
        begin = min(begin, column.dictionary_page_offset)
    at, end, total = begin, begin + column.total_compressed_size, 0
    for _ in range(_PAGES_MAX):
        if at >= end:
            return total
        file.seek(at)
        header = _Compact(file.read(_HEADER_MAX))
        sizes = header.numbers()
        unpacked, packed = sizes.get(2, -1), sizes.get(3, -1)
        if unpacked < 0 or packed < 0:
            raise BrokenPageError("a page without a size")
        total += unpacked
        at += header.at + packed
    raise BrokenPageError("pages without end")
