"""How long the demo plant's pages take, asked one at a time over a kept-alive connection.

Run it as `python -m tests.benchmarks.bench_pages`. Times are seen from the asking process: the
server's own plus a few tenths of a millisecond of the loopback connection.
"""

import argparse
import statistics
import tempfile
import time
from pathlib import Path

from server.demo_scenario import plant_scenario
from tests.benchmarks.wire_client import Connection, get, server


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # its output


def paths() -> list[str]:
    """The pages and the trend call measured."""
    scenario = plant_scenario()
    press = scenario.presses[0].press
    return [
        "/",
        f"/presses/{press}",
        f"/molds/{scenario.presses[0].mold}",
        "/alarms",
        f"/api/v1/presses/{press}/trend?signal=cushion_mm",
    ]


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--times", type=int, default=21)
    asked.add_argument("--runs", type=int, default=3)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        served = server(Path(name), empty=False)
        served.start()
        try:
            connection = Connection(served.port)
            for path in paths():
                medians = [_median(connection, get(path), given.times) for _ in range(given.runs)]
                say(f"{path}: best {min(medians):.1f} ms, median {statistics.median(medians):.1f} ms")
            connection.close()
        finally:
            served.kill()


def _median(connection: Connection, request: bytes, times: int) -> float:
    waits = []
    for _ in range(times):
        start = time.perf_counter()
        connection.ask(request)
        waits.append(1000 * (time.perf_counter() - start))
    return statistics.median(waits)


if __name__ == "__main__":
    main()
