"""A watched folder, read only: what was added to its files goes into a spool, once and in order.

A file is known by its beginning up to the first record, not by its name: renamed, rotated or
copied it goes on where it stood; cut off or written anew it is read from the start, and the server
knows again what it has. How far a file was read is kept in the same transaction as its shots, so
that neither a kill nor a power cut loses or doubles one. A line without its end waits for it.
"""

import collections
import dataclasses
import fnmatch
import hashlib
import json
import logging
import re
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO, Final, Protocol

from server.collect.report_files import (
    FileTroubleError,
    FolderOptions,
    LineFaultError,
    Memory,
    ReportReader,
    TableReader,
)
from server.collect.spool import SpoolFullError
from server.tabular.report_files import (
    Token,
    header_tokens,
    is_getid,
    is_header_line,
    read_getid,
    split_record,
)

log = logging.getLogger("ringtell.collect")

PATTERNS: Final = ("*.dat", "*.csv", "*.tsv", "*.txt")
#: What a file's beginning may take at most until its first record ends.
HEAD_MAX: Final = 262_144
LINE_MAX: Final = 65_536
BATCH: Final = 1_000
_TAIL: Final = 512
_HEADER_WITHIN: Final = 30
_CELLS: Final = re.compile(r"[,;|\t]")
#: Rows looked at to tell decimals and the order of day and month.
_SAMPLE: Final = 50
#: Lines a quoted cell may run over.
_QUOTED_LINES: Final = 20
_QUOTES: Final = re.compile('(?P<run>"+)')
#: What a quote stands behind where it opens a cell: nothing, a delimiter, a line's end.
_BEFORE_QUOTE: Final = ("", ",", ";", "|", "\t", "\n", "\r", "\ufeff")


class Keeper(Protocol):
    """What of a spool is used: `Spool` itself, or a stand-in in tests."""

    def append(
        self, shots: Sequence[Mapping[str, Any]], *, marks: Mapping[str, str] | None = None
    ) -> None: ...
    def keep_apart(
        self, press: str, raw: str, *, code: str, reason: str, marks: Mapping[str, str] | None = None
    ) -> None: ...
    def mark(self, name: str) -> str | None: ...


@dataclasses.dataclass
class FolderCounts:
    """What was read since the start. `troubles`: by file, why it waits."""

    shots: int = 0
    apart: int = 0
    files: int = 0
    troubles: dict[str, str] = dataclasses.field(default_factory=dict)
    notes: set[str] = dataclasses.field(default_factory=set)


def watch_folder(
    directory: Path,
    *,
    options: FolderOptions,
    spool: Keeper,
    stop: threading.Event,
    every_s: float = 2.0,
    patterns: Sequence[str] = PATTERNS,
    counts: FolderCounts | None = None,
) -> FolderCounts:
    """Read what is there and what is added, until `stop`. `counts` may be looked at meanwhile.

    Raises FileNotFoundError where the folder is missing at the start; later it may come and go.
    """
    if not directory.is_dir():
        raise FileNotFoundError(f"{directory}: there is no such folder")
    watch = FolderWatch(directory, options=options, spool=spool, patterns=patterns, counts=counts)
    while True:
        try:
            watch.look(stop)
        except SpoolFullError as error:
            log.error("%s", error.message)
        except OSError as error:
            log.warning("the folder cannot be read, it is tried again: %s", error)
        if stop.wait(every_s):
            return watch.counts


@dataclasses.dataclass(frozen=True)
class _Position:
    """How far a file was read: bytes, a digest of the bytes before, and what its reader has to know."""

    offset: int = 0
    tail: str = ""
    memory: Memory = dataclasses.field(default_factory=Memory)

    def text(self) -> str:
        return json.dumps({"offset": self.offset, "tail": self.tail, **dataclasses.asdict(self.memory)})

    @classmethod
    def of(cls, text: str) -> "_Position":
        kept = json.loads(text)
        return cls(kept.pop("offset"), kept.pop("tail"), Memory(**kept))


class FolderWatch:
    """One folder; `look` goes over it once."""

    def __init__(
        self,
        directory: Path,
        *,
        options: FolderOptions,
        spool: Keeper,
        patterns: Sequence[str] = PATTERNS,
        counts: FolderCounts | None = None,
    ) -> None:
        self.counts = counts if counts is not None else FolderCounts()
        self._directory = directory
        self._options = options
        self._spool = spool
        self._patterns = patterns
        self._tokens: dict[str, Token] = {}
        self._seen: dict[str, tuple[int, int]] = {}

    def look(self, stop: threading.Event | None = None) -> None:
        """Read what was added since the last look. Raises `SpoolFullError`; the next look goes on."""
        files = self._files()
        self._read_getid(files)
        self.counts.files = len(files)
        for path in files:
            if stop is not None and stop.is_set():
                return
            try:
                self._look_at(path)
                self.counts.troubles.pop(path.name, None)
            except FileTroubleError as trouble:
                self._note_trouble(path, str(trouble))
            except OSError as error:  # locked by the press or gone again: the next look tries
                self._note_trouble(path, str(error))

    def _note_trouble(self, path: Path, text: str) -> None:
        if self.counts.troubles.get(path.name) != text:
            log.warning("%s waits: %s", path.name, text)
        self.counts.troubles[path.name] = text

    def _files(self) -> list[Path]:
        """The files of the folder, the longest unchanged first, so that rotated ones go before new ones."""
        found = []
        for path in self._directory.iterdir():
            if any(fnmatch.fnmatch(path.name.lower(), pattern.lower()) for pattern in self._patterns):
                try:
                    if path.is_file():
                        found.append((path.stat().st_mtime_ns, path.name, path))
                except OSError:
                    continue
        return [path for _, _, path in sorted(found)]

    def _read_getid(self, files: list[Path]) -> None:
        """GETID files among the others: they name tokens and units, and hold no shots."""
        others = [p for p in self._directory.iterdir() if "getid" in p.name.lower() and p.is_file()]
        for path in sorted(set(files) | set(others)):
            with path.open("rb") as file:
                head = file.read(4096).decode("cp1252", "replace")
            if is_getid(head):
                self._tokens |= read_getid(path.read_text("cp1252", errors="replace"))
                if path in files:
                    files.remove(path)

    def _look_at(self, path: Path) -> None:
        stat = path.stat()
        state = (stat.st_size, stat.st_mtime_ns)
        if self._seen.get(path.name) == state:
            return
        with path.open("rb") as file:
            codec = _codec(file.read(4))
            head = _head(file, codec)
            if head is None:
                return  # not yet a whole record
            name, position = self._position(file, hashlib.sha256(head.until_first).hexdigest(), path.name)
            self._read(file, codec, head, name, position)
        self._seen[path.name] = state

    def _position(self, file: BinaryIO, digest: str, file_name: str) -> tuple[str, _Position]:
        """The mark's name and where to go on; the start where the file is not what it was.

        Two files that begin alike and go on differently are told apart by their names.
        """
        names = (f"folder {digest}", f"folder {digest} {file_name}")
        for name in names:
            kept = self._spool.mark(name)
            if kept is None:
                return name, _Position()
            position = _Position.of(kept)
            if _tail(file, position.offset) == position.tail:
                return name, position
        return names[-1], _Position()

    def _read(self, file: BinaryIO, codec: str, head: "_Head", name: str, start: _Position) -> None:
        reader: ReportReader | TableReader
        if head.is_report:
            reader = ReportReader(self._options, self._tokens, start.memory)
            if not self._tokens:
                self.counts.notes.add("no GETID file: units are taken as mm, cm³, bar, s and °C")
        else:
            reader = TableReader(self._options, head.lines, start.memory)
        waiting: list[Mapping[str, Any]] = []
        offset = start.offset
        lines = _lines(file, offset, codec)
        for raw in lines if head.is_report else _records(lines, codec):
            before = reader.memory()
            try:
                shot = reader.shot(_text(raw, codec))
            except LineFaultError as fault:
                self._keep(waiting, file, name, offset, before)
                offset += len(raw)
                mark = {name: _Position(offset, _tail(file, offset), reader.memory()).text()}
                self._spool.keep_apart(
                    self._options.press, _text(raw, codec), code=fault.code, reason=fault.reason, marks=mark
                )
                self.counts.apart += 1
                waiting = []
                continue
            offset += len(raw)
            if shot is not None:
                waiting.append(shot)
            if len(waiting) >= BATCH:
                self._keep(waiting, file, name, offset, reader.memory())
                waiting = []
        self._keep(waiting, file, name, offset, reader.memory())

    def _keep(
        self, shots: Sequence[Mapping[str, Any]], file: BinaryIO, name: str, offset: int, memory: Memory
    ) -> None:
        if shots:
            mark = {name: _Position(offset, _tail(file, offset), memory).text()}
            self._spool.append(shots, marks=mark)
            self.counts.shots += len(shots)


@dataclasses.dataclass(frozen=True)
class _Head:
    """The beginning of a file: its bytes until the first record ends, and lines to learn from."""

    until_first: bytes
    is_report: bool
    lines: list[str]


def _codec(start: bytes) -> str:
    if start.startswith(b"\xff\xfe"):
        return "utf-16-le"
    return "utf-16-be" if start.startswith(b"\xfe\xff") else "utf-8"


def _text(raw: bytes, codec: str) -> str:
    if codec != "utf-8":
        return raw.decode(codec, "replace").lstrip("\ufeff")
    try:
        return raw.decode("utf-8").lstrip("\ufeff")
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace")


def _head(file: BinaryIO, codec: str) -> _Head | None:
    """None while no whole record stands in it."""
    raws: list[bytes] = []
    lines: list[str] = []
    size, first, report = 0, b"", False
    for raw in _records(_lines(file, 0, codec), codec):
        size += len(raw)
        if size > HEAD_MAX or len(lines) > _SAMPLE:
            break
        text = _text(raw, codec)
        if not any(line.strip() for line in lines) and text.strip():
            report = "DATE" in text and "," in text and is_header_line(text)
        raws.append(raw)
        lines.append(text)
        if not first and _is_record(text, lines, report=report):
            first = b"".join(raws)
    return _Head(first, report, lines) if first else None


def _is_record(text: str, lines: Sequence[str], *, report: bool) -> bool:
    if not text.strip():
        return False
    if report:
        # A whole one: it holds date and counter, which no other file has.
        header = [line for line in lines if is_header_line(line)]
        width = len(split_record(text))
        return not is_header_line(text) and len(header_tokens(header, width)) == width
    # A table's first line with two numbers in it; what has none by then is no table.
    numbers = sum(cell.strip(' "+-')[:1].isdigit() for cell in _CELLS.split(text))
    return (len(lines) > 1 and numbers >= 2) or len(lines) > _HEADER_WITHIN


def _lines(file: BinaryIO, offset: int, codec: str) -> Iterator[bytes]:
    """Whole lines from a place on, ends included; what has no end yet is left."""
    end = "\n".encode(codec)
    file.seek(offset)
    rest = b""
    while piece := file.read(1 << 18):
        rest += piece
        start = 0
        while (found := _find(rest, end, start)) >= 0:
            yield rest[start : found + len(end)]
            start = found + len(end)
        rest = rest[start:]
        if len(rest) > LINE_MAX:
            raise FileTroubleError(f"a line has more than {LINE_MAX} bytes; this is no log")


def _records(lines: Iterator[bytes], codec: str) -> Iterator[bytes]:
    """Lines, those a quoted cell runs over as one; a quote nobody closes soon was none.

    >>> list(_records(iter([b'1,"cold\\n', b'start",2\\n', b"3,,4\\n"]), "utf-8"))
    [b'1,"cold\\nstart",2\\n', b'3,,4\\n']
    """
    waiting: collections.deque[bytes] = collections.deque()
    for raw in lines:
        waiting.append(raw)
        while count := _lines_of_first(waiting, codec):
            yield b"".join(waiting.popleft() for _ in range(count))
    # What is left may be half written: its end comes with a later look.


def _lines_of_first(waiting: Iterable[bytes], codec: str) -> int:
    """How many of the lines are the first record; 0 while its end has not come."""
    size, text = 0, ""
    for count, raw in enumerate(waiting, start=1):
        size += len(raw)
        text += _text(raw, codec)
        if not _is_open(text):
            return count
        if count > _QUOTED_LINES or size > LINE_MAX:
            return 1
    return 0


def _is_open(text: str) -> bool:
    """Whether a quoted cell has begun and not ended. Quotes inside a plain cell (inches) mean nothing."""
    if '"' not in text:
        return False
    open_ = False
    for match in _QUOTES.finditer(text):
        if open_:
            # A pair of quotes stands for one; an odd number ends the cell.
            open_ = len(match["run"]) % 2 == 0
        else:
            opened = text[match.start() - 1 : match.start()] in _BEFORE_QUOTE
            open_ = opened and len(match["run"]) % 2 == 1
    return open_


def _find(text: bytes, end: bytes, start: int) -> int:
    found = text.find(end, start)
    while found >= 0 and (found - start) % len(end):
        found = text.find(end, found + 1)
    return found


def _tail(file: BinaryIO, offset: int) -> str:
    """A digest of the bytes before a place; another one where the file ends before it."""
    place = file.tell()
    start = max(0, offset - _TAIL)
    file.seek(start)
    found = file.read(offset - start)
    file.seek(place)
    return hashlib.sha256(found + (b"" if len(found) == offset - start else b"short")).hexdigest()[:32]
