"""Tries at passwords, one after the other and many at the same moment."""

import contextlib
import threading
from collections import Counter
from collections.abc import Callable, Hashable

from server.access.throttle import Throttle
from server.errors import UnauthorizedError
from tests.access.plant import MORNING


def guess(throttle: Throttle, name: str, address: str, *, now_ms: int = MORNING) -> None:
    """One wrong password; ThrottledError when it is not even looked at."""
    with contextlib.suppress(UnauthorizedError), throttle.one_try(name, address, now_ms=now_ms):
        raise UnauthorizedError("wrong")


def all_at_once(act: Callable[[int], Hashable], *, many: int) -> "Counter[Hashable]":
    """What came of so many calls that begin together, each in its own thread."""
    start, came = threading.Barrier(many), Counter[Hashable]()
    lock = threading.Lock()

    def run(number: int) -> None:
        start.wait(timeout=30)
        outcome = act(number)
        with lock:
            came[outcome] += 1

    threads = [threading.Thread(target=run, args=(number,)) for number in range(many)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert came.total() == many
    return came
