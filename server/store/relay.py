"""What happened, told between the servers of one PostgreSQL by LISTEN and NOTIFY: ids only, never values.

Telling is a thread of its own: whoever has something to tell never waits. What comes while words are on
their way goes together, each once. Nothing rests on it being heard: pages are told to read everything anew
whenever the listening broke off, and evaluation looks by itself every second.
"""

import collections
import json
import logging
import os
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Final

import psycopg
import sqlalchemy as sa

from server.store.engine_pg import libpq_address

log = logging.getLogger("ringtell")

#: One channel: what it carries is (who, [[kind, subject], …]).
CHANNEL: Final = "ringtell"
#: PostgreSQL takes 8,000 bytes at once.
_BYTES_MAX: Final = 7_500
#: What waits to be told; beyond that everybody is told to read everything anew.
_WAITING_MAX: Final = 2_000
#: Seconds between two looks at whether to stop, and until a lost database is asked again.
_LOOK_S, _AWAY_S = 0.5, 1.0
#: Seconds between two calls to read everything anew where a pooler lets nothing be heard.
_DEAF_S = 10.0

#: Told to servers, not to pages: something waits for evaluation.
WAKE: Final = "wake"
#: Every press: a page that hears of it reads everything anew.
ALL: Final = ("press", "*")

Word = tuple[str, str]


class Relay:
    """Carries words (kind, subject) from this server to the others, and theirs to `heard`."""

    def __init__(self, url: str, heard: Callable[[str, str], None]) -> None:
        self._address = libpq_address(url)
        self._heard = heard
        self._me = f"{os.getpid()}-{os.urandom(4).hex()}"
        self._waiting: collections.OrderedDict[Word, None] = collections.OrderedDict()
        self._changed = threading.Condition()
        self._stopping = False
        self._threads: list[threading.Thread] = []
        #: Set while the others can be heard.
        self.listening = threading.Event()

    def start(self) -> None:
        """Hear the others from now on."""
        self._begin("listen", self._listen)

    def tell(self, kind: str, *subjects: str) -> None:
        """Tell the other servers; never blocks and never fails."""
        with self._changed:
            if self._stopping:
                return
            if len(self._waiting) + len(subjects) > _WAITING_MAX:
                self._waiting.clear()
                kind, subjects = ALL[0], (ALL[1],)
            self._waiting.update(dict.fromkeys((kind, subject) for subject in subjects))
            self._changed.notify()
            begun = any(thread.name.endswith("-tell") for thread in self._threads)
        if not begun:
            self._begin("tell", self._tell_on)

    def close(self) -> None:
        """Stop after what waits was told."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()

    def join(self, *, seconds: float = 3.0) -> None:
        """Wait until its threads have ended."""
        for thread in self._threads:
            thread.join(timeout=seconds)

    def _begin(self, what: str, target: Callable[[], None]) -> None:
        thread = threading.Thread(target=target, name=f"ringtell-relay-{what}", daemon=True)
        self._threads.append(thread)
        thread.start()

    # --- telling ----------------------------------------------------------------------------

    def _tell_on(self) -> None:
        connection: psycopg.Connection | None = None
        while (words := self._next()) is not None:
            try:
                connection = connection or self._connect()
                with connection.transaction():
                    for payload in packed(self._me, words):
                        connection.execute("SELECT pg_notify(%s, %s)", (CHANNEL, payload))
            except (psycopg.Error, OSError) as error:
                log.warning("the other servers were not told: %s", error)
                _close(connection)
                connection = None
                with self._changed:
                    self._waiting[ALL] = None
                    if self._stopping:
                        return
                    self._changed.wait(_AWAY_S)
        _close(connection)

    def _next(self) -> list[Word] | None:
        with self._changed:
            while not self._waiting:
                if self._stopping:
                    return None
                self._changed.wait()
            words = list(self._waiting)
            self._waiting.clear()
            return words

    # --- hearing ----------------------------------------------------------------------------

    def _listen(self) -> None:
        broken = False
        while not self._stopping:
            try:
                with self._connect() as connection:
                    is_deaf = _is_pooled(connection)
                    connection.execute(f"LISTEN {CHANNEL}")
                    self.listening.set()
                    if broken:
                        self._heard(*ALL)
                    self._hear(connection, is_deaf=is_deaf)
            except (psycopg.Error, OSError) as error:
                log.warning("the other servers cannot be heard: %s", error)
                broken = True
                with self._changed:
                    self._changed.wait(_AWAY_S)
            self.listening.clear()

    def _hear(self, connection: psycopg.Connection, *, is_deaf: bool) -> None:
        if is_deaf:
            log.warning(
                "a pooler stands before the database: what other servers tell is not heard, pages are read"
                " anew every %d s; give the database's own address as RINGTELL_DATABASE_DIRECT_URL", _DEAF_S,
            )  # fmt: skip
        last = time.monotonic()
        while not self._stopping:
            if is_deaf and time.monotonic() - last >= _DEAF_S:
                last = time.monotonic()
                self._heard(*ALL)
            for notice in connection.notifies(timeout=_LOOK_S):
                for kind, subject in unpacked(self._me, notice.payload):
                    self._heard(kind, subject)

    def _connect(self) -> psycopg.Connection:
        return psycopg.connect(self._address, autocommit=True, connect_timeout=5, prepare_threshold=None)


def relay_of(url: str, listen_url: str, heard: Callable[[str, str], None]) -> Relay | None:
    """The relay between the servers of one PostgreSQL; an SQLite file has one server and needs none.

    listen_url: an address of the database itself where `url` is that of a pooler, which cannot listen.
    """
    postgresql = sa.make_url(url).get_backend_name() == "postgresql"
    return Relay(listen_url or url, heard) if postgresql else None


def packed(me: str, words: Iterable[Word]) -> Iterator[str]:
    """Words as payloads, none longer than PostgreSQL takes."""
    part: list[Word] = []
    size = 0
    for word in words:
        cost = len(json.dumps(word).encode()) + 2
        if part and size + cost > _BYTES_MAX:
            yield json.dumps([me, part])
            part, size = [], 0
        part.append(word)
        size += cost
    if part:
        yield json.dumps([me, part])


def unpacked(me: str, payload: str) -> Iterator[Word]:
    """What others said; nothing of our own, and nothing of what is not said in this form."""
    try:
        who, words = json.loads(payload)
        said = [(str(kind), str(subject)) for kind, subject in words]
    except (ValueError, TypeError):
        return
    if who != me:
        yield from said


def _is_pooled(connection: psycopg.Connection) -> bool:
    """Whether somebody stands between: whoever answered at first is not the one that works."""
    row = connection.execute("SELECT pg_backend_pid()").fetchone()
    return row is None or row[0] != connection.info.backend_pid


def _close(connection: psycopg.Connection | None) -> None:
    if connection is not None:
        connection.close()
