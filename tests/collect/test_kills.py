"""Collector and server killed at random moments: every shot arrives, and arrives once."""

import asyncio
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aiomqtt
import httpx
import pytest

from tests.collect.broker import Mosquitto
from tests.collect.collector import Collector, get, open_server, shots_of, wait_for

PRESS = "P07"
HEADER = "counter,at,shot_size_mm,cushion_mm"


def row(counter: int) -> dict[str, Any]:
    minutes, seconds = divmod(counter, 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    at = f"2026-01-{1 + days:02}T{hours:02}:{minutes:02}:{seconds:02}Z"
    cushion = round(6 + counter % 50 / 100, 2)
    return {"counter": counter, "at": at, "shot_size_mm": 62.4, "cushion_mm": cushion}


class Writing:
    """Writes shots one by one from a thread, a few a second, until told to stop."""

    def __init__(self, put: Callable[[dict[str, Any]], None]) -> None:
        self.written = 0
        self._put = put
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> int:
        self._stop.set()
        self._thread.join(timeout=60)
        return self.written

    def _run(self) -> None:
        while not self._stop.wait(0.03):
            self._put(row(self.written + 1))
            self.written += 1


def appended_to(file: Path) -> Callable[[dict[str, Any]], None]:
    """Lines at the end of a file, each in two halves: the reader may come between them."""
    file.write_text(HEADER + "\n")

    def put(shot: dict[str, Any]) -> None:
        line = ",".join(str(shot[name]) for name in HEADER.split(",")) + "\n"
        with file.open("a") as open_file:
            open_file.write(line[:17])
            open_file.flush()
            open_file.write(line[17:])

    return put


def published_at(port: int) -> Callable[[dict[str, Any]], None]:
    """Messages of QoS 1: on return the broker has it."""

    async def send(shot: dict[str, Any]) -> None:
        async with aiomqtt.Client("127.0.0.1", port) as client:
            await client.publish(f"plant/imm/{PRESS}/shot", json.dumps(shot).encode(), qos=1)

    return lambda shot: asyncio.run(send(shot))


def rounds_of_kills(
    folder: Path, words: tuple[str, ...], writing: Writing, *, rounds: int, seed: int, begun: str = ""
) -> None:
    """begun: what the collector says once its broker keeps messages for it."""
    chance = random.Random(seed)
    server = open_server(folder / "server")
    server.start()
    collector = Collector(*words, "--to", server.address, folder=folder)
    collector.start()
    try:
        wait_for(lambda: begun in collector.said(), why=collector.said)
        writing.start()
        for _ in range(rounds):
            time.sleep(chance.uniform(0.2, 4.0))
            victim = chance.choice(("collector", "server", "both"))
            if victim in ("server", "both"):
                server.kill()
            if victim in ("collector", "both"):
                collector.kill()
            time.sleep(chance.uniform(0.0, 1.0))
            if victim in ("collector", "both"):
                collector.start()
            if victim in ("server", "both"):
                server.start()
        written = writing.stop()
        assert collector.runs
        wait_for(lambda: len(shots_of(server.address, PRESS)) >= written, within_s=180, why=collector.said)
        counters = Counter(shot["counter"] for shot in shots_of(server.address, PRESS))
        assert counters == Counter(range(1, written + 1))
        wait_for(lambda: waiting(server.address) == 0, within_s=120, why=collector.said)
        assert apart(server.address) == []
        print(f"\n{rounds} rounds: {written} shots written, {sum(counters.values())} stored, each once")  # noqa: T201  the figures of the campaign
    finally:
        writing.stop()
        collector.kill()
        server.kill()


def waiting(address: str) -> int:
    found = get(address, "/sources")["items"]
    if not found:
        return -1  # the collector has not said anything of itself yet
    (source,) = found
    return int(source["spool"]["waiting"])


def apart(address: str) -> list[Any]:
    answer = httpx.get(f"{address}/api/v1/quarantine?limit=10", timeout=30)
    return list(answer.json()["items"]) if answer.status_code == 200 else []


def of_a_folder(tmp_path: Path, *, rounds: int, seed: int) -> None:
    drop = tmp_path / "drop"
    drop.mkdir()
    words = ("folder", str(drop), "--press", PRESS, "--every", "0.2")
    rounds_of_kills(tmp_path, words, Writing(appended_to(drop / "a.csv")), rounds=rounds, seed=seed)


def of_a_broker(tmp_path: Path, *, rounds: int, seed: int) -> None:
    with Mosquitto(tmp_path / "broker") as broker:
        words = ("mqtt", f"mqtt://127.0.0.1:{broker.port}", "--topic", "plant/imm/{press}/shot")
        writing = Writing(published_at(broker.port))
        rounds_of_kills(tmp_path, words, writing, rounds=rounds, seed=seed, begun="subscribed")


def test_kills_lose_and_double_no_row_of_a_folder(tmp_path: Path) -> None:
    of_a_folder(tmp_path, rounds=1, seed=1)


def test_kills_lose_and_double_no_message_of_a_broker(tmp_path: Path) -> None:
    of_a_broker(tmp_path, rounds=2, seed=2)


@pytest.mark.campaign
@pytest.mark.parametrize("source", [of_a_folder, of_a_broker])
def test_a_hundred_rounds_of_kills(tmp_path: Path, source: Callable[..., None]) -> None:
    source(tmp_path, rounds=50, seed=3)
