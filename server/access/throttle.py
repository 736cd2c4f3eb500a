"""Slows down guessing: after some wrong passwords a name, or an address, has to wait.

A try is counted before it is looked at and given back when it was right, so that guesses sent at the
same moment get no further than the same guesses one after the other.
"""

import contextlib
import threading
from collections import Counter, deque
from collections.abc import Iterator
from typing import Final

from server.errors import ThrottledError, UnauthorizedError
from server.language import N_

WINDOW_MS: Final = 15 * 60_000
#: Wrong passwords for a name from one address before that address has to wait for that name.
NAME_TRIES: Final = 5
#: For a name from all addresses together: more, so that a stranger cannot easily shut somebody out.
NAME_TRIES_ANYWHERE: Final = 50
#: For an address, where several people may sit.
ADDRESS_TRIES: Final = 30
#: Names and addresses remembered; beyond, those whose last try is the oldest are forgotten.
REMEMBERED: Final = 20_000
#: Wait of a try that only finds others being looked at: they take a fraction of a second each.
_SOON_MS: Final = 1_000

_Key = tuple[str, str, str]


class Throttle:
    """Wrong passwords of the last quarter of an hour, in memory; a restart forgets them."""

    def __init__(self) -> None:
        self._wrong: dict[_Key, deque[int]] = {}
        self._looked_at: Counter[_Key] = Counter()
        self._lock = threading.Lock()

    @contextlib.contextmanager
    def one_try(self, name: str, address: str, *, now_ms: int) -> Iterator[None]:
        """Look at one password inside; ThrottledError before anything is looked at, when one has to wait.

        UnauthorizedError inside counts as a wrong one. Without an error the name starts afresh from this
        address; the address, and the name from others, do not. Any other error counts for nothing.
        """
        self._begin(name, address, now_ms=now_ms)
        wrong, right = False, False
        try:
            yield
            right = True
        except UnauthorizedError:
            wrong = True
            raise
        finally:
            self._end(name, address, wrong=wrong, right=right, now_ms=now_ms)

    def _begin(self, name: str, address: str, *, now_ms: int) -> None:
        with self._lock:
            wait_ms = max(self._wait_ms(key, tries, now_ms) for key, tries in _keys(name, address))
            if wait_ms <= 0:
                self._looked_at.update(key for key, _ in _keys(name, address))
                return
        seconds = -(-wait_ms // 1000)
        raise ThrottledError(
            N_("too many wrong tries; try again in {told}", told=_told(seconds)), retry_after_s=seconds
        )

    def _end(self, name: str, address: str, *, wrong: bool, right: bool, now_ms: int) -> None:
        with self._lock:
            for key, tries_max in _keys(name, address):
                self._looked_at[key] -= 1
                if self._looked_at[key] <= 0:
                    del self._looked_at[key]
                if wrong:
                    tries = self._wrong.pop(key, None) or deque(maxlen=tries_max)
                    tries.append(now_ms)
                    self._wrong[key] = tries
            if right:
                self._wrong.pop(("pair", name, address), None)
            while len(self._wrong) > REMEMBERED:
                del self._wrong[next(iter(self._wrong))]

    def _wait_ms(self, key: _Key, tries_max: int, now_ms: int) -> int:
        tries = self._wrong.get(key) or deque[int]()
        while tries and tries[0] <= now_ms - WINDOW_MS:
            tries.popleft()
        if not tries:
            self._wrong.pop(key, None)
        if len(tries) >= tries_max:
            return tries[-tries_max] + WINDOW_MS - now_ms
        return _SOON_MS if len(tries) + self._looked_at[key] >= tries_max else 0


def _told(seconds: int) -> str:
    return f"{seconds} s" if seconds < 120 else f"{-(-seconds // 60)} min"


def _keys(name: str, address: str) -> tuple[tuple[_Key, int], ...]:
    return (
        (("pair", name, address), NAME_TRIES),
        (("name", name, ""), NAME_TRIES_ANYWHERE),
        (("address", "", address), ADDRESS_TRIES),
    )
