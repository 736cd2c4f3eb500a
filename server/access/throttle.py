"""Slows down guessing: after some wrong passwords a name, or an address, has to wait."""

import threading
from collections import deque
from typing import Final

from server.errors import ThrottledError

WINDOW_MS: Final = 15 * 60_000
#: Wrong passwords for a name from one address before that address has to wait for that name.
NAME_TRIES: Final = 5
#: For a name from all addresses together: more, so that a stranger cannot easily shut somebody out.
NAME_TRIES_ANYWHERE: Final = 50
#: For an address, where several people may sit.
ADDRESS_TRIES: Final = 30
#: Names and addresses remembered; beyond, those whose last try is the oldest are forgotten.
REMEMBERED: Final = 20_000

_Key = tuple[str, str, str]


class Throttle:
    """Wrong passwords of the last quarter of an hour, in memory; a restart forgets them."""

    def __init__(self) -> None:
        self._wrong: dict[_Key, deque[int]] = {}
        self._lock = threading.Lock()

    def check(self, name: str, address: str, *, now_ms: int) -> None:
        """Raise ThrottledError while this name or address has to wait."""
        with self._lock:
            wait_ms = max(self._wait_ms(key, tries, now_ms) for key, tries in _keys(name, address))
        if wait_ms > 0:
            seconds = -(-wait_ms // 1000)
            raise ThrottledError(f"too many wrong tries; try again in {seconds} s", retry_after_s=seconds)

    def failed(self, name: str, address: str, *, now_ms: int) -> None:
        """Count a wrong password."""
        with self._lock:
            for key, tries_max in _keys(name, address):
                tries = self._wrong.pop(key, None) or deque(maxlen=tries_max)
                tries.append(now_ms)
                self._wrong[key] = tries
            while len(self._wrong) > REMEMBERED:
                del self._wrong[next(iter(self._wrong))]

    def succeeded(self, name: str, address: str) -> None:
        """The right password: the name starts afresh from here; the address, and others, do not."""
        with self._lock:
            self._wrong.pop(("pair", name, address), None)

    def _wait_ms(self, key: _Key, tries_max: int, now_ms: int) -> int:
        tries = self._wrong.get(key)
        if tries is None:
            return 0
        while tries and tries[0] <= now_ms - WINDOW_MS:
            tries.popleft()
        if not tries:
            del self._wrong[key]
            return 0
        return tries[-tries_max] + WINDOW_MS - now_ms if len(tries) >= tries_max else 0


def _keys(name: str, address: str) -> tuple[tuple[_Key, int], ...]:
    return (
        (("pair", name, address), NAME_TRIES),
        (("name", name, ""), NAME_TRIES_ANYWHERE),
        (("address", "", address), ADDRESS_TRIES),
    )
