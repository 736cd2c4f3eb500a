"""Few at once, few who wait: what is long must not take every thread of a server."""

import contextlib
import threading
from collections.abc import Iterator

from server.errors import BusyError


class Turns:
    """Lets so many in at once and so many more wait; the next is told to come back.

    said: what those are told who find no room. wait_s: longest somebody waits, None for ever.
    """

    def __init__(
        self, *, at_once: int, waiting: int, said: str, wait_s: float | None = None, retry_after_s: int = 1
    ) -> None:
        self._room = threading.BoundedSemaphore(at_once + waiting)
        self._turn = threading.BoundedSemaphore(at_once)
        self._said, self._wait_s, self._retry_after_s = said, wait_s, retry_after_s

    @contextlib.contextmanager
    def take(self) -> Iterator[None]:
        """A turn; raises BusyError."""
        if not self._room.acquire(blocking=False):
            raise self._busy()
        with contextlib.ExitStack() as held:
            held.callback(self._room.release)
            if not self._turn.acquire(timeout=self._wait_s):
                raise self._busy()
            held.callback(self._turn.release)
            yield

    def _busy(self) -> BusyError:
        return BusyError(self._said, retry_after_s=self._retry_after_s)
