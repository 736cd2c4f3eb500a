"""Looks after what is stored: `check` compares it with what it must be."""

import contextlib
import dataclasses
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import sqlalchemy as sa

from server.contract import SHOT_NUMBERS, SIGNALS
from server.evaluate.carry import CODEC, decode
from server.evaluate.summaries import sum_up
from server.store import engine, intake, soundness
from server.store.database import Store
from server.store.evaluation import DAY, HOUR, TEN_MINUTES, merge_summaries, merged_sketches
from server.store.plant import Press, all_presses
from server.store.quarantine import counts_by_press
from server.store.shots import count_shots, read_columns
from server.store.thinning import floor_of
from server.valve.signals import Before, derive

#: Ten-minute buckets looked at on each press unless told otherwise.
SAMPLE = 20
#: Summaries of the same shots agree to this share: an hour is merged from parts in one order always.
_TOLERANCE = 1e-9

Numbers = tuple[int, float, float, float, float]


@dataclasses.dataclass(frozen=True)
class Report:
    """What a check found: a line a press, and what is wrong."""

    lines: tuple[str, ...]
    faults: tuple[str, ...]


@contextlib.contextmanager
def open_store(url: str, *, upgraded: bool) -> Iterator[Store]:
    """A store for one command, its schema brought up to this version first where wanted."""
    if upgraded:
        engine.upgrade(url)
    store = Store(url)
    try:
        yield store
    finally:
        store.close()


def check(store: Store, *, sample: int = SAMPLE) -> Report:
    """The file and its references, then press by press: counts, checkpoints, summaries on a sample.

    Each press is looked at in a snapshot of its own, so that none is held for minutes.
    """
    with store.read() as connection:
        faults = [*soundness.damage(connection), *soundness.orphans(connection)]
        presses = all_presses(connection)
        set_aside = dict(counts_by_press(connection, kind="poison"))
    lines = []
    for press in presses:
        with store.read() as connection:
            line, wrong = _press(connection, press, sample=sample)
        if aside := set_aside.get(press.press):
            line += f", {aside:,} set aside (ringtell db take-back --press {press.press})"
        lines.append(line)
        faults += [f"{press.press}: {one}" for one in wrong]
    return Report(tuple(lines), tuple(faults))


def _press(connection: sa.Connection, press: Press, *, sample: int) -> tuple[str, list[str]]:
    shots = count_shots(connection, press.press_id)
    waiting = intake.pending(connection, press.press_id)
    faults, decoded = _checkpoints(connection, press.press_id)
    looked_at = 0
    if not waiting:
        found, looked_at = _summaries(connection, press, sample=sample)
        faults += found
    line = (
        f"{press.press}: {shots:,} shots, {waiting:,} waiting for evaluation, {decoded:,} checkpoints read,"
        f" {looked_at:,} summaries computed again"
    )
    return line, faults


def _checkpoints(connection: sa.Connection, press_id: int) -> tuple[list[str], int]:
    """Every checkpoint of this version's codec gives back a carry; older ones are passed over anyway."""
    faults, decoded = [], 0
    for at_ms, codec, state in soundness.checkpoints_of(connection, press_id):
        if codec != CODEC:
            continue
        try:
            decode(state)
        except Exception as error:  # whatever is wrong with the bytes
            faults.append(f"the checkpoint at {at_ms} cannot be read ({type(error).__name__}: {error})")
        decoded += 1
    return faults, decoded


def _summaries(connection: sa.Connection, press: Press, *, sample: int) -> tuple[list[str], int]:
    """Summaries of a spread of ten-minute buckets against their shots, and of the hours and days above.

    Before a press's floor the shots are thinned out: there is nothing left to compute them from.
    """
    floor = floor_of(connection, press.press_id)
    every = soundness.bucket_times(connection, press.press_id, grain=TEN_MINUTES)
    times = [one for one in every if floor is None or one >= floor.floor_ms]
    chosen = sorted({times[int(k)] for k in np.linspace(0, len(times) - 1, sample)} if times else ())
    faults = []
    for bucket_ms in chosen:
        kept = soundness.bucket(connection, press.press_id, bucket_ms, grain=TEN_MINUTES)
        again = [one for one in _computed(connection, press, bucket_ms) if _equal(kept.kept, one.numbers)]
        if not again:
            faults.append(f"the ten minutes from {bucket_ms} are not the summary of their shots")
        elif not any(_same_spread(kept.sketches, one.sketches) for one in again):
            faults.append(f"the spread kept of the ten minutes from {bucket_ms} is not that of their shots")
    for finer, grain in ((TEN_MINUTES, HOUR), (HOUR, DAY)):
        for bucket_ms in sorted({one - one % (grain * 1000) for one in chosen}):
            whole = soundness.bucket(connection, press.press_id, bucket_ms, grain=grain)
            parts = _merged(connection, press.press_id, bucket_ms, finer=finer, grain=grain)
            if not _equal(whole.kept, parts.numbers):
                faults.append(f"the {grain} s from {bucket_ms} are not the sum of their parts")
            elif not _same_spread(whole.sketches, parts.sketches):
                faults.append(f"the spread kept of the {grain} s from {bucket_ms} is not that of its parts")
    return faults, len(chosen)


class _Summary(NamedTuple):
    numbers: dict[tuple[int, str], Numbers]
    sketches: dict[tuple[int, str], bytes | None]


def _computed(connection: sa.Connection, press: Press, bucket_ms: int) -> Iterator[_Summary]:
    """The bucket from its shots, at each dose lag it may have been evaluated with."""
    before = read_columns(connection, press.press_id, to_ms=bucket_ms, limit=1, newest=True)
    end_ms = bucket_ms + TEN_MINUTES * 1000
    shots = read_columns(connection, press.press_id, from_ms=bucket_ms, to_ms=end_ms, names=SHOT_NUMBERS)
    for lag in (0, 1):
        start = Before()
        if len(before["at_ms"]):
            start = derive(before, dose_lag=lag, screw_diameter_mm=press.screw_diameter_mm).after
        signals = derive(shots, dose_lag=lag, screw_diameter_mm=press.screw_diameter_mm, before=start).signals
        values = np.column_stack([signals[name] for name in SIGNALS])
        rows = sum_up(shots["at_ms"], shots["setup_id"], values).rows
        yield _Summary(
            {
                (row["setup_id"], row["signal"]): (row["n"], row["mean"], row["m2"], row["low"], row["high"])
                for row in rows
            },
            {(row["setup_id"], row["signal"]): row["sketch"] for row in rows},
        )


def _merged(connection: sa.Connection, press_id: int, bucket_ms: int, *, finer: int, grain: int) -> _Summary:
    merged: dict[tuple[int, str], Numbers] = {}
    parts: dict[tuple[int, str], list[bytes | None]] = {}
    for part_ms in range(bucket_ms, bucket_ms + grain * 1000, finer * 1000):
        part = soundness.bucket(connection, press_id, part_ms, grain=finer)
        for key, numbers in part.kept.items():
            merged[key] = merge_summaries(merged[key], numbers) if key in merged else numbers
            parts.setdefault(key, []).append(part.sketches[key])
    return _Summary(merged, dict(zip(parts, merged_sketches(list(parts.values())), strict=True)))


def _same_spread(
    kept: dict[tuple[int, str], bytes | None], again: dict[tuple[int, str], bytes | None]
) -> bool:
    """Whether every sketch that is kept is the one computed: they are alike in every byte, or wrong."""
    return all(one is None or one == again[key] for key, one in kept.items())


def _equal(one: dict[tuple[int, str], Numbers], other: dict[tuple[int, str], Numbers]) -> bool:
    return one.keys() == other.keys() and all(
        one[key][0] == other[key][0]
        and all(
            math.isclose(a, b, rel_tol=_TOLERANCE, abs_tol=1e-12)
            for a, b in zip(one[key][1:], other[key][1:], strict=True)
        )
        for key in one
    )
