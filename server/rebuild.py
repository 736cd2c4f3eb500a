"""Everything computed from the shots, computed again: many presses at a time, gone on with after a stop.

Each press goes through the very path a live shot takes (`Pipeline.evaluate_one`): a turn, a piece computed in
one snapshot by a worker, landed in one transaction. What is left to do stands as intake rows, so that a stop
or a kill loses one piece at most, and the bits are those of the live path.
"""

import dataclasses
import os
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import Final

import sqlalchemy as sa

from server.errors import RingtellError
from server.pipeline import Pipeline
from server.store import intake
from server.store.database import Store
from server.store.plant import Press
from server.store.shots import count_shots

#: Seconds until a press that another server works on is looked at again.
_ELSEWHERE_S: Final = 0.05


@dataclasses.dataclass(frozen=True)
class Begun:
    """What a rebuild is about: presses by id, how many shots are left, and whether it goes on with one."""

    press_ids: tuple[int, ...]
    shots: int
    goes_on: bool


def local_workers() -> int:
    """As many as there are cores for this process."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def begin(store: Store, presses: Sequence[Press], *, now_ms: int, afresh: bool) -> Begun:
    """Note what has to be computed again. A rebuild that was cut short is gone on with, unless `afresh`."""
    wanted = [press.press_id for press in presses]

    def job(connection: sa.Connection) -> Begun:
        left = intake.rebuilding(connection)
        under_way = [press_id for press_id in wanted if press_id in left]
        if under_way and not afresh:
            return Begun(tuple(under_way), sum(left[press_id] for press_id in under_way), True)
        total = 0
        for press_id in wanted:
            shots = count_shots(connection, press_id)
            total += shots
            intake.add(connection, press_id, earliest_ms=0, shots=shots, reason=intake.REBUILD, now_ms=now_ms)
        return Begun(tuple(wanted), total, False)

    return store.write(job)


def run(
    pipeline: Pipeline, begun: Begun, *, workers: int, report: Callable[[int], object] = lambda _: None
) -> None:
    """Evaluate every press, `workers` at a time; `report` hears how many shots each step dealt with.

    RingtellError names the presses that failed, after the others are done.
    """
    stop = threading.Event()
    failed: dict[int, Exception] = {}
    with ThreadPoolExecutor(workers, thread_name_prefix="ringtell-rebuild") as pool:
        running = {
            pool.submit(_one, pipeline, press_id, report, stop): press_id for press_id in begun.press_ids
        }
        try:
            for done in as_completed(running):
                error = done.exception()
                if isinstance(error, Exception):
                    failed[running[done]] = error
        except BaseException:
            stop.set()
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    if failed:
        told = "; ".join(f"press {press_id}: {type(e).__name__}: {e}" for press_id, e in failed.items())
        raise RingtellError(f"{len(failed)} of {len(begun.press_ids)} presses failed: {told[:1000]}")


def _one(pipeline: Pipeline, press_id: int, report: Callable[[int], object], stop: threading.Event) -> None:
    before = _left(pipeline.store, press_id)
    while before and not stop.is_set():
        worked = pipeline.evaluate_one(press_id)
        left = _left(pipeline.store, press_id)
        report(before - left)
        before = left
        if not worked:  # another server is at it
            time.sleep(_ELSEWHERE_S)


def _left(store: Store, press_id: int) -> int:
    with store.read() as connection:
        return intake.pending(connection, press_id)
