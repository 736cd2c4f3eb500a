"""What surrounds the shots of one press while they are evaluated: configuration, baselines, events."""

import dataclasses
import functools
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import RULED_SIGNALS, WATCHED_LEVELS
from server.derived.alarm_budget import plan_of_record
from server.evaluate.log_doubts import STICKING, STUCK_STEPS
from server.evaluate.prior import Mark
from server.evaluate.watching import DOSE_ONLY, EVERY_LEVEL, WatchedRecord
from server.maths.alarm_budget import Plan
from server.store.plant import Press, Setup
from server.valve.evidence import SIGNALS as EVIDENCE_SIGNALS
from server.valve.evidence import Reference

#: A cushion at or below this is the screw at its end (common practice, no source), unless the press says.
BOTTOM_MM = 0.3

NO_CHANGE, LOT_CHANGE, SETTING_CHANGE = 0, 1, 2


@dataclasses.dataclass(frozen=True)
class Watch:
    """A baseline in force, ready to compare shots with."""

    baseline_no: int
    mold: str
    material: str
    setup: str | None
    to_ms: int
    dose_lag: int
    cycle_ms: float
    center: NDArray[np.float64]
    sigma: NDArray[np.float64]
    reference: Reference
    missing: tuple[str, ...]
    watched: WatchedRecord
    plan: Plan
    #: Readings that do not stay the same for long when all is well, in the order of STICKING.
    scatters: NDArray[np.bool_]
    #: Set-points at the end of the record, canonical JSON; None: kept before they were.
    setpoints: str | None = None

    def fits(self, setup: Setup) -> bool:
        return (
            self.mold == setup.mold
            and self.material == setup.material
            and (self.setup is None or self.setup == setup.setup)
        )


@dataclasses.dataclass(frozen=True)
class Context:
    """Everything evaluation knows besides the shots."""

    press: Press
    setups: Mapping[int, Setup]
    watches: Sequence[Watch]
    #: Times (sorted) at which something known was changed, with NO_CHANGE, LOT_… or SETTING_CHANGE.
    changes: Sequence[tuple[int, int]]
    valve_changes_ms: Sequence[int]
    #: Times (sorted) after which levels are learnt anew by the charts, with EVERY_LEVEL or DOSE_ONLY.
    unsettling: Sequence[tuple[int, int]]
    prior_log_odds: float
    #: Valves fitted and checks made, in order of time, and how many shots a valve is said to last (0:
    #: not said).
    marks: Sequence[Mark]
    valve_life_shots: float
    #: (shift, slope) this plant's own inspections put on the score's log-odds; (0, 1): none.
    recalibration: tuple[float, float]
    rules: Sequence[tuple[str, int | None]]
    model: Mapping[str, Any]

    @property
    def bottom_mm(self) -> float:
        return BOTTOM_MM if self.press.bottom_mm is None else self.press.bottom_mm

    def watch_numbers(self, at_ms: NDArray[np.int64], setup_ids: NDArray[np.int64]) -> NDArray[np.int64]:
        """Which watch (its position + 1, 0: none) each shot is compared with.

        A baseline holds from its last shot on; one for this very setup goes before one for all.
        """
        chosen = np.zeros(len(at_ms), dtype=np.int64)
        for setup_id in np.unique(setup_ids):
            setup = self.setups.get(int(setup_id))
            if setup is None:
                continue
            here = setup_ids == setup_id
            for special in (False, True):
                for position, watch in enumerate(self.watches):
                    if watch.fits(setup) and (watch.setup is not None) == special:
                        chosen[here & (at_ms > watch.to_ms)] = position + 1
        return chosen


def watch_of(row: Mapping[str, Any], press: Press, *, false_alarms_a_week: float) -> Watch:
    """A watch from a baseline row, its charts planned for a rate of false alarms."""
    return dataclasses.replace(
        _recorded(row["signals"], press.dose_lag, press.bottom_mm, false_alarms_a_week),
        baseline_no=row["baseline_no"],
        mold=row["mold"],
        material=row["material"],
        setup=row["setup"],
        to_ms=row["to_ms"],
    )


# A record never changes once it is in force, and is read again with every shot of its press.
@functools.lru_cache(maxsize=1_000)
def _recorded(
    signals_text: str, dose_lag: int | None, bottom_mm: float | None, false_alarms_a_week: float
) -> Watch:
    """The watch of a record's kept signals, not yet of any press; its arrays are never written to."""
    kept = json.loads(signals_text)
    signals: Mapping[str, Mapping[str, float]] = kept["signals"]

    def numbers(names: Sequence[str], field: str) -> NDArray[np.float64]:
        found = np.array([_number(signals.get(name, {}).get(field)) for name in names])
        found.setflags(write=False)
        return found

    watched = WatchedRecord(numbers(WATCHED_LEVELS, "center"), numbers(WATCHED_LEVELS, "sigma"))
    cycle_ms = float(kept.get("cycle_ms") or 0.0)
    return Watch(
        baseline_no=0,
        mold="",
        material="",
        setup=None,
        to_ms=0,
        dose_lag=dose_lag if dose_lag is not None else int(kept.get("dose_lag") or 0),
        cycle_ms=cycle_ms,
        center=numbers(RULED_SIGNALS, "center"),
        sigma=numbers(RULED_SIGNALS, "sigma"),
        reference=Reference(
            center=numbers(EVIDENCE_SIGNALS, "center"),
            sigma=numbers(EVIDENCE_SIGNALS, "sigma"),
            step=numbers(EVIDENCE_SIGNALS, "step"),
            bottom_mm=BOTTOM_MM if bottom_mm is None else bottom_mm,
            within=numbers(EVIDENCE_SIGNALS, "sigma_within"),
        ),
        missing=tuple(name for name in EVIDENCE_SIGNALS if name not in signals),
        watched=watched,
        scatters=_scatters(*(numbers(STICKING, field) for field in ("center", "sigma", "step"))),
        setpoints=kept.get("setpoints"),
        plan=plan_of_record(signals, per_press=false_alarms_a_week, cycle_s=cycle_ms / 1000.0),
    )


def _scatters(
    center: NDArray[np.float64], sigma: NDArray[np.float64], step: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which signals scatter by more than their display's step, so that equal readings are no accident."""
    known = np.isfinite(sigma) & (sigma > 1e-6 * np.abs(center))
    return np.asarray(known & (sigma >= STUCK_STEPS * np.nan_to_num(step)))


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def changes_of(events: Sequence[Mapping[str, Any]]) -> list[tuple[int, int]]:
    """Known changes among the events. A raised shot size moves no swept stroke, so it is none."""
    found = []
    for event in events:
        if event["kind"] == "lot":
            found.append((int(event["at_ms"]), LOT_CHANGE))
        elif event["kind"] == "setting" and "shot_size" not in event["setting"]:
            found.append((int(event["at_ms"]), SETTING_CHANGE))
    return sorted(found)


def unsettling_of(events: Sequence[Mapping[str, Any]]) -> list[tuple[int, int]]:
    """Events after which a level may stand elsewhere without anything being wrong.

    A changed shot size moves the shot size alone; lots and other settings are known changes anyway.
    """
    found = []
    for event in events:
        if event["kind"] in ("mold_start", "maintenance"):
            found.append((int(event["at_ms"]), EVERY_LEVEL))
        elif event["kind"] == "top_up" or (event["kind"] == "setting" and "shot_size" in event["setting"]):
            found.append((int(event["at_ms"]), DOSE_ONLY))
    return sorted(found)


def valve_changes_of(events: Sequence[Mapping[str, Any]]) -> list[int]:
    return sorted(int(event["at_ms"]) for event in events if event["kind"] == "valve_change")
