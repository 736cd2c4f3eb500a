"""Where evaluation computes: in child processes, so that ingest keeps its core, in this one, or elsewhere."""

import gc
import importlib
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, TypeVar

from server.errors import UsageError
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
        # What is loaded by now stays: nothing in it is garbage, and there are a few hundred thousand of it.
        gc.freeze()
    with store.read() as connection:
        return task(connection, *arguments)


class Child:
    """Runs functions of a connection in one snapshot of the database."""

    def __init__(self, store: Store, *, apart: bool, processes: int = 1) -> None:
        self._store = store
        self._apart = apart
        self._processes = processes
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
                self._pool = ProcessPoolExecutor(self._processes, mp_context=get_context("spawn"))
            return self._pool

    def close(self) -> None:
        """Let the process finish what it is at, and end it."""
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=True, cancel_futures=True)


class Elsewhere:
    """Runs the same functions on the workers of a Dask scheduler; they read the database themselves."""

    def __init__(self, store: Store, address: str) -> None:
        if store.is_sqlite:
            raise UsageError(
                "workers of a scheduler cannot read an SQLite file of this machine; move the plant to"
                " PostgreSQL, or leave --scheduler out: every core here is used"
            )
        try:
            client = importlib.import_module("distributed").Client
        except ImportError:
            raise UsageError(
                "--scheduler needs Dask, here and on the workers: pip install 'ringtell[cluster]'"
            ) from None
        self._url = store.url
        try:
            self._client: Any = client(address, timeout=10)
        except (OSError, ValueError) as error:
            raise UsageError(f"--scheduler {address!r} does not answer: {error}") from None

    def run(self, task: Callable[..., Result], *arguments: Any) -> Result:
        """`task(connection, *arguments)` on some worker; never a kept result of an earlier time."""
        result: Result = self._client.submit(_in_child, self._url, task, arguments, pure=False).result()
        return result

    def close(self) -> None:
        self._client.close()
