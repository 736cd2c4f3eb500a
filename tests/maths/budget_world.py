"""Healthy presses as numbers: autocorrelated, heavy-tailed, rounded, with lots, restarts and mold changes.

What happens to a lane of presses happens to all of them at the same shots; their noise and the size of
every step are their own. Values are in sigma of single shots before rounding.
"""

import dataclasses
import math
from typing import Any, Final

import numpy as np
from scipy.signal import lfilter

from server.contract import WATCHED_LEVELS, WATCHED_SCATTERS
from server.maths.alarm_budget import Kind, Plan, design_of, plan_charts
from server.maths.baseline import PhaseOne, phase_one
from server.maths.group_scores import level_and_scatter
from server.maths.watch_charts import LEARNS, SPEAKS_FROM, Bank, Design, step

Floats = np.ndarray[Any, np.dtype[np.float64]]

SIGNALS: Final = len(WATCHED_LEVELS)
SCATTERED: Final = [WATCHED_LEVELS.index(name) for name in WATCHED_SCATTERS]
CHARTS: Final = SIGNALS + len(SCATTERED)
CYCLE_S: Final = 20.0
WEEK_SHOTS: Final = 30_240
#: Hours a record must have been watched: before charts speak, before learning is over.
SPEAKS_H: Final = 48.0
LEARNS_H: Final = 168.0
#: Sigma by which another lot or another start of a mold moves a level.
LOT_SIGMA: Final = 1.5
#: What is left of a restart after the shots set aside, in sigma, and how fast it fades, in shots.
RESTART_SIGMA: Final = 0.3
RESTART_SHOTS: Final = 9.0
#: Hours between lots, restarts and mold changes.
EVERY_H: Final = {"lots": 31.0, "restarts": 8.0, "molds": 84.0}


@dataclasses.dataclass(frozen=True)
class Lane:
    """Healthy presses of one kind. step: display step in sigma, 0 for none."""

    name: str
    phi: float
    tail: str
    step: float = 0.0
    record: int = 300
    happens: tuple[str, ...] = ()


LANES: Final = (
    Lane("independent, normal", 0.0, "normal"),
    Lane("independent, Laplace, step 0.2 sigma", 0.0, "laplace", 0.2),
    Lane("independent, t3", 0.0, "t3", 0.2, happens=("lots",)),
    Lane("phi 0.3, normal, step 1 sigma, lots", 0.3, "normal", 1.0, happens=("lots",)),
    Lane("phi 0.3, Laplace, step 2 sigma, restarts", 0.3, "laplace", 2.0, 1000, ("restarts",)),
    Lane("phi 0.3, t3, lots, restarts", 0.3, "t3", 0.2, 300, ("lots", "restarts")),
    Lane("phi 0.6, normal, mold changes", 0.6, "normal", 0.2, 1000, ("molds",)),
    Lane("phi 0.6, Laplace, step 0.5 sigma, lots, record of 100", 0.6, "laplace", 0.5, 100, ("lots",)),
    Lane("phi 0.6, t3, everything, record of 100", 0.6, "t3", 1.0, 100, ("lots", "restarts", "molds")),
)


def noise(rng: np.random.Generator, shape: tuple[int, ...], *, phi: float, tail: str) -> Floats:
    """[presses, n, signals] of unit variance, AR(1) along n."""
    if tail == "normal":
        shocks = rng.standard_normal(shape)
    elif tail == "laplace":
        shocks = rng.laplace(size=shape) / math.sqrt(2.0)
    else:
        shocks = rng.standard_t(3, size=shape) / math.sqrt(3.0)
    if phi == 0.0:
        return np.asarray(shocks)
    return np.asarray(lfilter([math.sqrt(1.0 - phi * phi)], [1.0, -phi], shocks, axis=1))


def shown(values: Floats, step_size: float) -> Floats:
    """As a display shows them."""
    return values if step_size == 0.0 else np.round((values + 0.37 * step_size) / step_size) * step_size


@dataclasses.dataclass(frozen=True)
class Record:
    """Records of the presses of a lane and the charts planned from them."""

    center: Floats
    sigma: Floats
    plans: tuple[Plan, ...]


def record_of(lane: Lane, rng: np.random.Generator, *, presses: int, per_press: float) -> Record:
    """Startup records taken and judged the way the program does, and charts planned from each."""
    values = shown(noise(rng, (presses, lane.record, SIGNALS), phi=lane.phi, tail=lane.tail), lane.step)
    center, sigma = np.zeros((presses, SIGNALS)), np.ones((presses, SIGNALS))
    plans = []
    for p in range(presses):
        phis = []
        for s in range(SIGNALS):
            judged = phase_one(values[p, :, s])
            assert isinstance(judged, PhaseOne)
            center[p, s], sigma[p, s] = judged.center, judged.sigma
            phis.append(judged.phi or 0.0)
        charts: list[tuple[str, Kind, float]] = [
            *((name, "level", phis[s]) for s, name in enumerate(WATCHED_LEVELS)),
            *((name, "scatter", phis[s]) for s, name in zip(SCATTERED, WATCHED_SCATTERS, strict=True)),
        ]
        plans.append(plan_charts(charts, per_press=per_press, cycle_s=CYCLE_S))
    return Record(center, sigma, tuple(plans))


@dataclasses.dataclass
class _Mold:
    """What the charts of all presses of a part of a lane know under one mold."""

    bank: Bank
    anchor: Floats
    settles: bool = False
    groups: int = 0
    began: int = -1

    def unsettle(self) -> None:
        levels = np.arange(CHARTS) < SIGNALS
        self.bank, self.settles = self.bank.with_new_level(levels), True


def false_alarms(lane: Lane, *, presses: int, weeks: int, per_press: float, seed: int) -> Floats:
    """[presses, charts] how often each chart of each healthy press opened."""
    rng = np.random.default_rng(seed)
    record = record_of(lane, rng, presses=presses, per_press=per_press)
    opened = np.zeros((presses, CHARTS))
    sizes = np.array([plan.grouping.size for plan in record.plans])
    for size in np.unique(sizes):
        part = np.flatnonzero(sizes == size)
        for aside in {record.plans[p].grouping.aside for p in part}:
            of_kind = part[[record.plans[p].grouping.aside == aside for p in part]]
            opened[of_kind] = _watched(lane, record, of_kind, int(size), aside, weeks=weeks, rng=rng)
    return opened


def _watched(
    lane: Lane,
    record: Record,
    part: np.ndarray[Any, np.dtype[np.intp]],
    size: int,
    aside: int,
    *,
    weeks: int,
    rng: np.random.Generator,
) -> Floats:
    designs = [design_of(record.plans[p]) for p in part]
    design = Design(
        weight=np.stack([one.weight for one in designs]),
        width=np.stack([one.width for one in designs]),
        one_sided=np.stack([one.one_sided for one in designs]),
    )
    hours = size * CYCLE_S / 3600.0
    every = {what: max(1, round(EVERY_H[what] / hours)) for what in lane.happens}
    shape = (len(part), SIGNALS)
    molds = [_Mold(Bank.empty(len(part), CHARTS), np.zeros(shape)) for _ in range(2)]
    at, level = 0, np.zeros(shape)
    opened, was = np.zeros((len(part), CHARTS)), np.zeros((len(part), CHARTS))
    fading = RESTART_SIGMA * np.exp(-np.arange(size) / RESTART_SHOTS)
    total = weeks * WEEK_SHOTS // size
    for begin in range(0, total, 100):
        count = min(100, total - begin)
        raw = noise(rng, (len(part), count * size, SIGNALS), phi=lane.phi, tail=lane.tail)
        raw = raw.reshape(len(part), count, size, SIGNALS)
        for k in range(count):
            group = begin + k
            if group and "molds" in every and group % every["molds"] == 0:
                at, was = 1 - at, np.zeros_like(was)
            if group and any(group % every[what] == 0 for what in ("lots", "molds") if what in every):
                level = LOT_SIGMA * rng.standard_normal(shape)
                molds[at].unsettle()
            values = raw[:, k] + level[:, None, :]
            if group and "restarts" in every and group % every["restarts"] == 0:
                values = values + fading[None, :, None]
            z = (shown(values, lane.step) - record.center[part, None, :]) / record.sigma[part, None, :]
            was = _one_group(
                molds[at], z[:, aside:], design, group=group, hours=hours, was=was, opened=opened
            )
    return opened


def _one_group(
    mold: _Mold, z: Floats, design: Design, *, group: int, hours: float, was: Floats, opened: Floats
) -> Floats:
    if mold.settles:
        mold.anchor, mold.settles = np.median(z, axis=1), False
        return was
    level, scatter = level_and_scatter(z, anchor=mold.anchor)
    mold.began = group if mold.began < 0 else mold.began
    mold.groups += 1
    watched_h = (group - mold.began + 1) * hours
    mold.bank = step(
        mold.bank,
        np.concatenate((level, scatter[:, SCATTERED]), axis=1),
        design,
        speaks=mold.groups >= SPEAKS_FROM and watched_h >= SPEAKS_H,
        complete=mold.groups >= LEARNS and watched_h >= LEARNS_H,
    )
    opened += (mold.bank.active > 0) & (was == 0)
    return mold.bank.active


def shots_until_found(
    *, phi: float, shift: float, runs: int, seed: int, per_press: float, learnt: int = 300, most: int = 20_000
) -> Floats:
    """[runs] shots until the chart of one level finds a step of `shift` sigma, `most` where it does not."""
    rng = np.random.default_rng(seed)
    charts: list[tuple[str, Kind, float]] = [
        *((name, "level", phi) for name in WATCHED_LEVELS),
        *((name, "scatter", phi) for name in WATCHED_SCATTERS),
    ]
    plan = plan_charts(charts, per_press=per_press, cycle_s=CYCLE_S)
    whole = design_of(plan)
    design = Design(whole.weight[:1], whole.width[:1], whole.one_sided[:1])
    size, aside = plan.grouping.size, plan.grouping.aside
    bank, found = Bank.empty(runs, 1), np.full(runs, float(most))
    # The step falls anywhere within a group.
    early = rng.integers(0, size, runs)
    for begin in range(0, learnt + most // size, 100):
        raw = noise(rng, (runs, 100 * size, 1), phi=phi, tail="normal").reshape(runs, 100, size, 1)
        for k in range(100):
            group = begin + k
            moved = (group - learnt) * size + np.arange(size)[None, :] >= early[:, None]
            z = raw[:, k] + np.where(moved, shift, 0.0)[:, :, None]
            level, _ = level_and_scatter(z[:, aside:], anchor=np.zeros(1))
            complete = group >= learnt
            bank = step(bank, level, design, speaks=complete, complete=complete)
            now = (bank.active[:, 0] > 0) & (found == most) & complete
            found[now] = (group - learnt + 1) * size - early[now]
        if begin >= learnt and (found < most).all():
            break
    return np.asarray(np.maximum(found, 1.0))
