"""Shots per second through `read_body` on one core, by form of the body. A script, not a test.

Run it as `python tests/benchmarks/bench_wire.py`.
"""

import json
import random
import time
from collections.abc import Callable
from typing import Any

from server.ingest.wire import ReadBatch, read_body

BATCH = 500
RECEIVED_MS = 1_780_000_000_000
REPEATS = 60


def shot(number: int, rng: random.Random) -> dict[str, Any]:
    """A shot of twelve fields."""
    return {
        "counter": 100_000 + number,
        "at": f"2026-04-01T06:{number // 60:02d}:{number % 60:02d}.{number % 1000:03d}Z",
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


def rate(read: Callable[[], ReadBatch]) -> float:
    """Shots per second, the best of many batches: the machine's noise only ever adds time."""
    best = min(_seconds(read) for _ in range(REPEATS))
    return BATCH / best


def _seconds(read: Callable[[], ReadBatch]) -> float:
    start = time.perf_counter()
    batch = read()
    seconds = time.perf_counter() - start
    assert batch.received == BATCH
    return seconds


def bodies() -> dict[str, tuple[str, bytes, dict[str, str]]]:
    """Name → content type, body, query."""
    rng = random.Random(1)
    shots = [shot(n, rng) for n in range(BATCH)]
    head = {"press": "P07", "mold": "M-113", "material": "PP-DEMO", "lot": "A1"}
    mixed = [{"press": f"P{n % 200:03d}", "mold": f"M-{n % 40}", **s} for n, s in enumerate(shots)]
    inches = {**head, "units": {"length": "in", "pressure": "psi"}}
    own = [{**s, "mold_temp_c": 45.5} for s in shots]
    one_bad = [*shots[:-1], {**shots[-1], "cushion_mm": "thick"}]
    names = list(mixed[0])
    table = "\n".join([",".join(names), *(",".join(str(s[n]) for n in names) for s in mixed)])
    form = "application/json"
    lines = "\n".join(json.dumps(s) for s in mixed).encode()
    return {
        "json, one press": (form, json.dumps({**head, "shots": shots}).encode(), {}),
        "json, interleaved": (form, json.dumps({"shots": mixed}).encode(), {}),
        "json, inch and psi": (form, json.dumps({**inches, "shots": shots}).encode(), {}),
        "json, own numbers": (form, json.dumps({**head, "shots": own}).encode(), {}),
        "json, one bad row": (form, json.dumps({**head, "shots": one_bad}).encode(), {}),
        "ndjson": ("application/x-ndjson", lines, {}),
        "csv": ("text/csv", table.encode(), {}),
    }


def main() -> None:
    for name, (content_type, body, query) in bodies().items():

        def read(
            body: bytes = body, content_type: str = content_type, query: dict[str, str] = query
        ) -> ReadBatch:
            return read_body(
                body,
                content_type=content_type,
                content_encoding=None,
                query=query,
                received_ms=RECEIVED_MS,
                max_bytes=1 << 24,
                max_expanded_bytes=1 << 26,
                max_rows=50_000,
            )

        print(f"{name:20} {rate(read):10,.0f} shots/s  {len(body) / BATCH:5.0f} bytes a shot")  # noqa: T201  # its output


if __name__ == "__main__":
    main()
