"""Heads of requests are bounded, and whatever is sound gets through, however it is cut."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from typing import Any

import pytest
import uvicorn
from uvicorn.server import ServerState

from server import heads
from server.heads import HEAD_MAX, BoundedHeads

ASK = b"GET / HTTP/1.1\r\nHost: x\r\n\r\n"


async def counting(scope: Any, receive: Any, send: Any) -> None:
    """Answers with how many bytes the body had."""
    size, more = 0, True
    while more:
        message = await receive()
        size += len(message.get("body", b""))
        more = message.get("more_body", False)
    text = str(size).encode()
    headers = [(b"content-length", str(len(text)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": text})


@contextlib.asynccontextmanager
async def connection() -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    config = uvicorn.Config(counting, log_config=None, ws="none", lifespan="off")
    config.load()
    state = ServerState()
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: BoundedHeads(config, state, {}), "127.0.0.1", 0)
    reader, writer = await asyncio.open_connection(*server.sockets[0].getsockname())
    try:
        yield reader, writer
    finally:
        writer.close()
        server.close()
        await asyncio.sleep(0)


def heard(parts: Sequence[bytes], *, pause_s: float = 0.01, within_s: float = 5.0) -> bytes:
    """What comes back for these parts, until the connection ends or nothing comes for a while."""

    async def talk() -> bytes:
        found = b""
        async with connection() as (reader, writer):
            with contextlib.suppress(ConnectionError):
                for part in parts:
                    writer.write(part)
                    await writer.drain()
                    await asyncio.sleep(pause_s)
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(within_s):
                    with contextlib.suppress(ConnectionError):
                        while piece := await reader.read(1 << 16):
                            found += piece
                    found += b"<end>"
        return found

    return asyncio.run(talk())


@pytest.mark.parametrize(
    "start",
    [
        b"GET / HTTP/1.1\r\nHost: x\r\nX: ",
        b"GET /",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n0\r\nX: ",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n1;",
        ASK + b"GET / HTTP/1.1\r\nX: ",
    ],
)
def test_what_is_no_body_and_never_ends_is_ended(start: bytes) -> None:
    answer = heard([start, *[b"a" * 16_384] * 8], within_s=3.0)
    assert answer.endswith(b"<end>")


def test_many_headers_are_bounded_too() -> None:
    lines = [b"".join(b"X%d-%d: a\r\n" % (part, i) for i in range(1_000)) for part in range(8)]
    assert b"200" not in heard([ASK[:-2], *lines, b"\r\n"], within_s=2.0)


def test_a_head_that_does_not_come_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heads, "HEAD_WITHIN_S", 0.3)
    assert heard([]) == b"<end>"
    assert b"400 Bad Request" in heard([ASK[:10], ASK[10:12]])
    # The next request of a connection is waited for as long.
    assert b"400 Bad Request" in heard([ASK, ASK[:10]])
    assert heard([ASK, ASK], pause_s=0.2, within_s=0.1).count(b"200 OK") == 2


@pytest.mark.parametrize("cut", [1, 7, 10_000, 1 << 20])
def test_what_is_sound_gets_through_however_it_is_cut(cut: int) -> None:
    large = b"" if cut < 100 else b"X: " + b"a" * (HEAD_MAX // 2) + b"\r\n"
    size = 60 if cut < 100 else 3 * HEAD_MAX
    body = b"POST / HTTP/1.1\r\nHost: x\r\n" + large + b"Content-Length: %d\r\n\r\n" % size + b"b" * size
    chunked = b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n0\r\n\r\n"
    whole = body + chunked + ASK
    parts = [whole[i : i + cut] for i in range(0, len(whole), cut)]
    answer = heard(parts, pause_s=0.0, within_s=1.0)
    assert answer.count(b"200 OK") == 3
    assert b"\r\n\r\n%d" % size in answer
