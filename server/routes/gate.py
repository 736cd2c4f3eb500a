"""How much ingest is in hand at once: beyond it a request is told to come back, before anything is read.

Without it a flood, or a database somebody holds, would take every thread of the server, and pages,
keys and watchdogs would wait behind it.
"""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable
from typing import Final, TypeVar

import anyio
from fastapi import Request

from server.errors import BusyError, TooLargeError, TooSlowError
from server.language import N_

Result = TypeVar("Result")

#: Threads that read and store at once; requests that may wait for one; bytes of bodies held meanwhile.
THREADS: Final = 12
WAITING_MAX: Final = 64
BYTES_MAX: Final = 256 * 1024 * 1024
#: Pictures decoded at once: the largest take 300 MB (computed), and shots do not wait for them.
PICTURES: Final = 2
#: A body has so long to begin and end, and a second more for every so many bytes that came.
BODY_WITHIN_S: Final = 30.0
BYTES_A_SECOND: Final = 10_000
#: When to try again.
AGAIN_S: Final = 1


class Gate:
    """Counts what is in hand on the event loop; one for a server."""

    def __init__(self) -> None:
        self._in_hand = 0
        self._bytes = 0
        self._threads: anyio.CapacityLimiter | None = None
        self._apart: anyio.CapacityLimiter | None = None

    @property
    def in_hand(self) -> int:
        """Requests whose body is read or stored now."""
        return self._in_hand

    def need_room(self) -> None:
        """BusyError before anything is read, when more is in hand already than the server takes."""
        if self._in_hand >= THREADS + WAITING_MAX:
            raise _busy(self._in_hand)

    async def body_of(self, request: Request, *, most: int) -> bytes:
        """The whole body; refused as soon as it is too large or comes too slowly."""
        parts: list[bytes] = []
        size, began = 0, time.monotonic()
        stream = request.stream()
        while True:
            left_s = began + BODY_WITHIN_S + size / BYTES_A_SECOND - time.monotonic()
            try:
                part = await asyncio.wait_for(anext(stream), timeout=max(0.0, left_s))
            except StopAsyncIteration:
                return b"".join(parts)
            except TimeoutError:
                raise TooSlowError(
                    N_(
                        "the body came too slowly: {size} bytes in {monotonic:.0f} s; nothing was stored,"
                        " send it again in smaller batches",
                        size=size,
                        monotonic=time.monotonic() - began,
                    )
                ) from None
            size += len(part)
            if size > most:
                raise TooLargeError(
                    N_("the body is larger than {most} bytes; send it in smaller batches", most=most)
                )
            parts.append(part)

    @contextlib.asynccontextmanager
    async def passing(self, size: int) -> AsyncIterator[None]:
        """Let a request with a body of so many bytes in, or BusyError."""
        if self._in_hand >= THREADS + WAITING_MAX or self._bytes + size > BYTES_MAX:
            raise _busy(self._in_hand)
        self._in_hand += 1
        self._bytes += size
        try:
            yield
        finally:
            self._in_hand -= 1
            self._bytes -= size

    async def run(self, work: Callable[[], Result]) -> Result:
        """Run in one of the threads kept for ingest, so that others stay free."""
        if self._threads is None:
            self._threads = anyio.CapacityLimiter(THREADS)
        return await anyio.to_thread.run_sync(work, limiter=self._threads)

    async def run_apart(self, work: Callable[[], Result]) -> Result:
        """Run what is long and large, few at once, in no thread of ingest."""
        if self._apart is None:
            self._apart = anyio.CapacityLimiter(PICTURES)
        return await anyio.to_thread.run_sync(work, limiter=self._apart)


def _busy(in_hand: int) -> BusyError:
    text = f"{in_hand} requests with shots are being stored; nothing of this one was, send it again"
    return BusyError(text, retry_after_s=AGAIN_S)
