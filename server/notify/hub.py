"""The live hub: what happened goes to every open page, at most a bounded queue behind."""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable

from server.events import EventKind, Happened

#: A listener further behind than this is told to reload everything instead.
BEHIND_MAX = 500


class Hub:
    """Publishes from any thread; listeners live on the server's event loop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: dict[asyncio.Queue[Happened | None], asyncio.AbstractEventLoop] = {}
        self._closed = False
        #: Hears of everything published here, to carry it to other servers.
        self.relay: Callable[..., None] | None = None

    @property
    def listeners(self) -> int:
        return len(self._listeners)

    def publish(self, kind: EventKind, *subjects: str) -> None:
        """Tell every listener, of the other servers too; never blocks and never fails."""
        if self.relay is not None:
            self.relay(kind, *subjects)
        self.hear(kind, *subjects)

    def hear(self, kind: EventKind, *subjects: str) -> None:
        """Tell every listener of this server; never blocks and never fails."""
        with self._lock:
            listeners = list(self._listeners.items())
        for listener, loop in listeners:
            for subject in subjects:
                try:
                    loop.call_soon_threadsafe(_offer, listener, Happened(kind, subject))
                except RuntimeError:  # its loop has stopped; the listener is gone with it
                    break

    async def listen(self) -> AsyncIterator[Happened]:
        """What happens from now on; ends when the hub closes."""
        mine: asyncio.Queue[Happened | None] = asyncio.Queue(maxsize=BEHIND_MAX + 8)
        with self._lock:
            if self._closed:
                return
            self._listeners[mine] = asyncio.get_running_loop()
        try:
            while (happened := await mine.get()) is not None:
                yield happened
        finally:
            with self._lock:
                self._listeners.pop(mine, None)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        with self._lock:
            self._closed = True
            listeners = list(self._listeners.items())
        for listener, loop in listeners:
            try:
                loop.call_soon_threadsafe(_end, listener)
            except RuntimeError:  # its loop has stopped already
                continue


def _offer(listener: "asyncio.Queue[Happened | None]", happened: Happened) -> None:
    if listener.qsize() < BEHIND_MAX:
        listener.put_nowait(happened)
    elif listener.qsize() == BEHIND_MAX:
        listener.put_nowait(Happened("press", "*"))


def _end(listener: "asyncio.Queue[Happened | None]") -> None:
    while not listener.empty():
        listener.get_nowait()
    listener.put_nowait(None)
