"""Tries at passwords, one after the other."""

import contextlib

from server.access.throttle import Throttle
from server.errors import UnauthorizedError
from tests.access.plant import MORNING


def guess(throttle: Throttle, name: str, address: str, *, now_ms: int = MORNING) -> None:
    """One wrong password; ThrottledError when it is not even looked at."""
    with contextlib.suppress(UnauthorizedError), throttle.one_try(name, address, now_ms=now_ms):
        raise UnauthorizedError("wrong")
