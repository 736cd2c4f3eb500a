"""A trial of levels that may stop early: is one steadier than the others, which, and how sure is that?

The chance to see a difference where there is none is spent over planned looks, little at first. So
somebody may look as often as they like: only the looks of the plan decide, each on the shots it had.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, stdtrit

from server.maths.autocorrelation import autocorrelation, effective_for_mean
from server.maths.comparison import compare_scatter
from server.maths.intervals import kurtosis
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]

#: Chance over the whole trial to call equal levels different.
RISK: Final = 0.05
#: Shares of the planned shots at which the trial is looked at.
LOOKS: Final = (0.4, 0.6, 0.8, 1.0)
_DRAWS: Final = 20_000
_SEED: Final = 20_261


@dataclass(frozen=True)
class Look:
    """A planned look: at `shots` a level, `p` of equal scatter, `allowed`: what this look may spend."""

    shots: int
    p: float
    allowed: float

    @property
    def decides(self) -> bool:
        return self.p <= self.allowed


@dataclass(frozen=True)
class Level:
    """One level: mean and sigma with 95 % intervals, ratio of its sigma to the first level's.

    best: probability that its sigma is the smallest of all.
    """

    shots: int
    mean: float
    mean_interval: tuple[float, float]
    sigma: float
    sigma_interval: tuple[float, float]
    ratio: float
    best: float


@dataclass(frozen=True)
class TrialState:
    """`levels` empty while one of them is too short. `decided_at`: shots a level, None while open.

    `next_look`: shots a level, None after the last. `recommended`: place of the level with the smallest
    sigma, None before the trial is decided.
    """

    levels: tuple[Level, ...]
    looks: tuple[Look, ...]
    next_look: int | None
    decided_at: int | None
    recommended: int | None


def spent(share: float, *, risk: float = RISK) -> float:
    """Risk that may be spent by a share of the planned shots: 2 - 2Φ(z / √share), z for risk / 2.

    Source: K. K. G. Lan & D. L. DeMets, Biometrika 70 (1983) 659-663 (memory), the function that goes
    with O'Brien and Fleming's boundaries: next to nothing early, all of it at the end.

    >>> [round(spent(share), 5) for share in (0.0, 0.4, 0.6, 0.8, 1.0)]
    [0.0, 0.00194, 0.0114, 0.02843, 0.05]
    """
    if not 0.0 <= share <= 1.0:
        raise ValueError(f"share must be from 0 to 1, got {share!r}")
    if share == 0.0:
        return 0.0
    return 2.0 - 2.0 * float(ndtr(ndtri(1.0 - risk / 2.0) / math.sqrt(share)))


def planned_looks(shots: int) -> tuple[tuple[int, float], ...]:
    """(shots a level, risk this look may spend) of each look; the risks add up to RISK.

    Each look is tested at what it may spend alone, so that by the union bound the whole risk holds
    whatever the looks have in common (a little is given away for that).

    >>> [(n, round(risk, 4)) for n, risk in planned_looks(50)]
    [(20, 0.0019), (30, 0.0095), (40, 0.017), (50, 0.0216)]
    """
    if shots < 5:
        raise ValueError(f"shots must be at least 5, got {shots!r}")
    at = sorted({max(5, round(share * shots)) for share in LOOKS})
    before, looks = 0.0, []
    for n in at:
        now = spent(n / shots)
        looks.append((n, now - before))
        before = now
    return tuple(looks)


def trial_state(levels: Sequence[npt.ArrayLike], *, planned: int) -> TrialState:
    """Where a trial stands.

    Parameters
    ----------
    levels : sequence of array_like
        Readings of each level in order, settling shots left out; NaN is a gap.
    planned : int
        Shots a level, 5 or more.

    Returns
    -------
    TrialState

    Raises
    ------
    ValueError
        With fewer than two levels.

    Notes
    -----
    Each look takes the first so many shots of every level and asks for equal scatter by the
    Brown-Forsythe test with effective sample sizes (`compare_scatter`), so that later shots never change
    an earlier look. Intervals 95 % each. `best` by drawing log sigma of each level from a normal with
    variance (κ - (n - 3)/n)/(4(n - 1)) (Bonett 2006, memory), κ the pooled kurtosis, 20,000 draws with a
    fixed seed.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> state = trial_state([rng.normal(0, 1, 50), rng.normal(0, 3, 50)], planned=50)
    >>> state.decided_at, state.recommended, state.levels[0].best > 0.99
    (20, 0, True)
    """
    if len(levels) < 2:
        raise ValueError(f"a trial compares at least 2 levels, got {len(levels)}")
    arrays = [np.asarray(level, dtype=np.float64).ravel() for level in levels]
    arrays = [array[np.isfinite(array)] for array in arrays]
    fewest = min(array.size for array in arrays)
    looks: list[Look] = []
    for n, allowed in planned_looks(planned):
        if fewest < n or (looks and looks[-1].decides):
            break
        looks.append(Look(n, _p([array[:n] for array in arrays]), allowed))
    decided = looks[-1].shots if looks and looks[-1].decides else None
    remaining = [n for n, _ in planned_looks(planned) if n > fewest]
    known = _levels(arrays) if fewest >= 5 else ()
    best = None
    if decided is not None and known:
        best = min(range(len(known)), key=lambda i: known[i].sigma)
    return TrialState(
        levels=known,
        looks=tuple(looks),
        next_look=None if decided is not None or not remaining else remaining[0],
        decided_at=decided,
        recommended=best,
    )


def _p(arrays: Sequence[Floats]) -> float:
    found = compare_scatter(arrays)
    # A level whose values are all equal cannot be judged: the display is too coarse for it.
    return 1.0 if isinstance(found, Undetermined) else found.p


def _levels(arrays: Sequence[Floats]) -> tuple[Level, ...]:
    found = compare_scatter(arrays)
    if isinstance(found, Undetermined):
        return ()
    spread = _log_errors(arrays, found.n_effective)
    z = float(ndtri(0.975))
    best = _chances(found.sigmas, spread)
    levels = []
    for i, array in enumerate(arrays):
        reach = math.exp(z * spread[i])
        levels.append(
            Level(
                shots=int(array.size),
                mean=float(array.mean()),
                mean_interval=_mean_interval(array),
                sigma=found.sigmas[i],
                sigma_interval=(found.sigmas[i] / reach, found.sigmas[i] * reach),
                ratio=found.ratios[i],
                best=best[i],
            )
        )
    return tuple(levels)


def _log_errors(arrays: Sequence[Floats], worth: Sequence[float]) -> list[float]:
    scaled = np.concatenate([(a - a.mean()) / a.std(ddof=1) for a in arrays])
    tails = kurtosis(scaled)
    return [math.sqrt((tails - (w - 3.0) / w) / (4.0 * max(1.0, w - 1.0))) for w in worth]


def _chances(sigmas: Sequence[float], spread: Sequence[float]) -> list[float]:
    drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(sigmas)))
    logs = np.log(np.asarray(sigmas)) + drawn * np.asarray(spread)
    return [float(share) for share in np.bincount(logs.argmin(axis=1), minlength=len(sigmas)) / _DRAWS]


def _mean_interval(array: Floats) -> tuple[float, float]:
    found = autocorrelation(array)
    phi = 0.0 if isinstance(found, Undetermined) else max(0.0, found.phi)
    worth = max(2.0, effective_for_mean(array.size, phi=phi))
    half = float(stdtrit(worth - 1.0, 0.975)) * float(array.std(ddof=1)) / math.sqrt(worth)
    middle = float(array.mean())
    return middle - half, middle + half
