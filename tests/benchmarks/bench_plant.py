"""A plant of 500 presses at 50 shots/s: its page, its memory, and how soon a shot is on a screen.

Run it as `nice python -m tests.benchmarks.bench_plant` (`--postgresql`, `--presses`, `--shots` a press
beforehand, `--seconds` of live load). Shots and an approved record of each press are put straight into a
database, the server judges them, and then: how long the plant page takes on the server, before and under the
load; how long until it can be used in Chromium on a processor slowed down four times; and, under the load,
from the moment a shot is sent until the open press page shows it.
"""

import argparse
import random
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx
import numpy as np

from server.clock import as_text, now_ms
from server.store.database import Store
from server.store.engine import upgrade
from tests.benchmarks.history import watched_press
from tests.benchmarks.wire_client import server, server_on, shot
from tests.chromium import chromium
from tests.postgresql import PostgresqlServer
from tests.processes import Served

RATED = 50
#: Presses of one gateway: each brings its shots in batches of one.
GATEWAYS = 10
#: The press whose page is open.
WATCHED = 1
_SLOWED = 4


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


def quantiles(values: Sequence[float]) -> str:
    p50, p95, most = (float(np.quantile(values, q)) for q in (0.5, 0.95, 1.0))
    return f"p50 {p50:.0f} ms, p95 {p95:.0f} ms, most {most:.0f} ms (n {len(values)})"


def fill(url: str, presses: int, shots: int) -> None:
    """Every press with its shots and an approved record."""
    upgrade(url)
    store = Store(url)
    began = time.perf_counter()
    for number in range(presses):
        watched_press(store, f"P{number:03d}", shots)
    store.close()
    say(f"{presses} presses with {shots} shots and a record each, in {time.perf_counter() - began:.0f} s")


def judged(served: Served, *, within_s: float = 900.0) -> None:
    """Wait until nothing waits for evaluation."""
    began = time.perf_counter()
    with httpx.Client(base_url=served.address, timeout=30, trust_env=False) as client:
        while time.perf_counter() - began < within_s:
            lines = client.get("/metrics").text.splitlines()
            waiting = [line for line in lines if line.startswith("ringtell_intake_rows ")]
            if waiting and float(waiting[0].split()[1]) == 0:
                say(f"all judged after {time.perf_counter() - began:.0f} s")
                return
            time.sleep(1)
    raise AssertionError(f"still not judged after {within_s:.0f} s")


def page_times(served: Served, path: str, times: int) -> list[float]:
    """Milliseconds of the server and a loopback connection."""
    found = []
    with httpx.Client(base_url=served.address, timeout=60, trust_env=False) as client:
        for _ in range(times):
            began = time.perf_counter()
            answer = client.get(path, headers={"Accept": "text/html"})
            found.append(1000 * (time.perf_counter() - began))
            assert answer.status_code == 200, answer.text
    return found


def memory_mb(pid: int) -> dict[str, float]:
    """What is resident, and of that what is not a mapped file."""
    status = Path(f"/proc/{pid}/status").read_text().splitlines()
    read = {line.split(":")[0]: float(line.split()[1]) / 1024 for line in status if "kB" in line}
    return {"all": read["VmRSS"], "own": read["RssAnon"]}


class Load:
    """Presses that make a shot each, evenly spread, RATED a second in all."""

    def __init__(self, address: str, presses: int) -> None:
        self._address, self._presses = address, presses
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._run, args=(n,)) for n in range(GATEWAYS)]
        self.sent = 0
        self.waits: list[float] = []

    def __enter__(self) -> "Load":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join()

    def _run(self, gateway: int) -> None:
        rng = random.Random(gateway)
        # The press whose page is open makes its shots itself.
        mine = [n for n in range(gateway, self._presses, GATEWAYS) if n != WATCHED]
        every_s = GATEWAYS / RATED
        due = time.perf_counter() + rng.random() * every_s
        with httpx.Client(base_url=self._address, timeout=60, trust_env=False) as client:
            turn = 0
            while not self._stop.wait(max(0.0, due - time.perf_counter())):
                due += every_s
                number = mine[turn % len(mine)]
                turn += 1
                began = time.perf_counter()
                send(client, f"P{number:03d}", 1_000_000 + turn, rng)
                self.waits.append(1000 * (time.perf_counter() - began))
                self.sent += 1


def send(client: httpx.Client, press: str, counter: int, rng: random.Random) -> None:
    one = shot(0, start_ms=now_ms(), rng=rng)
    one |= {"counter": counter, "at": as_text(now_ms())}
    body: dict[str, Any] = {"press": press, "mold": "M-113", "material": "PP-DEMO", "shots": [one]}
    answer = client.post("/api/v1/shots", json=body)
    assert answer.status_code == 200, answer.text


def to_screen(served: Served, page: Any, times: int) -> list[float]:
    """Milliseconds from sending a shot until the page of its press shows it."""
    rng = random.Random(9)
    found = []
    shown = "document.querySelector('[data-last-shot]')?.dataset.lastShot ?? ''"
    with httpx.Client(base_url=served.address, timeout=60, trust_env=False) as client:
        for n in range(times):
            counter = 5_000_000 + n
            began = time.perf_counter()
            send(client, f"P{WATCHED:03d}", counter, rng)
            while page.evaluate(shown) != str(counter):
                if time.perf_counter() - began > 30:
                    raise AssertionError(f"shot {counter} is not shown, but {page.evaluate(shown)}")
                page.wait_for_timeout(5)
            found.append(1000 * (time.perf_counter() - began))
            page.wait_for_timeout(1500 + rng.random() * 2000)
    return found


def usable(browser: Any, address: str, times: int) -> list[float]:
    """Milliseconds until the plant page answers to its reader, on a slowed processor, nothing kept."""
    found = []
    for _ in range(times):
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        page = context.new_page()
        slow = context.new_cdp_session(page)
        slow.send("Emulation.setCPUThrottlingRate", {"rate": _SLOWED})
        page.goto(address + "/", wait_until="load")
        while page.evaluate("document.documentElement.dataset.ready") != "1":
            page.wait_for_timeout(10)
        found.append(
            float(
                page.evaluate(
                    "Math.max(performance.getEntriesByType('navigation')[0].loadEventEnd,"
                    " performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0,"
                    " performance.getEntriesByName('ringtell-ready')[0]?.startTime ?? 0)"
                )
            )
        )
        context.close()
    return found


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--presses", type=int, default=500)
    asked.add_argument("--shots", type=int, default=800)
    asked.add_argument("--seconds", type=float, default=60.0)
    asked.add_argument("--data", default="", help="a folder to keep the filled database in")
    asked.add_argument("--postgresql", action="store_true", help="one started for the run instead of SQLite")
    given = asked.parse_args()
    if given.postgresql:
        _on_postgresql(given)
        return
    with tempfile.TemporaryDirectory() as name:
        data = Path(given.data or name) / "data"
        data.mkdir(exist_ok=True)
        if not (data / "ringtell.db").exists():
            fill(f"sqlite:///{data / 'ringtell.db'}", given.presses, given.shots)
        served = server(data.parent)
        served.start()
        try:
            judged(served)
            _measure(served, given.presses, given.seconds)
        finally:
            served.kill()


def _on_postgresql(given: argparse.Namespace) -> None:
    database = PostgresqlServer(durable=True)
    try:
        url = database.url(database.new_database())
        fill(url, given.presses, given.shots)
        with tempfile.TemporaryDirectory() as name:
            served = server_on(url, Path(name))
            served.start()
            try:
                judged(served)
                _measure(served, given.presses, given.seconds)
            finally:
                served.kill()
    finally:
        database.stop()


def _measure(served: Served, presses: int, seconds: float) -> None:
    say(f"plant page, quiet: {quantiles(page_times(served, '/', 21)[1:])}")
    say(f"press page, quiet: {quantiles(page_times(served, '/presses/P001', 21)[1:])}")
    with chromium() as browser:
        slowed = usable(browser, served.address, 5)
        say(f"plant page usable, processor slowed {_SLOWED} times: {quantiles(slowed)}")
        with Load(served.address, presses) as load:
            began = time.perf_counter()
            time.sleep(seconds / 3)
            say(f"plant page under load: {quantiles(page_times(served, '/', 21))}")
            page = browser.new_page()
            page.goto(served.address + f"/presses/P{WATCHED:03d}", wait_until="load")
            page.wait_for_timeout(3000)
            screen = to_screen(served, page, max(10, int(seconds)))
            say(f"shot to screen: {quantiles(screen)}")
            rate = load.sent / (time.perf_counter() - began)
        say(f"load: {rate:.1f} shots/s, answered in {quantiles(load.waits)}")
        say(f"memory of the server: { {k: round(v) for k, v in memory_mb(served.pid).items()} } MiB")


if __name__ == "__main__":
    main()
