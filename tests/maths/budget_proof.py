"""The proof that the alarm budget is kept, as a document: `python -m tests.maths.budget_proof` writes it."""

import json
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from scipy.special import chdtri

from server.contract import RUN_RULES
from server.maths.alarm_budget import Budget
from server.maths.run_rules import marks
from server.settings import outside
from tests.maths.budget_world import (
    LANES,
    SIGNALS,
    WEEK_SHOTS,
    Lane,
    false_alarms,
    noise,
    shots_until_found,
    shown,
)

PRESSES: Final = 29
WEEKS: Final = 8
BUDGET: Final = Budget().per_press
SEED: Final = 20_261_125
#: Shots without a mark after which the next one is another finding.
QUIET: Final = 10
#: Swept stroke of the press leaks are put on, and how it scatters, mm.
STROKE_MM: Final = 60.0
SIGMA_MM: Final = 0.15


def poisson_interval(count: float, *, exposure: float) -> tuple[float, float]:
    """Exact 95 % interval of a rate (Garwood 1936)."""
    low = 0.0 if count == 0 else 0.5 * float(chdtri(2.0 * count, 0.975))
    return low / exposure, 0.5 * float(chdtri(2.0 * count + 2.0, 0.025)) / exposure


def healthy_row(lane: Lane, *, presses: int, weeks: int, seed: int) -> dict[str, Any]:
    """False alarms of one lane against its budget."""
    opened = false_alarms(lane, presses=presses, weeks=weeks, per_press=BUDGET, seed=seed)
    levels = float(opened[:, :SIGNALS].sum())
    return _row(lane.name, float(opened.sum()), float(presses * weeks), levels=levels)


def _row(name: str, count: float, exposure: float, *, levels: float) -> dict[str, Any]:
    low, high = poisson_interval(count, exposure=exposure)
    return {
        "name": name,
        "press_weeks": exposure,
        "false_alarms": count,
        "of_level": levels,
        "per_press_week": round(count / exposure, 4),
        "low": round(low, 4),
        "high": round(high, 4),
        "budget": BUDGET,
    }


def every_rule_a_week(lane: Lane, *, weeks: int, seed: int) -> float:
    """Findings a press-week of all run rules on all signals, each shot judged alone."""
    rng = np.random.default_rng(seed)
    values = shown(noise(rng, (1, weeks * WEEK_SHOTS, SIGNALS), phi=lane.phi, tail=lane.tail), lane.step)[0]
    sigma = np.maximum(values[:300].std(axis=0), lane.step)
    z = (values - values[:300].mean(axis=0)) / sigma
    found = 0
    for signal in range(SIGNALS):
        for rule in RUN_RULES:
            at = np.flatnonzero(marks(z[:, signal], rule=rule))
            found += int((np.diff(at) > QUIET).sum()) + (len(at) > 0)
    return found / weeks


def every_rule_until(*, phi: float, shift: float, runs: int, seed: int) -> float:
    """Mean shots until any run rule marks the moved signal."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(runs):
        z = noise(rng, (1, 600, 1), phi=phi, tail="normal")[0, :, 0]
        z[300:] += shift
        first = [np.flatnonzero(marks(z, rule=rule)[300:]) for rule in RUN_RULES]
        found.append(min((int(one[0]) + 1 for one in first if len(one)), default=300))
    return float(np.mean(found))


def delay_row(name: str, shift: float, *, phi: float, runs: int, seed: int) -> dict[str, Any]:
    """Shots until a move is found, by the charts within the budget and by all run rules."""
    shots = shots_until_found(phi=phi, shift=shift, runs=runs, seed=seed, per_press=BUDGET)
    every_rule = every_rule_until(phi=phi, shift=shift, runs=min(runs, 60), seed=seed)
    return {
        "name": name,
        "shift_sigma": shift,
        "phi": phi,
        "mean_shots": round(float(shots.mean()), 1),
        "nine_of_ten_within": round(float(np.quantile(shots, 0.9)), 1),
        "every_rule_mean_shots": round(every_rule, 1),
    }


MOVES: Final[Sequence[tuple[str, float]]] = (
    ("shift of 0.5 sigma", 0.5),
    ("shift of 1 sigma", 1.0),
    ("shift of 2 sigma", 2.0),
    ("leak of 1 %", 0.01 * STROKE_MM / SIGMA_MM),
    ("leak of 2 %", 0.02 * STROKE_MM / SIGMA_MM),
    ("leak of 5 %", 0.05 * STROKE_MM / SIGMA_MM),
)


def proof(*, presses: int = PRESSES, weeks: int = WEEKS, runs: int = 200) -> dict[str, Any]:
    """The whole document."""
    healthy = [healthy_row(lane, presses=presses, weeks=weeks, seed=SEED + i) for i, lane in enumerate(LANES)]
    count = sum(row["false_alarms"] for row in healthy)
    exposure = sum(row["press_weeks"] for row in healthy)
    levels = sum(row["of_level"] for row in healthy)
    every = [every_rule_a_week(lane, weeks=1, seed=SEED + 50 + i) for i, lane in enumerate(LANES)]
    return {
        "version": 1,
        "seed": SEED,
        "presses_a_lane": presses,
        "weeks": weeks,
        "stroke_mm": STROKE_MM,
        "sigma_mm": SIGMA_MM,
        "healthy": healthy,
        "all": _row("all lanes", count, exposure, levels=levels),
        "every_rule_per_press_week": [round(one) for one in every],
        "delays": [
            delay_row(name, shift, phi=phi, runs=runs, seed=SEED + 100 + i)
            for phi in (0.0, 0.3, 0.6)
            for i, (name, shift) in enumerate(MOVES)
        ],
    }


if __name__ == "__main__":
    document = proof()
    path = outside("shared") / "alarm_proof.json"
    path.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
