"""How a setting trial stands, from the shots that came in while each level was set."""

import dataclasses
import functools
import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.values import derive_signals, sources_of
from server.maths.comparison import MeanComparison, compare_means, scatter_power
from server.maths.level_trial import TrialState, planned_looks, trial_state
from server.store.plant import Press
from server.store.questions import press_with_state
from server.store.shots import read_columns
from server.store.trials import Trial, TrialStep, steps_of

Floats = NDArray[np.float64]

#: What else a level may move.
SIDE_SIGNALS: Final = ("recovery_time_s", "cycle_time_s")
#: Scatter ratios the power is told for.
RATIOS: Final = (1.5, 2.0)


@dataclasses.dataclass(frozen=True)
class StepCount:
    """One step of the plan. `step` None: not set yet. `shots` counted, `settling` dropped so far."""

    number: int
    level: int
    wanted: int
    step: TrialStep | None
    shots: int
    settling: int


@dataclasses.dataclass(frozen=True)
class SideEffect:
    """A signal's mean at a level, and its difference to today's level with its interval."""

    signal: str
    level: int
    mean: float
    compared: MeanComparison | None


@dataclasses.dataclass(frozen=True)
class TrialProgress:
    """`power_planned`, `power_now`: least chance to see each of RATIOS, between two levels.

    means: each level's mean of the signal against today's. splay: (shots with splay, shots looked at)
    by level, None where nobody looked. complete: every level has its shots.
    """

    steps: tuple[StepCount, ...]
    state: TrialState
    means: tuple[MeanComparison | None, ...]
    sides: tuple[SideEffect, ...]
    splay: tuple[int | None, ...]
    power_planned: tuple[float, ...]
    power_now: tuple[float, ...]

    @property
    def current(self) -> StepCount | None:
        """The step that runs: the last one set."""
        return next((one for one in reversed(self.steps) if one.step is not None), None)

    @property
    def following(self) -> StepCount | None:
        return next((one for one in self.steps if one.step is None), None)

    @property
    def complete(self) -> bool:
        return all(one.shots >= one.wanted for one in self.steps)

    @property
    def shots(self) -> int:
        return sum(min(one.shots, one.wanted) for one in self.steps)

    @property
    def wanted(self) -> int:
        return sum(one.wanted for one in self.steps)

    def as_result(self) -> dict[str, Any]:
        """As it is kept when the trial ends, and written by the API."""
        return {
            "steps": [
                {"number": one.number, "level": one.level, "shots": one.shots, "settling": one.settling}
                for one in self.steps
            ],
            "levels": [dataclasses.asdict(one) for one in self.state.levels],
            "looks": [{**dataclasses.asdict(one), "decides": one.decides} for one in self.state.looks],
            "decided_at": self.state.decided_at,
            "recommended": self.state.recommended,
            "means": [None if one is None else dataclasses.asdict(one) for one in self.means],
            "side_effects": [
                {
                    "signal": one.signal, "level": one.level, "mean": one.mean,
                    "difference": None if one.compared is None else dataclasses.asdict(one.compared),
                }
                for one in self.sides
            ],
            "splay": list(self.splay),
            "power": dict(zip(map(str, RATIOS), self.power_planned, strict=True)),
        }  # fmt: skip


def progress_of(connection: sa.Connection, press: Press, trial: Trial, *, now_ms: int) -> TrialProgress:
    """Count and compare what has come in so far."""
    steps = steps_of(connection, trial)
    wanted = _wanted(trial)
    end_ms = trial.ended_ms if trial.ended_ms is not None else now_ms + 1
    read = [
        _read(connection, press, trial, step.at_ms, steps[i + 1].at_ms if i + 1 < len(steps) else end_ms)
        for i, step in enumerate(steps)
    ]
    counts = tuple(
        StepCount(
            number=i + 1,
            level=level,
            wanted=wanted[i],
            step=steps[i] if i < len(steps) else None,
            shots=int(np.isfinite(read[i][trial.signal][trial.settling :]).sum()) if i < len(steps) else 0,
            settling=min(trial.settling, len(read[i][trial.signal])) if i < len(steps) else 0,
        )
        for i, level in enumerate(trial.plan)
    )

    def level_values(signal: str, level: int) -> Floats:
        parts = [read[i][signal][trial.settling :] for i, one in enumerate(steps) if one.level == level]
        return np.concatenate(parts) if parts else np.zeros(0)

    places = range(len(trial.levels))
    values = [level_values(trial.signal, level) for level in places]
    fewest = min(int(np.isfinite(one).sum()) for one in values)
    return TrialProgress(
        steps=counts,
        state=trial_state(values, planned=trial.shots_per_level),
        means=tuple(_against(values, level, trial) for level in places),
        sides=tuple(
            _side(signal, [level_values(signal, one) for one in places], level, trial)
            for signal in SIDE_SIGNALS
            for level in places
            if np.isfinite(level_values(signal, level)).sum() >= 5
        ),
        splay=tuple(_splay(steps, level) for level in places),
        power_planned=power(trial.shots_per_level),
        power_now=power(fewest),
    )


def _wanted(trial: Trial) -> list[int]:
    """Shots of each step: a level's shots shared among the steps that set it."""
    rounds = {level: trial.plan.count(level) for level in set(trial.plan)}
    return [math.ceil(trial.shots_per_level / rounds[level]) for level in trial.plan]


def _read(
    connection: sa.Connection, press: Press, trial: Trial, from_ms: int, to_ms: int
) -> dict[str, Floats]:
    names = (*sources_of((trial.signal,)), *SIDE_SIGNALS)
    columns = read_columns(connection, press.press_id, from_ms=from_ms, to_ms=to_ms, names=names, limit=2_000)
    lag = press.dose_lag
    if lag is None:
        lag = int(press_with_state(connection, press.press_id)["dose_lag_found"] or 0)
    signals = derive_signals(connection, press, columns, dose_lag=lag).signals
    return {trial.signal: signals[trial.signal], **{name: columns[name] for name in SIDE_SIGNALS}}


def _against(values: Sequence[Floats], level: int, trial: Trial) -> MeanComparison | None:
    """A level against today's; intervals 95 % over all levels (Bonferroni)."""
    if level == trial.today:
        return None
    confidence = 1.0 - 0.05 / (len(trial.levels) - 1)
    found = compare_means(values[trial.today], second=values[level], confidence=confidence)
    return found if isinstance(found, MeanComparison) else None


def _side(signal: str, values: Sequence[Floats], level: int, trial: Trial) -> SideEffect:
    finite = values[level][np.isfinite(values[level])]
    return SideEffect(signal, level, float(finite.mean()), _against(values, level, trial))


def _splay(steps: Sequence[TrialStep], level: int) -> int | None:
    seen = [one.splay for one in steps if one.level == level and one.splay is not None]
    return sum(seen) if seen else None


@functools.lru_cache(maxsize=256)
def power(shots: int) -> tuple[float, ...]:
    """Least chance to see each of RATIOS between two levels by the last look; 0 below 5 shots a level.

    >>> power(3), [round(one, 1) for one in power(50)]
    ((0.0, 0.0), [0.6, 1.0])
    """
    if shots < 5:
        return tuple(0.0 for _ in RATIOS)
    last = planned_looks(shots)[-1][1]
    return tuple(scatter_power(min(shots, 2_000), ratio=ratio, alpha=last) for ratio in RATIOS)
