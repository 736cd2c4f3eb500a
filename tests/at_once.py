"""Calls that begin at the same moment."""

import threading
from collections import Counter
from collections.abc import Callable, Hashable


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
