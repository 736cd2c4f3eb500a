"""What the benchmarks send, and kept-alive connections that cost the sender next to nothing."""

import gc
import json
import random
import socket
import sys
import threading
import time
from collections.abc import Sequence
from typing import Any

from server.clock import as_text
from tests.processes import CHECKOUT, Served

BATCH = 500


class Connection:
    """One kept-alive HTTP connection; requests are bytes prepared beforehand."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=120)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def ask(self, request: bytes) -> bytes:
        """The answer's body; anything but 200 raises."""
        self._socket.sendall(request)
        got = b""
        while (end := got.find(b"\r\n\r\n")) < 0:
            got += self._more()
        head = got[:end].lower()
        if not head.startswith(b"http/1.1 200"):
            raise AssertionError(got[:600].decode(errors="replace"))
        size = int(head.split(b"content-length:", 1)[1].split(b"\r\n", 1)[0])
        while len(got) < end + 4 + size:
            got += self._more()
        return got[end + 4 :]

    def _more(self) -> bytes:
        part = self._socket.recv(1 << 20)
        if not part:
            raise ConnectionError("the server hung up")
        return part

    def close(self) -> None:
        self._socket.close()


def post(body: Any) -> bytes:
    """A prepared POST of shots."""
    text = json.dumps(body, separators=(",", ":")).encode()
    head = (
        "POST /api/v1/shots HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(text)}\r\n\r\n"
    )
    return head.encode() + text


def get(path: str) -> bytes:
    """A prepared GET, uncompressed."""
    return f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: text/html, application/json\r\n\r\n".encode()


def shot(number: int, *, start_ms: int, rng: random.Random, every_ms: int = 20_000) -> dict[str, Any]:
    """A shot of twelve fields, a jittered cycle after the one before."""
    return {
        "counter": 1 + number,
        "at": as_text(start_ms + number * every_ms + rng.randrange(-60, 60)),
        "shot_size_mm": round(80 + rng.gauss(0, 0.04), 2),
        "cushion_mm": round(6 + rng.gauss(0, 0.05), 2),
        "decompression_mm": 4.0,
        "transfer_pressure_bar": round(900 + rng.gauss(0, 4)),
        "peak_pressure_bar": round(1000 + rng.gauss(0, 4)),
        "fill_time_s": round(1.4 + rng.gauss(0, 0.005), 3),
        "recovery_time_s": round(6 + rng.gauss(0, 0.05), 2),
        "cycle_time_s": 20.0,
        "part_weight_g": round(41.8 + rng.gauss(0, 0.05), 2),
        "box": f"B{number // 100}",
    }


def whole_batches(presses: int, *, start_ms: int, seed: int = 1) -> list[bytes]:
    """One batch of BATCH shots for each press."""
    rng = random.Random(seed)
    head = {"mold": "M-113", "material": "PP-DEMO", "lot": "A1"}
    return [
        post(
            {
                "press": f"B{number:03d}",
                **head,
                "shots": [shot(n, start_ms=start_ms, rng=rng) for n in range(BATCH)],
            }
        )
        for number in range(presses)
    ]


def mixed_batches(presses: int, *, start_ms: int, seed: int = 2) -> list[bytes]:
    """The same amount, each batch holding shots of every press in turn."""
    rng = random.Random(seed)
    rows = [
        {
            "press": f"B{number:03d}",
            "mold": f"M-{number % 40}",
            **shot(n, start_ms=start_ms, rng=rng),
        }
        for n in range(BATCH)
        for number in range(presses)
    ]
    return [post({"shots": rows[at : at + BATCH]}) for at in range(0, len(rows), BATCH)]


def send_all(port: int, requests: Sequence[bytes], *, connections: int) -> float:
    """Seconds until the last request is acknowledged, spread over kept-alive connections."""
    waiting = iter(requests)
    lock = threading.Lock()
    failed: list[BaseException] = []
    opened = [Connection(port) for _ in range(connections)]

    def work(connection: Connection) -> None:
        try:
            while True:
                with lock:
                    request = next(waiting, None)
                if request is None:
                    return
                connection.ask(request)
        except BaseException as error:
            failed.append(error)

    gc.collect()
    threads = [threading.Thread(target=work, args=(one,)) for one in opened]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - start
    for one in opened:
        one.close()
    if failed:
        raise failed[0]
    return seconds


def server(folder: Any, *, evaluating: bool = True, empty: bool = True) -> Served:
    """A demo server of its own process; `evaluating` False leaves the intake waiting."""
    arguments = ["demo", "--no-login", "--no-live", "--data", str(folder / "data")]
    if empty:
        arguments.append("--empty")
    return _served(arguments, folder, {}, evaluating=evaluating)


def server_on(url: str, folder: Any, *, evaluating: bool = True) -> Served:
    """The same over a database that has its address; `folder` is for its log."""
    settings = {"RINGTELL_DATABASE_URL": url, "RINGTELL_NO_LOGIN": "1", "RINGTELL_ACCEPT_UNKNOWN": "1"}
    return _served(["serve"], folder, settings, evaluating=evaluating)


def _served(arguments: list[str], folder: Any, settings: dict[str, str], *, evaluating: bool) -> Served:
    if evaluating:
        return Served(*arguments, folder=folder, settings=settings)
    program = (sys.executable, "-m", "tests.benchmarks.idle_server")
    return Served(*arguments, folder=folder, settings={**CHECKOUT, **settings}, program=program)
