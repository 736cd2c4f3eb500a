"""Facts drawn from block rows: how far levels have moved, how scatter and tails compare with the record.

A fact is a plain number with a unit in its name, NaN where it cannot be said. `FACTS` names the
columns. The evidence in `judgement` is made of these and of nothing else.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.valve import memory, together
from server.valve.blocks import (
    AFTER_CHANGE,
    AS_READ,
    AT_BOTTOM,
    BLOCK,
    CUSHION,
    DRIFT,
    FILL,
    HIGH_FAR,
    HIGH_LEAN,
    HIGH_TAIL,
    LOW_FAR,
    LOW_LEAN,
    LOW_TAIL,
    MEDIAN,
    PEAK,
    PRESENT,
    RECOVERY,
    SCATTER,
    SIZE,
    SWEPT,
    TOGETHER,
    TRANSFER,
    WEIGHT,
    WEIGHT_SCATTERED,
    Reference,
    window_sums,
)

Floats = NDArray[np.float64]

#: Blocks in the short, middle and long window: 20, 100 and 1000 shots.
SHORT, MID, LONG = 4, 20, 200
_WINDOWS: Final = (SHORT, MID, LONG)
_GROUPS: Final = LONG // MID

#: Facts on levels: kept as they are while a known change is being measured.
LEVELS: Final[tuple[str, ...]] = (
    "swept_rise_mm",  # last 20 shots above the record, known changes taken out
    "swept_rise_pct",
    "swept_rise_100_pct",  # the same over 100 shots
    "swept_last_pct",  # the last block alone
    "swept_noise_pct",  # what a healthy mean of 20 shots may differ
    "swept_slope_pct",  # rise across the last 1000 shots by straight line
    "swept_slope_noise_pct",
    "swept_gradual",  # share of the rise over 1000 shots that no single step explains; 0 for a step
    "peak_change_pct",
    "transfer_change_pct",
    "fill_change_pct",
    "recovery_change_pct",
    "weight_change_pct",
    "weight_noise_pct",
    "drift_rise_mm",
    "drift_rise_sigma",
    "cushion_change_mm",
    "shot_size_change_mm",
    "cushion_left_mm",  # above true bottom, as read
    "change_explains_pct",  # share of the swept stroke that known changes have moved
    "cushion_change_sigma",  # the same in sigma of the record: what a limit on cushion alone would look at
    "swept_sigma_pct",  # scatter from shot to shot in the record
    "cushion_used_share",  # rise of the last block, of the cushion there was
    *memory.FACTS,  # the whole history since the record
)
#: Facts that need no level.
SCATTERS: Final[tuple[str, ...]] = (
    "swept_scatter",  # times the record, over 100 shots
    "swept_scatter_20",
    "cushion_scatter",
    "shot_size_scatter",
    "peak_scatter",
    "transfer_scatter",
    "fill_scatter",
    "recovery_scatter",
    "weight_scatter",
    "low_per_100",  # single shots whose cushion fell out low, in a hundred
    "high_per_100",
    "low_per_100_long",
    "low_sided_100",  # excess of low over high ones in units of its chance scatter
    "low_sided_long",
    "bottom_share",  # of the last 20 shots
    "bottom_share_last",  # of the last block
    "shots_since_change",
    "last_change",  # 1 a lot, 2 a setting
    "shots_seen",  # within the last 100 with a swept stroke
    "swept_scatter_long",  # over 1000 shots
    "low_lean_100",  # sigma by which single shots fell low rather than high, in a hundred
    "low_lean_long",
    "lean_sided_100",  # the same against all that fell far to either side, -1 to 1
    "lean_sided_long",
    "far_low_100",  # single shots far out low beyond those far out high, of the last 100
    "far_low_per_100_long",
    *together.FACTS,  # how shots stand together
)
FACTS: Final[tuple[str, ...]] = LEVELS + SCATTERS
FACT_INDEX: Final[dict[str, int]] = {name: i for i, name in enumerate(FACTS)}


def _mean(sums: Floats, counts: Floats, *, needed: float) -> Floats:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(counts >= needed, sums / counts, np.nan)


def level_facts(rows: Floats, *, start: int, reference: Reference, offset: Floats) -> Floats:
    """[k, LEVELS] of the block rows from `start` on; rows [m, WIDTH] with changes taken out.

    offset [S]: what was taken out; the facts of `memory` are left open. Means of block medians over 20
    and 100 shots against the record; the slope is the weighted least-squares line through ten group
    means of 100 shots.
    """
    spread = reference.spread()
    median = rows[:, MEDIAN] - np.where(np.isfinite(reference.center), reference.center, 0.0)
    present = rows[:, PRESENT]
    columns = np.concatenate([median * present, present], axis=1)
    sums = window_sums(columns, lengths=_WINDOWS[:2], start=0)
    s = present.shape[1]
    short = _mean(sums[SHORT][start:, :s], sums[SHORT][start:, s:], needed=SHORT / 2)
    middle = _mean(sums[MID][start:, :s], sums[MID][start:, s:], needed=SHORT)
    course = _course(sums[MID][:, SWEPT], sums[MID][:, s + SWEPT], start)
    facts = np.full((len(rows) - start, len(LEVELS)), np.nan)
    last = np.where(present[start:, SWEPT] > 0, median[start:, SWEPT], np.nan)
    _put_swept(facts, short[:, SWEPT], middle[:, SWEPT], last, course[0], reference)
    facts[:, FACT_INDEX["swept_gradual"]] = course[1]
    _put_others(facts, short, middle, reference, spread)
    facts[:, FACT_INDEX["cushion_left_mm"]] = (
        short[:, CUSHION] + reference.center[CUSHION] + offset[CUSHION] - reference.bottom_mm
    )
    deep = reference.center[CUSHION] + offset[CUSHION] - reference.bottom_mm
    if deep > 0:
        facts[:, FACT_INDEX["cushion_used_share"]] = last / deep
    facts[:, FACT_INDEX["change_explains_pct"]] = 100.0 * offset[SWEPT] / reference.center[SWEPT]
    return facts


def _put_swept(
    facts: Floats, short: Floats, middle: Floats, last: Floats, slope: Floats, reference: Reference
) -> None:
    center = reference.center[SWEPT]
    near_pct = 100.0 * reference.near()[SWEPT] / center
    wide_pct = 100.0 * reference.spread()[SWEPT] / center
    slow_pct = float(np.sqrt(max(wide_pct * wide_pct - near_pct * near_pct, 0.0)))
    step = reference.step[SWEPT]
    step_pct = 100.0 * (step if np.isfinite(step) else 0.0) / center
    at = FACT_INDEX
    facts[:, at["swept_sigma_pct"]] = near_pct
    facts[:, at["swept_rise_mm"]] = short
    facts[:, at["swept_rise_pct"]] = 100.0 * short / center
    facts[:, at["swept_rise_100_pct"]] = 100.0 * middle / center
    facts[:, at["swept_last_pct"]] = 100.0 * last / center
    facts[:, at["swept_noise_pct"]] = _noise(0.35 * near_pct, slow_pct, 0.3 * step_pct, 0.07)
    facts[:, at["swept_slope_pct"]] = 100.0 * slope / center
    facts[:, at["swept_slope_noise_pct"]] = _noise(0.2 * near_pct, slow_pct, 0.2 * step_pct, 0.07)


def _noise(*parts: float) -> float:
    """Root of the sum of squares: scatter of a mean with some autocorrelation, rounding, slow wandering.

    The shares are common practice, no source; the fitted coefficients rest on them.
    """
    return float(np.sqrt(sum(part * part for part in parts)))


def _put_others(facts: Floats, short: Floats, middle: Floats, reference: Reference, spread: Floats) -> None:
    at = FACT_INDEX
    for name, signal in (
        ("peak_change_pct", PEAK),
        ("transfer_change_pct", TRANSFER),
        ("fill_change_pct", FILL),
        ("recovery_change_pct", RECOVERY),
        ("weight_change_pct", WEIGHT),
    ):
        center = reference.center[signal]
        scale = 100.0 / center if np.isfinite(center) and center != 0 else np.nan
        facts[:, at[name]] = middle[:, signal] * scale
    weight = 100.0 * spread[WEIGHT] / reference.center[WEIGHT]
    facts[:, at["weight_noise_pct"]] = _noise(0.3 * weight, 0.05)
    facts[:, at["drift_rise_mm"]] = middle[:, DRIFT]
    facts[:, at["drift_rise_sigma"]] = middle[:, DRIFT] / spread[DRIFT]
    facts[:, at["cushion_change_mm"]] = short[:, CUSHION]
    facts[:, at["cushion_change_sigma"]] = short[:, CUSHION] / spread[CUSHION]
    facts[:, at["shot_size_change_mm"]] = short[:, SIZE]


def _course(sums: Floats, counts: Floats, start: int) -> Floats:
    """[2, k] over ten means of 100 shots: rise over 1000 shots by straight line; how gradual it was.

    Gradual is 1 - (largest step between neighbours) / (last - first), 0 without a rise. A step in the
    middle of a mean shares itself between two neighbours, so that it never exceeds one half. NaN
    with fewer than five means.
    """
    reach = MID * (_GROUPS - 1)
    k = len(sums) - start
    w, t, tt, y, ty = (np.zeros(k) for _ in range(5))
    first, earlier = np.full(k, np.nan), np.full(k, np.nan)
    largest = np.zeros(k)
    for group in range(_GROUPS):
        lo = start - reach + MID * group
        full = (counts[lo : lo + k] >= MID // 2).astype(np.float64)
        mean = np.where(full > 0, sums[lo : lo + k] / np.maximum(counts[lo : lo + k], 1.0), np.nan)
        known = np.nan_to_num(mean)
        x = float(group)
        w += full
        t += full * x
        tt += full * (x * x)
        y += full * known
        ty += full * known * x
        largest = np.fmax(largest, mean - earlier)
        first = np.where(np.isfinite(first), first, mean)
        earlier = np.where(np.isfinite(mean), mean, earlier)
    enough = w >= _GROUPS / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (w * ty - t * y) / (w * tt - t * t)
        risen = earlier - first
        gradual = np.where(risen > largest, 1.0 - largest / risen, 0.0)
    return np.stack([np.where(enough, slope * _GROUPS, np.nan), np.where(enough, gradual, np.nan)])


def _sided(low: Floats, high: Floats, seen: Floats) -> Floats:
    """(low - high) / sqrt(low + high + 1): about standard normal while tails are even, whatever they are."""
    return np.where(seen >= SHORT, (low - high) / np.sqrt(low + high + 1.0), np.nan)


def _leaning(tails: dict[int, Floats], seen: Floats, seen_long: Floats) -> list[Floats]:
    """low_lean_100 to lean_sided_long."""
    counts = {MID: seen, LONG: seen_long}
    excess, sided = [], []
    for n, count in counts.items():
        low, high = tails[n][:, 3], tails[n][:, 4]
        excess.append(100.0 / BLOCK * _mean(low - high, count, needed=SHORT))
        sided.append(np.where(count >= SHORT, (low - high) / (low + high + 3.0), np.nan))
    return [*excess, *sided]


def scatter_facts(
    rows: Floats, *, start: int, levels: Floats, since: Floats, last_change: float, reference: Reference
) -> Floats:
    """[k, FACTS]: the level facts handed in, followed by scatter, tails, bottoming and counts.

    Scatter is the mean distance within blocks over 100 shots, 1 = as in the record, so that drift
    and level steps do not count as scatter.
    """
    counted = rows[:, PRESENT].copy()
    counted[:, WEIGHT] = rows[:, WEIGHT_SCATTERED]
    scatter = rows[:, SCATTER] * counted
    further = rows[:, [LOW_TAIL, HIGH_TAIL, AT_BOTTOM, LOW_LEAN, HIGH_LEAN, LOW_FAR, HIGH_FAR]]
    columns = np.concatenate([scatter, counted, further], axis=1)
    sums = window_sums(columns, lengths=_WINDOWS, start=start)
    s = rows[:, PRESENT].shape[1]
    middle = _mean(sums[MID][:, :s], sums[MID][:, s : 2 * s], needed=SHORT)
    short = _mean(sums[SHORT][:, :s], sums[SHORT][:, s : 2 * s], needed=SHORT / 2)
    seen = sums[MID][:, s + SWEPT]
    seen_long = sums[LONG][:, s + SWEPT]
    tails = {n: sums[n][:, 2 * s :] for n in _WINDOWS}
    per_100 = 100.0 / BLOCK
    found = [middle[:, SWEPT], short[:, SWEPT]]
    found += [middle[:, i] for i in (CUSHION, SIZE, PEAK, TRANSFER, FILL, RECOVERY, WEIGHT)]
    found += [per_100 * _mean(tails[MID][:, column], seen, needed=SHORT) for column in (0, 1)]
    found.append(per_100 * _mean(tails[LONG][:, 0], seen_long, needed=SHORT))
    found += [_sided(tails[n][:, 0], tails[n][:, 1], seen) for n in (MID, LONG)]
    wide = _mean(sums[LONG][:, SWEPT], seen_long, needed=SHORT)
    cushions = sums[SHORT][:, s + CUSHION]
    found.append(_mean(tails[SHORT][:, 2], cushions * BLOCK, needed=1.0))
    last = rows[start:]
    found.append(np.where(last[:, PRESENT][:, CUSHION] > 0, last[:, AT_BOTTOM] / BLOCK, np.nan))
    found.append(since * BLOCK)
    found.append(np.where(np.isfinite(since), last_change, np.nan))
    found += [seen * BLOCK, wide, *_leaning(tails, seen, seen_long)]
    found.append(np.where(seen >= SHORT, tails[MID][:, 5] - tails[MID][:, 6], np.nan))
    found.append(per_100 * _mean(tails[LONG][:, 5] - tails[LONG][:, 6], seen_long, needed=SHORT))
    near = float(reference.near()[SWEPT])
    stand = together.facts(
        median=rows[:, AS_READ] / near, known=counted[:, SWEPT], scatter=scatter[:, SWEPT],
        broken=rows[:, AFTER_CHANGE], moments=rows[:, TOGETHER], start=start, lengths=(MID, LONG),
    )  # fmt: skip
    return np.concatenate([levels, np.stack(found, axis=1), stand], axis=1)
