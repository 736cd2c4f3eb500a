"""What surrounds the shots of one press while they are evaluated: configuration, baselines, events."""

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import RULED_SIGNALS
from server.evaluate.prior import Mark
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
    prior_log_odds: float
    #: Valves fitted and checks made, in order of time, and how many shots a valve is said to last (0:
    #: not said).
    marks: Sequence[Mark]
    valve_life_shots: float
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


def watch_of(row: Mapping[str, Any], press: Press) -> Watch:
    """A watch from a baseline row."""
    kept = json.loads(row["signals"])
    signals: Mapping[str, Mapping[str, float]] = kept["signals"]

    def numbers(names: Sequence[str], field: str) -> NDArray[np.float64]:
        return np.array([_number(signals.get(name, {}).get(field)) for name in names])

    return Watch(
        baseline_no=row["baseline_no"],
        mold=row["mold"],
        material=row["material"],
        setup=row["setup"],
        to_ms=row["to_ms"],
        dose_lag=press.dose_lag if press.dose_lag is not None else int(kept.get("dose_lag") or 0),
        cycle_ms=float(kept.get("cycle_ms") or 0.0),
        center=numbers(RULED_SIGNALS, "center"),
        sigma=numbers(RULED_SIGNALS, "sigma"),
        reference=Reference(
            center=numbers(EVIDENCE_SIGNALS, "center"),
            sigma=numbers(EVIDENCE_SIGNALS, "sigma"),
            step=numbers(EVIDENCE_SIGNALS, "step"),
            bottom_mm=BOTTOM_MM if press.bottom_mm is None else press.bottom_mm,
        ),
        missing=tuple(name for name in EVIDENCE_SIGNALS if name not in signals),
    )


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


def valve_changes_of(events: Sequence[Mapping[str, Any]]) -> list[int]:
    return sorted(int(event["at_ms"]) for event in events if event["kind"] == "valve_change")
