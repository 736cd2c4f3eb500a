"""Presses in hand: each is worked on by one thread at a time, in the order in which they came up."""

import threading
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor


class Hands:
    """Threads that take presses as they come: none waits for a round over the others to end.

    `look_at` works on a press and says whether there is more to do for it at once.
    """

    def __init__(self, threads: int, look_at: Callable[[int], bool]) -> None:
        self._look_at = look_at
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix="ringtell-hand")
        self._lock = threading.Lock()
        #: Presses that wait or are worked on, and whether something came up for them meanwhile.
        self._in_hand: dict[int, bool] = {}
        self._closed = False
        #: When one was last done with (`time.monotonic`).
        self.moved = time.monotonic()

    def offer(self, presses: Iterable[int]) -> None:
        """There is something to do for these presses; one in hand is looked at once more after that."""
        with self._lock:
            for press_id in presses:
                if press_id in self._in_hand:
                    self._in_hand[press_id] = True
                elif not self._closed:
                    if not self._in_hand:
                        self.moved = time.monotonic()
                    self._in_hand[press_id] = False
                    self._pool.submit(self._run, press_id)

    def is_idle(self) -> bool:
        """Whether no press is in hand."""
        with self._lock:
            return not self._in_hand

    def close(self) -> None:
        """Finish what is being worked on; what waits is left."""
        with self._lock:
            self._closed = True
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self, press_id: int) -> None:
        with self._lock:
            # What comes up from now on may not be seen by this look.
            self._in_hand[press_id] = False
        more = False
        try:
            more = self._look_at(press_id)
        finally:
            with self._lock:
                self.moved = time.monotonic()
                came = self._in_hand.pop(press_id)
                if (more or came) and not self._closed:
                    # At the end of the queue, so that a long history holds up nobody.
                    self._in_hand[press_id] = False
                    self._pool.submit(self._run, press_id)
