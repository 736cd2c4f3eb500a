"""A press with a long history and an approved startup record, put straight into a store."""

import random
from typing import Any

import sqlalchemy as sa

from server.clock import as_text, now_ms
from server.contract import SHOT_COLUMNS
from server.ingest.batch import ReadBatch, ReadShot
from server.ingest.labels import Label
from server.ingest.receive import receive
from server.record.baselines import capture_baseline
from server.store.database import Store
from server.store.plant import need_press
from tests.benchmarks.wire_client import shot

CYCLE_MS = 20_000
RECORD = 600


def rows_of(press: str, count: int, *, start_ms: int, first: int = 0, seed: int = 5) -> list[ReadShot]:
    """Rounded shots with a slow wear and a lot every 5,000."""
    rng = random.Random(seed)
    label = Label(press, "M-113", "PP-DEMO", None, None)
    made = []
    for n in range(first, first + count):
        given: dict[str, Any] = shot(n, start_ms=start_ms, rng=rng)
        del given["at"], given["counter"]
        given["lot"] = f"L{n // 5_000}"
        given["cushion_mm"] = max(0.0, round(given["cushion_mm"] - n * 2e-5, 2))
        at_ms = start_ms + n * CYCLE_MS + rng.randrange(-60, 60)
        made.append(ReadShot(n, label, at_ms, n + 1, tuple(given.get(name) for name in SHOT_COLUMNS)))
    return made


def watched_press(store: Store, press: str, count: int) -> int:
    """Bring the history in and approve its record; the evaluation is left to others."""
    start_ms = now_ms() - count * CYCLE_MS - 86_400_000
    shots = rows_of(press, count, start_ms=start_ms)

    def job(connection: sa.Connection) -> int:
        receive(connection, ReadBatch(count, shots, []), accept_unknown=True, now_ms=now_ms())
        known = need_press(connection, press)
        capture_baseline(
            connection,
            known,
            {
                "mold": "M-113",
                "from": as_text(shots[0].at_ms),
                "to": as_text(shots[RECORD].at_ms),
                "approve": True,
            },
            who="benchmark",
            now_ms=now_ms(),
        )
        return known.press_id

    return store.write(job)
