"""Too much at once: a flood, slow senders, five hundred open pages; and a clock that is set."""

import contextlib
import json
import socket
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx

from tests.faults.plant import Ledger, Plant, Press, Sender, wait_for
from tests.processes import TLS

Plants = Callable[..., Plant]

#: The rated load is 50 shots/s of 500 presses; a flood brings ten times as much.
RATED = 50


def test_a_flood_is_told_to_come_back_and_never_dropped(plant: Plant) -> None:
    """Far more requests at once than the server takes: each is stored, or answered 503 with Retry-After."""
    presses = [Press(f"P{i:03}", shots=100, seed=i) for i in range(10 * RATED)]
    ledgers = [Ledger() for _ in presses]

    def gateway(press: Press, ledger: Ledger) -> None:
        sender = Sender(plant.address, ledger, timeout_s=120)
        try:
            for _ in range(3):
                sender.send_until_answered(press.shots(2), within_s=180)
        finally:
            sender.client.close()

    began = time.monotonic()
    with ThreadPoolExecutor(128) as pool:
        for done in [pool.submit(gateway, *one) for one in zip(presses, ledgers, strict=True)]:
            done.result(300)
    took = time.monotonic() - began
    for ledger in ledgers:
        plant.ledger.acknowledged |= ledger.acknowledged
        plant.ledger.sent |= ledger.sent
    assert len(plant.ledger.acknowledged) == 10 * RATED * 6
    plant.check_ledger()
    assert len(plant.stored()) == 10 * RATED * 6
    refused = sum(ledger.refused for ledger in ledgers)
    print(f"\n{10 * RATED * 6:,} shots in {took:.1f} s, {refused} requests told to come back")  # noqa: T201  # figures
    wait_for(plant.ready, what="ready")


def slow_request(address: str, *, promised: int) -> socket.socket:
    """A sender that begins a body and never comes to its end."""
    host, port = address.removeprefix("http://").split(":")
    connection = socket.create_connection((host, int(port)), timeout=60)
    head = (
        f"POST /api/v1/shots HTTP/1.1\r\nHost: {host}:{port}\r\nContent-Type: application/x-ndjson\r\n"
        f"Content-Length: {promised}\r\n\r\n{{"
    )
    connection.sendall(head.encode())
    return connection


def test_slow_senders_hold_up_nobody_and_are_sent_away(plants: Plants) -> None:
    plant = plants(tune={"server.routes.gate:BODY_WITHIN_S": 3.0})
    plant.served.start()
    with contextlib.ExitStack() as stack:
        slow = [slow_request(plant.address, promised=5_000) for _ in range(200)]
        for connection in slow:
            stack.callback(connection.close)
        press = Press("P01", shots=100, seed=1)
        began = time.monotonic()
        plant.sender().send_until_answered(press.shots(5), within_s=20)
        assert plant.ask("/api/v1/presses")["items"][0]["press"] == "P01"
        assert time.monotonic() - began < 10.0
        answer = slow[0].recv(4096).decode()
    assert answer.startswith("HTTP/1.1 408")
    plant.check_ledger()


def test_five_hundred_open_pages_hear_what_happens_and_hold_up_nobody(plant: Plant) -> None:
    host, port = plant.address.removeprefix("http://").split(":")
    press = Press("P01", shots=500, seed=1)
    plant.sender().send_until_answered(press.shots(5))
    with contextlib.ExitStack() as stack:
        pages = []
        for _ in range(500):
            page = socket.create_connection((host, int(port)), timeout=60)
            stack.callback(page.close)
            page.sendall(f"GET /api/v1/stream HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
            pages.append(page)
        wait_for(lambda: open_pages(plant) == 500, what="500 pages listen")
        began = time.monotonic()
        for _ in range(10):
            plant.sender().send_until_answered(press.shots(2))
        took = time.monotonic() - began
        plant.wait_until_evaluated("P01")
        heard = [read_until(page, b'data: {"id": "P01"}') for page in pages]
    assert all(heard), f"{heard.count(False)} pages heard nothing"
    assert took < 20.0
    print(f"\n500 pages; 10 batches acknowledged in {took:.2f} s meanwhile")  # noqa: T201  # figures
    wait_for(lambda: open_pages(plant) == 0, within_s=90, what="the streams of closed pages end")


def open_pages(plant: Plant) -> int:
    text = httpx.get(f"{plant.address}/metrics", timeout=30, trust_env=False, verify=TLS).text
    (line,) = [line for line in text.splitlines() if line.startswith("ringtell_open_pages ")]
    return int(float(line.split()[1]))


def read_until(page: socket.socket, wanted: bytes) -> bool:
    heard = b""
    until = time.monotonic() + 60
    while wanted not in heard and time.monotonic() < until:
        part = page.recv(65_536)
        if not part:
            return False
        heard += part
    return wanted in heard


def test_a_clock_set_back_and_forth_loses_no_shot_and_calls_no_press_silent(
    plants: Plants, tmp_path: Path
) -> None:
    clock = tmp_path / "clock"
    clock.write_text("0")
    often = {"server.pipeline:REPLAY_EVERY_S": 0.2, "server.pipeline:TICK_EVERY_S": 0.2}
    plant = plants(clock=clock, tune=often)
    plant.served.start()
    # The last of them a minute ago: only a press that sends live can fall silent.
    press = Press("P01", shots=100, seed=2)
    plant.sender().send_until_answered(press.shots(50))
    # An hour back: shots of now lie ahead of it and are kept apart, with their reason.
    clock.write_text("-3600")
    late = press.shots(50)
    lines = "\n".join(json.dumps(shot) for shot in late)
    told = post(plant, lines)
    assert told["stored"] + len(told["rejected"]) == 50
    assert {one["code"] for one in told["rejected"]} == {"in_the_future"}
    assert told["rejected"]
    # Right again: they are stored by themselves, once.
    clock.write_text("0")
    wait_for(lambda: len(plant.stored()) == 100, what="the shots kept apart are stored")
    assert len(set(plant.stored())) == 100
    again = post(plant, lines)
    assert (again["stored"], again["duplicate"]) == (0, 50)
    # A day ahead, and nobody is called silent for it.
    clock.write_text("86400")
    threading.Event().wait(1.5)
    assert [one["kind"] for one in plant.ask("/api/v1/alarms?state=all")["items"]] == []
    clock.write_text("0")
    plant.wait_until_evaluated("P01")
    assert len(plant.stored()) == 100


def post(plant: Plant, lines: str) -> dict[str, Any]:
    answer = httpx.post(
        f"{plant.address}/api/v1/shots", content=lines, timeout=30, trust_env=False, verify=TLS,
        headers={"Content-Type": "application/x-ndjson"},
    )  # fmt: skip
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found
