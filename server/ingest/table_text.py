"""Text files opened in the encoding they are written in, and lines that cannot be split into cells."""

import codecs
import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

_PIECE: Final = 1 << 20
ENCODINGS: Final = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252")


class BadLine(list[Any]):
    """A line without cells: why, and its text where there is one."""

    def __init__(self, reason: str, raw: str = "") -> None:
        super().__init__()
        self.reason = reason
        self.raw = raw


def codec_of(path: Path) -> str:
    """UTF-16 by its mark or by its zeros, UTF-8 where the whole file is, else Windows-1252."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    with path.open("rb") as file:
        piece = file.read(_PIECE)
        if piece.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        if found := _by_zeros(piece[:4096]):
            return found
        try:
            while piece:
                decoder.decode(piece)
                piece = file.read(_PIECE)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


def _by_zeros(start: bytes) -> str:
    """UTF-16 without its mark: every other byte of Western text is zero.

    >>> _by_zeros("counter,at".encode("utf-16-le")), _by_zeros(b"counter,at")
    ('utf-16-le', '')
    """
    if len(start) < 8:
        return ""
    even, odd = start[0::2].count(0), start[1::2].count(0)
    half = len(start) // 2
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    return "utf-16-be" if even > 0.7 * half and odd < 0.1 * half else ""


def opened(path: Path, codec: str) -> io.TextIOWrapper:
    """For reading; what is no text of this encoding becomes a mark in its place."""
    return path.open(encoding=codec, errors="replace", newline="")


def share_read(at: list[io.TextIOWrapper], path: Path) -> Callable[[], float]:
    """Of a file that `at` holds once it is opened."""
    size = max(1, path.stat().st_size)

    def share() -> float:
        if not at:
            return 0.0
        below: Any = at[0].buffer
        return 1.0 if at[0].closed else min(1.0, below.tell() / size)

    return share


def possible_headers(lines: Sequence[str], delimiter: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Each line's names with how many lines end with it; then records whose quoted names run over lines."""
    for number, line in enumerate(lines, start=1):
        yield number, split(line, delimiter)
    reader = csv.reader(lines, delimiter=delimiter)
    try:
        for cells in reader:
            yield reader.line_num, clean(cells)
    except csv.Error:
        return


def split(line: str, delimiter: str) -> tuple[str, ...]:
    try:
        return clean(next(csv.reader([line.strip("\r\n")], delimiter=delimiter), []))
    except csv.Error:
        return ()


def clean(cells: Iterable[Any]) -> tuple[str, ...]:
    names = ["" if cell is None else " ".join(str(cell).split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    return tuple(names)
