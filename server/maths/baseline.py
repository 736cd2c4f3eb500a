"""Phase one: what a healthy stretch of one signal looks like, and whether it suffices.

Outliers and warm-up are excluded and listed, the center is robust, sigma knows about rounding and
autocorrelation and is never zero, and the answer says how far it can be trusted.
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, chdtri

from server.language import N_
from server.maths.autocorrelation import (
    Autocorrelation,
    autocorrelation,
    effective_for_mean,
    effective_for_scatter,
)
from server.maths.guarantee import guaranteed_multiplier, run_length_kept
from server.maths.normality import Normality, anderson_darling
from server.maths.results import Undetermined
from server.maths.rounding import robust_sigma, rounded_sigma, rounding_step

__all__ = ["Exclusion", "PhaseOne", "phase_one", "robust_sigma"]

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: Fewest usable values for any answer (common practice, no source).
NEEDED: Final = 30
#: Values from which the answer is called sufficient: sigma then within about ±14 % (χ², 95 %).
SUFFICIENT: Final = 100
#: Independent values the series must be worth for the same.
SUFFICIENT_EFFECTIVE: Final = 50.0
#: Robust sigmas from the center beyond which a value is excluded (common practice, no source).
OUTLIER_SIGMAS: Final = 4.5
#: Blocks whose means are compared for stability.
BLOCKS: Final = 8
#: Chance to call a stable stretch unstable.
UNSTABLE_P: Final = 0.001

ExclusionReason = Literal["given", "missing", "warm_up", "transient", "outlier"]


@dataclass(frozen=True)
class Exclusion:
    """A value left out: its index, the value (NaN when missing) and why.

    `given`: excluded by the caller; `missing`: not a finite number; `warm_up`: a run of far-off
    values at the very start; `transient`: three or more far-off values in a row (a restart);
    `outlier`: one or two alone.
    """

    index: int
    value: float
    reason: ExclusionReason


@dataclass(frozen=True)
class PhaseOne:
    """The baseline of one signal; all sigmas and limits in the unit of the signal.

    `center` is the median, `mean` the mean of the values kept. `sigma` is the design sigma: limits are
    `center` ± 3 `sigma`. `sigma_within` comes from moving
    ranges, `sigma_total` from all values kept; `sigma_lower`..`sigma_upper` is the 95 % interval of
    `sigma_total`. `phi` is None when it cannot be seen. `stable` says whether the stretch has one
    level. `run_length_kept` is what `lower`..`upper` keep on nine of ten such baselines (370 with
    parameters known), `multiplier` how many `sigma` keep 370 on nine of ten.
    """

    center: float
    mean: float
    sigma: float
    sigma_within: float
    sigma_total: float
    sigma_lower: float
    sigma_upper: float
    lower: float
    upper: float
    run_length_kept: float
    multiplier: float
    step: float | None
    phi: float | None
    phi_lower: float | None
    phi_upper: float | None
    normality_p: float | None
    n_used: int
    n_effective: float
    exclusions: tuple[Exclusion, ...]
    sufficient: bool
    sufficiency: str
    stable: bool
    verdict: str


def _far_off(array: Floats, usable: Flags, step: float | None) -> Flags:
    """Which usable values lie too far from the robust center."""
    kept = array[usable]
    center = float(np.median(kept))
    scale = robust_sigma(kept, floor=step or 0.0)
    if scale == 0.0:
        # Most values are equal without a display step to explain it: only exact equals are kept
        # company by the smallest spread that the others show.
        others = np.abs(kept - center)
        scale = float(np.median(others[others > 0])) if (others > 0).any() else 0.0
    return np.asarray(usable & (np.abs(array - center) > OUTLIER_SIGMAS * scale + (step or 0.0) / 2.0)) & (
        scale > 0.0
    )


def _reasons(far: Flags, usable: Flags) -> dict[int, ExclusionReason]:
    """Why each far-off value goes, judged among the usable ones in order."""
    order = np.flatnonzero(usable)
    flags = far[order]
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    reasons: dict[int, ExclusionReason] = {}
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        why: ExclusionReason = "outlier"
        if begin == 0:
            why = "warm_up"
        elif end - begin >= 3:
            why = "transient"
        reasons.update({int(i): why for i in order[begin:end]})
    return reasons


def _exclusions(array: Floats, given: Flags, far: Flags, usable: Flags) -> tuple[Exclusion, ...]:
    reasons = _reasons(far, usable)
    finite = np.isfinite(array)
    for i in np.flatnonzero(given | ~finite):
        reasons[int(i)] = "given" if given[i] else "missing"
    return tuple(Exclusion(i, float(array[i]), reasons[i]) for i in sorted(reasons))


def _within(series: Floats, step: float | None) -> float:
    """Sigma from neighbours; root-mean-square differences where ties would make ranges collapse."""
    moves = np.abs(np.diff(series))
    moves = moves[np.isfinite(moves)]
    if moves.size == 0:
        return 0.0
    from_ranges = float(moves.mean()) / 1.1283791670955126
    if step is None or from_ranges > 2.0 * step:
        return from_ranges
    squared = float((moves**2).mean()) / 2.0 - step**2 / 12.0
    return math.sqrt(max(squared, step**2 / 12.0))


def _phi_within_blocks(series: Floats) -> Autocorrelation | Undetermined:
    """phi with the level of each block taken out, so that a shift is not read as correlation."""
    blocks = np.array_split(series, max(1, min(BLOCKS, series.size // 30)))
    levelled = [b - (float(np.nanmean(b)) if np.isfinite(b).any() else 0.0) for b in blocks]
    found = autocorrelation(np.concatenate(levelled))
    if isinstance(found, Undetermined):
        return found
    # Each further block mean costs (1 + φ)/n of bias, and some certainty.
    more = len(blocks) - 1
    phi = min(0.95, max(-0.95, (found.phi + more / found.n) / (1.0 - more / found.n)))
    half = 0.5 * (found.upper - found.lower) * math.sqrt(found.n / (found.n - 4.0 * more))
    return Autocorrelation(found.raw, phi, max(-1.0, phi - half), min(1.0, phi + half), found.n)


def _is_stable(series: Floats, phi: float, step: float | None) -> bool:
    """Whether block means scatter no more than within-block scatter and phi explain (χ² test)."""
    blocks = [b[np.isfinite(b)] for b in np.array_split(series, BLOCKS)]
    blocks = [b for b in blocks if b.size >= 4]
    if len(blocks) < 3:
        return True
    inner = np.concatenate([b - b.mean() for b in blocks])
    freedom = max(1, inner.size - len(blocks))
    shrink = 1.0 - 1.0 / effective_for_mean(blocks[0].size, phi=max(phi, 0.0))
    variance = float((inner**2).sum()) / freedom * (1.0 - 1.0 / blocks[0].size) / max(shrink, 0.2)
    variance += (step or 0.0) ** 2 / 12.0
    weights = np.array([effective_for_mean(b.size, phi=max(phi, 0.0)) for b in blocks])
    means = np.array([b.mean() for b in blocks])
    if variance <= 0.0:
        return bool(np.ptp(means) == 0.0)
    level = float((weights * means).sum() / weights.sum())
    statistic = float((weights * (means - level) ** 2).sum()) / variance
    return bool(chdtrc(len(blocks) - 1, statistic) > UNSTABLE_P)


def sufficiency_of(n: int, *, effective: float) -> tuple[bool, str]:
    """Whether n values, worth `effective` independent ones, suffice, and why."""
    if n < SUFFICIENT:
        return False, f"{n} of {SUFFICIENT} values needed"
    if effective < SUFFICIENT_EFFECTIVE:
        return False, (
            f"{n} values, but neighbours are so alike that they are worth {effective:.0f}; "
            f"{SUFFICIENT_EFFECTIVE:.0f} needed"
        )
    return True, f"{n} values, worth {effective:.0f} independent ones: enough"


def _verdict(stable: bool, sufficient: bool, share_out: float, sufficiency: str) -> str:
    if not stable:
        return N_("Not stable: the level moved during this stretch; find out why before approving it.")
    if share_out > 0.1:
        return f"Doubtful: {share_out:.0%} of the values had to be left out."
    if not sufficient:
        return f"Stable, but short: {sufficiency}."
    return "Stable and sufficient."


def phase_one(values: npt.ArrayLike, *, excluded: npt.ArrayLike | None = None) -> PhaseOne | Undetermined:
    """The baseline of one signal.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings in order of time, in the unit of the signal. NaN and infinities are listed as
        missing.
    excluded : array_like of bool, shape (n,), optional
        Values the caller knows to be no part of the healthy stretch.

    Returns
    -------
    PhaseOne or Undetermined
        Undetermined with fewer than 30 usable values.

    Raises
    ------
    ValueError
        `excluded` has another length than `values`.

    Notes
    -----
    center = median of the values kept. sigma = sqrt(total² + step²/12), at least one display step:
    limits judge the *printed* readings, and on a tight press a floor below one step marks healthy shots
    by the hundred. Under AR(1) total sigma is the one whose 3-sigma limits keep their run length (374 at
    φ = 0.25 to 499 at 0.75, against 109 to 12 with sigma from moving ranges; from few values see
    `run_length_kept` and `guarantee`); it is corrected for the n/(n - (1 + φ)/(1 - φ)) by which s² falls
    short (derived). Heavy tails: values beyond 4.5 robust sigma are left out, the rest count in full, so
    sigma is that of the core plus its tails. Constant readings: sigma is one display step (or, where
    there is no step, the resolution of the numbers).

    Examples
    --------
    >>> phase_one([1.0, 2.0, 3.0]).reason
    '3 of 30 usable values needed for a baseline'
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    given = np.zeros(array.size, np.bool_) if excluded is None else np.asarray(excluded, np.bool_).ravel()
    if given.size != array.size:
        raise ValueError(f"excluded must have {array.size} entries like values, got {given.size}")
    usable = np.isfinite(array) & ~given
    if int(usable.sum()) < NEEDED:
        return Undetermined(
            N_("{sum} of {needed} usable values needed for a baseline", sum=int(usable.sum()), needed=NEEDED)
        )
    step = rounding_step(array[usable])
    far = _far_off(array, usable, step)
    kept = usable & ~far
    n_used = int(kept.sum())
    if n_used < NEEDED:
        return Undetermined(
            N_(
                "{n_used} of {needed} values left after outliers: no common level",
                n_used=n_used,
                needed=NEEDED,
            )
        )
    exclusions = _exclusions(array, given, far, usable)
    series = np.where(kept, array, np.nan)
    return _assess(series, series[kept], step, exclusions, float(far.sum()) / float(usable.sum()))


def _assess(
    series: Floats, kept: Floats, step: float | None, exclusions: tuple[Exclusion, ...], share_out: float
) -> PhaseOne:
    """Everything that follows from the values kept; `series` has NaN in the gaps."""
    found = _phi_within_blocks(series)
    phi = 0.0 if isinstance(found, Undetermined) else found.phi
    n, center = kept.size, float(np.median(kept))
    within, total = _within(series, step), rounded_sigma(kept, step=step)
    short = max(0.2, 1.0 - 1.0 / effective_for_mean(n, phi=max(phi, 0.0)))
    total *= math.sqrt((1.0 - 1.0 / n) / short)
    resolution = 4.0 * float(np.finfo(np.float64).eps) * max(abs(center), 1e-300)
    cell = (step or 0.0) / math.sqrt(12.0)
    sigma = max(math.hypot(total, cell), step or 0.0, resolution)
    effective = effective_for_scatter(n, phi=phi)
    freedom = max(2.0, effective - 1.0)
    tested = anderson_darling(kept, step=step)
    stable = _is_stable(series, phi, step)
    sufficient, sufficiency = sufficiency_of(n, effective=effective)
    return PhaseOne(
        center=center,
        mean=float(kept.mean()),
        sigma=sigma,
        sigma_within=within,
        sigma_total=total,
        sigma_lower=total * math.sqrt(freedom / float(chdtri(freedom, 0.025))),
        sigma_upper=total * math.sqrt(freedom / float(chdtri(freedom, 0.975))),
        lower=center - 3.0 * sigma,
        upper=center + 3.0 * sigma,
        run_length_kept=run_length_kept(n, phi=phi, center="median").run_length,
        multiplier=guaranteed_multiplier(n, phi=phi, center="median"),
        step=step,
        phi=None if isinstance(found, Undetermined) else found.phi,
        phi_lower=None if isinstance(found, Undetermined) else found.lower,
        phi_upper=None if isinstance(found, Undetermined) else found.upper,
        normality_p=tested.p if isinstance(tested, Normality) else None,
        n_used=n,
        n_effective=effective,
        exclusions=exclusions,
        sufficient=sufficient,
        sufficiency=sufficiency,
        stable=stable,
        verdict=_verdict(stable, sufficient, share_out, sufficiency),
    )
