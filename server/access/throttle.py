"""Slows down guessing: after some wrong passwords a name, or an address, has to wait."""

import threading
from collections import deque
from typing import Final

from server.errors import ThrottledError

WINDOW_MS: Final = 15 * 60_000
#: Wrong passwords in the window before a name has to wait.
NAME_TRIES: Final = 5
#: The same for an address, where several people may sit.
ADDRESS_TRIES: Final = 30
#: Names and addresses remembered; beyond, those whose last try is the oldest are forgotten.
REMEMBERED: Final = 20_000


class Throttle:
    """Wrong passwords of the last quarter of an hour, in memory; a restart forgets them."""

    def __init__(self) -> None:
        self._wrong: dict[tuple[str, str], deque[int]] = {}
        self._lock = threading.Lock()

    def check(self, name: str, address: str, *, now_ms: int) -> None:
        """Raise ThrottledError while this name or address has to wait."""
        with self._lock:
            waits = [
                self._wait_ms(("name", name), NAME_TRIES, now_ms),
                self._wait_ms(("address", address), ADDRESS_TRIES, now_ms),
            ]
        if max(waits) > 0:
            seconds = -(-max(waits) // 1000)
            raise ThrottledError(
                f"too many wrong passwords; try again in {seconds} s", retry_after_s=seconds
            )

    def failed(self, name: str, address: str, *, now_ms: int) -> None:
        """Count a wrong password."""
        with self._lock:
            for key in (("name", name), ("address", address)):
                tries = self._wrong.pop(key, None) or deque(maxlen=ADDRESS_TRIES)
                tries.append(now_ms)
                self._wrong[key] = tries
            while len(self._wrong) > REMEMBERED:
                del self._wrong[next(iter(self._wrong))]

    def succeeded(self, name: str) -> None:
        """The right password: the name starts afresh, the address does not."""
        with self._lock:
            self._wrong.pop(("name", name), None)

    def _wait_ms(self, key: tuple[str, str], tries_max: int, now_ms: int) -> int:
        tries = self._wrong.get(key)
        if tries is None:
            return 0
        while tries and tries[0] <= now_ms - WINDOW_MS:
            tries.popleft()
        if not tries:
            del self._wrong[key]
            return 0
        return tries[-tries_max] + WINDOW_MS - now_ms if len(tries) >= tries_max else 0
