"""Imports of several servers on one PostgreSQL: each is at one of them, and taken over when that one is gone.

A server that lives renews what it holds every few seconds; one that was killed holds nothing a while later.
SQLite has one server: what it finds at its start is free.
"""

import functools
import logging
import os
import threading
from collections.abc import Callable, Iterable
from typing import Final

from server.store import import_holds
from server.store.database import Store
from server.store.imports import Import

log = logging.getLogger("ringtell.import")

#: Milliseconds an import stays with a server that says nothing any more; seconds between two signs of it.
HELD_MS, RENEW_EVERY_S = 30_000, 5.0
#: Milliseconds after which an import that nobody holds and whose file is not here is said to have failed:
#: the server that has the file may come back.
MISSED_MS: Final = 600_000


class ImportHolds:
    """What this server holds."""

    def __init__(self, store: Store, *, now_ms: Callable[[], int]) -> None:
        self._store, self._now_ms = store, now_ms
        self._me = f"{os.getpid()}-{os.urandom(4).hex()}"
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def hold(self, number: int) -> None:
        """From now on ours."""
        until_ms = self._now_ms() + HELD_MS
        self._store.write(lambda c: import_holds.hold(c, number, who=self._me, until_ms=until_ms))

    def take(self, number: int) -> bool:
        """Take an import nobody holds; False when another server was faster."""
        if self._store.is_sqlite:
            self.hold(number)
            return True
        now_ms = self._now_ms()
        return self._store.write(
            lambda c: import_holds.take_free(
                c, number, who=self._me, until_ms=now_ms + HELD_MS, now_ms=now_ms
            )
        )

    def let_go(self, number: int | None = None) -> None:
        """Of one that ended, or of all when the server stops."""
        self._store.write(lambda c: import_holds.let_go(c, who=self._me, import_no=number))

    def free_of(self, left: Iterable[Import]) -> list[Import]:
        """Those nobody is at. On SQLite there is nobody else."""
        every = list(left)
        if self._store.is_sqlite:
            return every
        now_ms = self._now_ms()
        with self._store.read() as connection:
            until = import_holds.held_until(connection, [one.import_no for one in every])
        return [one for one in every if until.get(one.import_no, 0) < now_ms]

    def is_missed(self, one: Import) -> bool:
        """Whether the server that has its file has been away for long."""
        if self._store.is_sqlite:
            return True
        with self._store.read() as connection:
            until = import_holds.held_until(connection, [one.import_no]).get(one.import_no, 0)
        return max(until, one.started_ms or one.created_ms) < self._now_ms() - MISSED_MS

    def start(self, *, look: Callable[[], None], cancelled: Callable[[set[int]], object]) -> None:
        """Give signs of life, and look for what others left, until `close`."""
        if self._store.is_sqlite:
            return
        self._thread = threading.Thread(
            target=self._run, args=(look, cancelled), name="ringtell-import-holds", daemon=True
        )
        self._thread.start()

    def ask_to_cancel(self, number: int) -> None:
        """Whichever server is at it."""
        self._store.write(lambda c: import_holds.ask_to_cancel(c, number))

    def stop(self) -> None:
        """Look for nothing more."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=10)

    def _run(self, look: Callable[[], None], cancelled: Callable[[set[int]], object]) -> None:
        while not self._stop.wait(RENEW_EVERY_S):
            try:
                until_ms = self._now_ms() + HELD_MS
                renew = functools.partial(import_holds.renew, who=self._me, until_ms=until_ms)
                cancelled(self._store.write(renew))
                look()
            except Exception:  # the database is away: the next sign comes later
                log.exception("imports could not be looked at")
