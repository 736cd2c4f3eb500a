"""Where evaluation computes: in a child process, so that ingest keeps its core, or in this one."""

import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, TypeVar

from server.store.database import Store

Result = TypeVar("Result")

_stores: dict[str, Store] = {}


class ChildDiedError(Exception):
    """The process that computed was killed, or crashed; the next task gets a new one."""


def _in_child(url: str, task: "Callable[..., Result]", arguments: tuple[Any, ...]) -> Result:
    """Runs in the child process: reads with its own connections, writes nothing."""
    store = _stores.get(url)
    if store is None:
        store = _stores[url] = Store(url)
    with store.read() as connection:
        return task(connection, *arguments)


class Child:
    """Runs functions of a connection in one snapshot of the database."""

    def __init__(self, store: Store, *, apart: bool) -> None:
        self._store = store
        self._apart = apart
        self._pool: ProcessPoolExecutor | None = None
        self._lock = threading.Lock()

    def run(self, task: Callable[..., Result], *arguments: Any) -> Result:
        """`task(connection, *arguments)`; `task` is a function of a module, so that it can travel.

        Raises what it raises, or ChildDiedError.
        """
        if not self._apart:
            with self._store.read() as connection:
                return task(connection, *arguments)
        try:
            return self._process().submit(_in_child, self._store.url, task, arguments).result()
        except BrokenProcessPool as error:
            with self._lock:
                self._pool = None
            raise ChildDiedError(f"the process that evaluates died while at {arguments}") from error

    def _process(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                # Spawned: a fork would copy open connections and the writer's locks.
                self._pool = ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn"))
            return self._pool

    def close(self) -> None:
        """Let the process finish what it is at, and end it."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=True, cancel_futures=True)
