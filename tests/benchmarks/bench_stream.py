"""What a running server keeps up with: batches of 200 shots a press without end, each shot judged.

Run it as `python -m tests.benchmarks.bench_stream`. Unlike in `bench_databases`, where every press has one
batch and is judged once all are stored, shots are stored and judged at the same time, as in a plant. Twice
on each database: as fast as two senders can (what waits of a press is then judged together, so the pieces
grow), and at a given pace, where what counts is whether what waits stays short.
"""

import argparse
import itertools
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from server.app import Objects
from server.ingest.batch import ReadBatch
from server.store import intake
from tests.benchmarks.bench_databases import batches, databases, empty, objects_of, record_all, say

SIZE, SENDERS = 200, 2
#: Counters of what is sent begin behind those of the history.
FIRST = 5_000
LOOK_EVERY_S = 0.1
#: The aims, shots/s.
PACES = {"SQLite": 20_000, "PostgreSQL": 15_000}


class Kept(NamedTuple):
    """Shots/s stored and judged, shots a judgement took, presses that waited at each look."""

    stored: float
    judged: float
    piece: float
    waited: list[int]


def stream(objects: Objects, made: Sequence[ReadBatch], *, pace: float | None) -> Kept:
    """Send batches, at most `pace` shots/s together, and wait until every shot is judged."""
    turn, lock, start = iter(enumerate(made)), threading.Lock(), time.perf_counter()

    def send() -> None:
        while True:
            with lock:
                number, batch = next(turn, (0, None))
            if batch is None:
                return
            if pace:
                time.sleep(max(0.0, start + number * SIZE / pace - time.perf_counter()))
            objects.pipeline.take_in(batch, accept_unknown=True)

    before = _judgements(objects)
    senders = [threading.Thread(target=send) for _ in range(SENDERS)]
    for one in senders:
        one.start()
    waited = list(_waiting(objects, senders))
    stored_s = time.perf_counter() - start
    while _wait_now(objects):
        time.sleep(0.01)
    judged_s = time.perf_counter() - start
    shots = len(made) * SIZE
    return Kept(shots / stored_s, shots / judged_s, shots / (_judgements(objects) - before), waited)


def _judgements(objects: Objects) -> float:
    return objects.pipeline.measures.registry.get_sample_value("ringtell_evaluation_seconds_count") or 0.0


def _waiting(objects: Objects, senders: Sequence[threading.Thread]) -> Iterator[int]:
    """How many presses wait, again and again until everything is sent."""
    while any(one.is_alive() for one in senders):
        time.sleep(LOOK_EVERY_S)
        yield _wait_now(objects)


def _wait_now(objects: Objects) -> int:
    with objects.store.read() as connection:
        return len(intake.waiting_presses(connection))


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--presses", type=int, default=60)
    asked.add_argument("--rounds", type=int, default=20, help="batches of every press")
    asked.add_argument("--pace", type=float, help="shots/s of the second turn; else the aim")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name, databases(Path(name)) as found:
        for (kind, url), paced in itertools.product(found.items(), (False, True)):
            objects = objects_of(url)
            record_all(objects, given.presses)
            made = [
                batch
                for number in range(given.rounds)
                for batch in batches(given.presses, SIZE, first=FIRST + SIZE * number)
            ]
            objects.pipeline.start()
            pace = (given.pace or PACES[kind]) if paced else None
            kept = stream(objects, made, pace=pace)
            shown = f"at {pace:,.0f} shots/s" if pace else "as fast as they come"
            say(
                f"{kind}, batches of {SIZE}, {shown}: stored {kept.stored:,.0f}, judged {kept.judged:,.0f} "
                f"shots/s, {kept.piece:,.0f} shots a judgement; presses that waited, of {given.presses}: "
                f"median {statistics.median(kept.waited):.0f}, most {max(kept.waited)}"
            )
            empty(objects)


if __name__ == "__main__":
    main()
