"""Answers that are text go out compressed, whole ones to GET alone, and say so to whatever keeps them."""

import asyncio
import gzip
from collections.abc import Iterator
from typing import Any

import brotli
import pytest
from fastapi import FastAPI
from fastapi.responses import StreamingResponse
from starlette.requests import Request
from starlette.routing import Route
from starlette.types import Message

from server.store.engine import upgrade
from tests.security.callers import House, house


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    url = f"sqlite:///{tmp_path_factory.mktemp('compressing') / 'plant.db'}"
    upgrade(url)
    with house(url) as found:
        yield found


def raw(whole: House, path: str, *, encoding: str, method: str = "GET", who: str = "viewer") -> Any:
    """(status, headers, bodies) as they go over the wire."""
    sent: list[Message] = []
    headers = {**whole.callers[who].headers, "accept-encoding": encoding, "host": "127.0.0.1:8000"}
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "",
        "server": ("127.0.0.1", 8000), "client": ("127.0.0.1", 5),
        "headers": [(name.lower().encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip

    asked = iter([{"type": "http.request", "body": b"", "more_body": False}])

    async def receive() -> Message:
        for message in asked:
            return message
        # Whoever asked stays on the line.
        await asyncio.sleep(60)
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(whole.app(scope, receive, send))
    head = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], head, [one.get("body", b"") for one in sent[1:]]


UNDONE = {"br": brotli.decompress, "gzip": gzip.decompress}


@pytest.mark.parametrize("form", UNDONE)
@pytest.mark.parametrize("path", ["/help", "/openapi.json"])
def test_a_page_and_data_weigh_less_and_say_the_same(whole: House, form: str, path: str) -> None:
    _, plain, [body] = raw(whole, path, encoding="identity")
    _, head, [small] = raw(whole, path, encoding=f"deflate, {form}")
    assert "content-encoding" not in plain
    assert head["content-encoding"] == form
    assert UNDONE[form](small) == body
    assert len(small) < len(body) / 2
    assert int(head["content-length"]) == len(small)
    assert "Accept-Encoding" in head["vary"]


def test_a_page_keeps_what_else_it_varies_by(whole: House) -> None:
    _, head, _ = raw(whole, "/", encoding="br")
    assert {"X-Fragment", "Cookie", "Accept-Encoding"} <= {one.strip() for one in head["vary"].split(",")}


def test_what_is_small_or_refused_stays_as_it_is(whole: House) -> None:
    _, head, [body] = raw(whole, "/healthz", encoding="br")
    assert "content-encoding" not in head
    assert int(head["content-length"]) == len(body)
    _, head, _ = raw(whole, "/help", encoding="br;q=0")
    assert "content-encoding" not in head


def test_files_that_are_compressed_already_are_not_again(whole: House) -> None:
    _, page, [body] = raw(whole, "/help", encoding="identity")
    sheet = body.decode().partition('stylesheet" href="')[2].partition('"')[0]
    _, head, [small] = raw(whole, sheet, encoding="br")
    assert head["content-encoding"] == "br"
    assert b"--paper" in brotli.decompress(small)
    assert page["content-type"].startswith("text/html")


def test_a_stream_goes_out_piece_by_piece(whole: House) -> None:
    async def pieces(_request: Request) -> StreamingResponse:
        async def made() -> Any:
            for _ in range(3):
                yield "x" * 2_000

        return StreamingResponse(made(), media_type="text/csv")

    app: FastAPI = whole.app
    app.router.routes.insert(0, Route("/streams", pieces))
    try:
        _, head, bodies = raw(whole, "/streams", encoding="br")
    finally:
        del app.router.routes[0]
    assert "content-encoding" not in head
    assert [len(one) for one in bodies if one] == [2_000] * 3


def test_what_answers_an_act_is_not_compressed(whole: House) -> None:
    _, head, _ = raw(whole, "/help", encoding="br", method="POST")
    assert "content-encoding" not in head
