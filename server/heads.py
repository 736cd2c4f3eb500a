"""Heads of requests, bounded in size and time: the parser itself keeps whatever comes before a body.

Whoever reaches the port could otherwise fill the memory with a header that never ends, or hold a connection
with one that never comes.
"""

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

#: Bytes taken that are no body yet: request line, headers, trailers, extensions of chunks.
HEAD_MAX: Final = 64 * 1024
#: Seconds from the connection, or the first byte of a further request, to the end of its headers.
HEAD_WITHIN_S: Final = 30.0


class BoundedHeads(HttpToolsProtocol):
    """Ends a connection whose head is too large or too slow."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self._unread, self._is_told = 0, False
        self._patience: asyncio.TimerHandle | None = None
        self._in_head = True

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)  # type: ignore[arg-type]  # it takes what asyncio hands over
        self._begin_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        self._end_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        self._is_told = False
        super().data_received(data)
        self._unread = 0 if self._is_told else self._unread + len(data)
        if self._unread > HEAD_MAX:
            self._refuse("The head of the request is too large.")
        elif self._in_head and self._unread and self._patience is None:
            self._begin_waiting()

    def on_headers_complete(self) -> None:
        self._is_told, self._in_head = True, False
        self._end_waiting()
        super().on_headers_complete()

    def on_body(self, body: bytes) -> None:
        self._is_told = True
        super().on_body(body)

    def on_message_complete(self) -> None:
        self._is_told, self._in_head = True, True
        super().on_message_complete()

    def _begin_waiting(self) -> None:
        self._patience = self.loop.call_later(HEAD_WITHIN_S, self._refuse, "The head came too slowly.")

    def _end_waiting(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _refuse(self, why: str) -> None:
        self._end_waiting()
        if self.transport.is_closing():
            return
        is_answering = self.cycle is not None and not self.cycle.response_complete
        if is_answering or not self._unread:
            # Another answer in the middle of one helps nobody, nor one to what was never asked.
            self.transport.close()
        else:
            self.send_400_response(why)
