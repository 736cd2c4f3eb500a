"""Eight hours at the rated load (500 presses, 50 shots/s), compressed: are memory, handles and latency flat?

`nice python -m tests.benchmarks.soak --minutes 5` sends as fast as the server takes, up to 1.44 million
shots, from `--gateways` connections, each shot dated as a plant would; every few seconds it reads what the
process holds. The slope of each over the second half comes with its 95 % interval (least squares, t).
"""

import argparse
import dataclasses
import itertools
import json
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import httpx
import numpy as np
from scipy import stats

from server.clock import as_text, now_ms
from tests.processes import Served

PRESSES, RATED, HOURS = 500, 50, 8
SHOTS = RATED * 3600 * HOURS
CYCLE_MS = 10_000
#: Each press's shots in one request, as a gateway of many presses sends them.
PER_PRESS, PER_REQUEST = 4, 50


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


@dataclasses.dataclass(frozen=True)
class Sample:
    """What the process held at one moment."""

    at_s: float
    shots: int
    memory_mb: float
    own_mb: float
    handles: int
    threads: int
    p50_ms: float
    p99_ms: float
    pending: int


class Load:
    """Gateways that send whole rounds of the plant, and what they waited for each answer."""

    def __init__(self, address: str, *, most: int, until: float) -> None:
        self._address, self._most, self._until = address, most, until
        self._rounds = itertools.count()
        self._start_ms = now_ms() - HOURS * 3_600_000
        self._lock = threading.Lock()
        self.shots = 0
        self.refused = 0
        self._waits: list[float] = []

    def run(self, gateway: int, gateways: int) -> None:
        """One gateway with its share of the presses."""
        mine = [f"P{i:03}" for i in range(gateway, PRESSES, gateways)]
        rng = np.random.default_rng(gateway)
        with httpx.Client(base_url=self._address, timeout=60, trust_env=False) as client:
            for number in itertools.count():
                for part in _parts(mine):
                    if time.monotonic() > self._until or self.shots >= self._most:
                        return
                    self._send(client, self._body(part, number, rng), PER_PRESS * len(part))

    def _body(self, presses: Sequence[str], number: int, rng: np.random.Generator) -> str:
        lines = []
        for press in presses:
            for k in range(PER_PRESS):
                n = number * PER_PRESS + k
                size = round(80 + float(rng.normal(0, 0.03)), 2)
                lines.append(
                    f'{{"press":"{press}","mold":"M-1","counter":{n + 1},'
                    f'"at":"{as_text(self._start_ms + n * CYCLE_MS)}","shot_size_mm":{size},'
                    f'"cushion_mm":{round(size - 74 + float(rng.normal(0, 0.04)), 2)},'
                    f'"peak_pressure_bar":{round(1000 + float(rng.normal(0, 4)))},"fill_time_s":1.4}}'
                )
        return "\n".join(lines)

    def _send(self, client: httpx.Client, body: str, shots: int) -> None:
        while True:
            began = time.monotonic()
            answer = client.post(
                "/api/v1/shots", content=body, headers={"Content-Type": "application/x-ndjson"}
            )
            if answer.status_code == 200:
                break
            assert answer.status_code == 503, answer.text
            with self._lock:
                self.refused += 1
            time.sleep(float(answer.headers["Retry-After"]))
        told = answer.json()
        assert told["stored"] == shots, told
        with self._lock:
            self.shots += shots
            self._waits.append((time.monotonic() - began) * 1000)

    def waits(self) -> list[float]:
        """Milliseconds of the requests since the last look."""
        with self._lock:
            taken, self._waits = self._waits, []
        return taken


def _parts(names: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(names), PER_REQUEST):
        yield names[start : start + PER_REQUEST]


def status_of(pid: int) -> dict[str, float]:
    """What the kernel says of a process. RssAnon is its own memory, without the mapped database."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    found = dict(line.split(":", 1) for line in lines)
    return {name: float(found[name].split()[0]) for name in ("VmRSS", "RssAnon", "Threads")}


def look(address: str, pid: int, load: Load, began: float) -> Sample:
    """The process's own numbers, as a watchdog and the kernel tell them."""
    kernel = status_of(pid)
    text = httpx.get(f"{address}/metrics", timeout=60, trust_env=False).text
    found = {
        line.split(" ")[0]: float(line.split(" ")[1])
        for line in text.splitlines()
        if line and not line.startswith("#") and "{" not in line
    }
    waits = load.waits() or [float("nan")]
    return Sample(
        at_s=time.monotonic() - began,
        shots=load.shots,
        memory_mb=kernel["VmRSS"] / 1e3,
        own_mb=kernel["RssAnon"] / 1e3,
        handles=int(found["process_open_fds"]),
        threads=int(kernel["Threads"]),
        p50_ms=float(np.percentile(waits, 50)),
        p99_ms=float(np.percentile(waits, 99)),
        pending=int(found["ringtell_shots_pending"]),
    )


def slope(samples: Sequence[Sample], name: str) -> str:
    """Change per million shots over the second half, with its 95 % interval."""
    half = samples[len(samples) // 2 :]
    x = np.array([one.shots for one in half]) / 1e6
    y = np.array([getattr(one, name) for one in half], dtype=float)
    known = np.isfinite(y)
    if np.ptp(y[known]) == 0:
        return f"{name:10} {y[known][0]:9.2f} throughout: flat"
    found = stats.linregress(x[known], y[known])
    wide = float(stats.t.ppf(0.975, int(known.sum()) - 2)) * float(found.stderr)
    verdict = "flat" if abs(found.slope) <= wide else "moves"
    change = f"{found.slope:+9.2f} ± {wide:.2f} per million shots"
    return f"{name:10} {np.nanmean(y):9.2f} on average, {change}: {verdict}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--gateways", type=int, default=4)
    parser.add_argument("--every", type=float, default=5.0, metavar="SECONDS")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        settings = {
            "RINGTELL_DATABASE_URL": f"sqlite:///{folder / 'plant.db'}",
            "RINGTELL_NO_LOGIN": "1",
            "RINGTELL_ACCEPT_UNKNOWN": "1",
        }
        served = Served("serve", folder=folder, settings=settings)
        served.start()
        try:
            samples = soak(served.address, served.pid, given.minutes * 60, given.gateways, given.every)
        finally:
            code = served.stop()
        size_mb = (folder / "plant.db").stat().st_size / 1e6
        say(f"ended with code {code}; the database holds {size_mb:,.0f} MB")
    report(samples)


def soak(address: str, pid: int, seconds: float, gateways: int, every_s: float) -> list[Sample]:
    """Send for so long, looking every few seconds."""
    began = time.monotonic()
    load = Load(address, most=SHOTS, until=began + seconds)
    threads = [threading.Thread(target=load.run, args=(i, gateways)) for i in range(gateways)]
    for thread in threads:
        thread.start()
    samples: list[Sample] = []
    while any(thread.is_alive() for thread in threads):
        threading.Event().wait(every_s)
        samples.append(look(address, pid, load, began))
        say(json.dumps({key: round(value, 2) for key, value in dataclasses.asdict(samples[-1]).items()}))
    for thread in threads:
        thread.join()
    say(f"{load.refused} requests were told to come back")
    return samples


def report(samples: Sequence[Sample]) -> None:
    last = samples[-1]
    rate = last.shots / last.at_s
    say(f"{last.shots:,} shots in {last.at_s:.0f} s: {rate:,.0f}/s, {rate / RATED:.0f} times the rated load")
    say(f"that is {last.shots / (RATED * 3600):.1f} hours of the plant")
    for name in ("memory_mb", "own_mb", "handles", "threads", "p50_ms", "p99_ms"):
        say(slope(samples, name))


if __name__ == "__main__":
    main()
