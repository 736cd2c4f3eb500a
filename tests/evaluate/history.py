"""One press's history with everything evaluation has to cope with, and ways to bring it in."""

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS
from server.evaluate.press import evaluate_press
from server.ingest.batch import ReadBatch, ReadShot
from server.ingest.labels import Label
from server.ingest.receive import receive
from server.record.baseline_capture import capture
from server.store import evaluation as landed
from server.store import intake
from server.store.database import Store
from server.store.plant import need_press, put_press, put_settings
from server.store.records import (
    Baseline,
    Event,
    Study,
    Valve,
    add_baseline,
    add_event,
    add_study,
    add_valve,
)
from server.store.reported import BY_SHOTS
from server.store.tables import events, findings, press_states, rollups, scores

START_MS = 1_770_000_000_000
RECORD = 160
#: Shots of the whole history.
SHOTS = 384


def shots_of(press: str, *, count: int = SHOTS, seed: int = 11) -> list[ReadShot]:
    """Rounded shots: a restart, another lot, other set-points, wear, a bottoming stretch, gaps."""
    rng = np.random.default_rng(seed)
    at = START_MS + np.cumsum(rng.normal(20_000, 60, count).astype(np.int64))
    at[210:] += 1_200_000
    at[215] = at[214]
    size = np.round(80 + rng.normal(0, 0.03, count), 2)
    wear = np.maximum(0, np.arange(count) - 260) * 0.012
    cushion = size - 74 - wear + rng.normal(0, 0.03, count)
    cushion[330:336] = 0.05
    rounded = np.round(np.maximum(cushion, 0.0), 2)
    peak = np.round(1000 + rng.normal(0, 4, count))
    shots = []
    for k in range(count):
        label = Label(press, "M-1", "PP-DEMO", None, '{"hold":1}' if k < 240 else '{"hold":2}')
        given: dict[str, Any] = {
            "shot_size_mm": float(size[k]),
            "cushion_mm": float(rounded[k]),
            "peak_pressure_bar": None if k % 41 == 0 else float(peak[k]),
            "fill_time_s": 1.4,
            "recovery_time_s": float(np.round(6 + rng.normal(0, 0.05), 2)),
            "part_weight_g": float(np.round(41.8 + rng.normal(0, 0.05), 2)),
            "lot": "L1" if k < 200 else "L2",
            "box": f"B{k // 100}",
        }
        values = tuple(given.get(name) for name in SHOT_COLUMNS)
        shots.append(ReadShot(k, label, int(at[k]), k + 1 if k < 300 else k - 299, values))
    return shots


def record_of(shots: Sequence[ReadShot]) -> dict[str, Any]:
    """The baseline document of the first RECORD shots."""
    part = shots[:RECORD]
    columns: dict[str, Any] = {
        "at_ms": np.array([shot.at_ms for shot in part]),
        "counter": np.array([shot.counter for shot in part]),
    }
    for position, name in enumerate(SHOT_COLUMNS):
        if name.endswith(("_mm", "_bar", "_s", "_g")):
            columns[name] = np.array([shot.values[position] for shot in part], dtype=float)
    document: dict[str, Any] = capture(columns, dose_lag=0, screw_diameter_mm=None).document
    return document


@dataclasses.dataclass
class Bringing:
    """A press into which the history is brought step by step."""

    store: Store
    press: str
    document: dict[str, Any]

    def __post_init__(self) -> None:
        self.store.write(lambda connection: put_press(connection, self.press, {}, now_ms=START_MS))
        with self.store.read() as connection:
            self.press_id = need_press(connection, self.press).press_id

    def bring(self, shots: Sequence[ReadShot]) -> None:
        batch = ReadBatch(len(shots), list(shots), [])
        self.store.write(
            lambda connection: receive(connection, batch, accept_unknown=False, now_ms=START_MS + 1)
        )

    def approve(self, shots: Sequence[ReadShot]) -> None:
        """The record comes into force, whenever somebody gets to it."""
        to_ms = shots[RECORD - 1].at_ms

        def job(connection: sa.Connection) -> None:
            add_baseline(
                connection,
                Baseline(
                    press_id=self.press_id, baseline_no=0, mold="M-1", material="PP-DEMO", setup=None,
                    from_ms=shots[0].at_ms, to_ms=to_ms, shots=RECORD, state="approved",
                    signals=self.document, note="", captured_by="t", captured_ms=0,
                ),
            )  # fmt: skip
            intake.add(
                connection, self.press_id, earliest_ms=to_ms, shots=0, reason="rewrite", now_ms=START_MS
            )

        self.store.write(job)

    def note_setting(self, shots: Sequence[ReadShot]) -> None:
        """A back-dated event between two shots."""
        at_ms = shots[280].at_ms + 5

        def job(connection: sa.Connection) -> None:
            add_event(
                connection,
                Event(
                    press_id=self.press_id, at_ms=at_ms, event_no=0, kind="setting", setting="speed",
                    from_value="", to_value="", lot="", note="", author="t", recorded_ms=0,
                ),
            )  # fmt: skip
            intake.add(
                connection, self.press_id, earliest_ms=at_ms, shots=0, reason="rewrite", now_ms=START_MS
            )

        self.store.write(job)

    def note_checks(self, shots: Sequence[ReadShot]) -> None:
        """A valve fitted amid the history, and checks of it, each between two shots."""
        fitted, checked, again, closed = (shots[k].at_ms + 7 for k in (130, 250, 350, 370))

        def job(connection: sa.Connection) -> None:
            put_settings(connection, {"valve_life_shots": 1000.0})
            add_valve(
                connection,
                Valve(
                    press_id=self.press_id, valve_no=0, fitted_ms=fitted, removed_ms=None,
                    style="sliding_ring", part_number="", material_pair="", nominal_clearance_mm=None,
                    shots_before=90, removed_reason="", found="", note="", author="t",
                ),
            )  # fmt: skip
            weights = {"weights_g": [40.0, 40.1, 39.9, 40.0, 40.1], "limit_pct": 5.0}
            crept = {"creep_mm_s": 0.4, "creep_interval": [0.3, 0.5]}
            proven = {"action": "setting", "counts": True}
            for at_ms, kind, asked, result, verdict in (
                (checked, "short-shot", weights, {"cv_pct": 0.2}, "within"),
                (again, "drift-check", {}, crept, "within"),
                (closed, "proof", proven, {}, "no_change"),
            ):
                study = Study(self.press_id, 0, kind, at_ms, "M-1", asked, result, verdict, "t")
                add_study(connection, study)
            intake.add(
                connection, self.press_id, earliest_ms=fitted, shots=0, reason="rewrite", now_ms=START_MS
            )

        self.store.write(job)

    def evaluate(self, *, killed: bool = False, piece: int = 1 << 40) -> bool:
        """One evaluation; `killed`: it is computed and all but committed, then lost."""
        with self.store.read() as connection:
            one = evaluate_press(connection, self.press_id, piece=piece)
        if one is None:
            return False

        def job(connection: sa.Connection) -> None:
            landed.apply(connection, one, now_ms=START_MS + 2)
            if killed:
                raise KilledError

        try:
            self.store.write(job)
        except KilledError:
            return False
        return True

    def settle(self, *, piece: int = 1 << 40) -> None:
        while self.evaluate(piece=piece):
            pass

    def results(self) -> dict[str, list[tuple[Any, ...]]]:
        """Everything evaluation stored, in the order of the keys, without the press."""
        found: dict[str, list[tuple[Any, ...]]] = {}
        with self.store.read() as connection:
            for table in (findings, scores, rollups, press_states):
                left_out = {"press_id", "last_arrival_ms", "last_shot_ms", "last_counter"}
                columns = [c for c in table.c if c.name not in left_out]
                rows = connection.execute(
                    sa.select(*columns).where(table.c.press_id == self.press_id).order_by(*columns[:5])
                )
                found[table.name] = [tuple(_exact(value) for value in row) for row in rows]
            reported = sa.select(events.c.at_ms, events.c.setting, events.c.from_value, events.c.to_value)
            mine = (events.c.press_id == self.press_id, events.c.author == BY_SHOTS)
            rows = connection.execute(reported.where(*mine).order_by(events.c.at_ms))
            found["events"] = [tuple(row) for row in rows]
        return found


class KilledError(Exception):
    """Stands for the process dying before its commit."""


def _exact(value: Any) -> Any:
    """Floats as their bits, so that equal means equal to the last one."""
    if isinstance(value, float):
        return value.hex()
    return bytes(value) if isinstance(value, memoryview) else value
