"""Limits that keep their promise although mean and sigma were estimated from few shots.

Three sigma from 200 shots has the promised run length on average over presses, but not on each: on
one press in ten it is a fraction of it. The multiplier here is wide enough for a stated share of
presses; `run_length_kept` says, the other way round, what given limits still keep.

What remains of the guarantee was found by simulation (exact run lengths of AR(1) by integral equation,
φ, mean and sigma estimated from the same shots, 2,000 presses a line, standard error 0.7 %):

===  =====  =============================  ========================================
φ    shots  run length of plain 3 sigma    presses that `multiplier` keeps over 370
===  =====  =============================  ========================================
0.0    100  271 overall, a tenth below 145   90.9%, a tenth below 388
0.0    300  336 overall, a tenth below 222   91.2%, a tenth below 382
0.0   1000  355 overall, a tenth below 277   89.6%, a tenth below 369
0.0   5000  369 overall, a tenth below 327   90.5%, a tenth below 371
0.3    100  262 overall, a tenth below 133   92.3%, a tenth below 433
0.3    300  329 overall, a tenth below 211   91.8%, a tenth below 391
0.3   1000  359 overall, a tenth below 273   91.4%, a tenth below 378
0.3   5000  373 overall, a tenth below 328   93.0%, a tenth below 378
0.6    100  232 overall, a tenth below 107   93.3%, a tenth below 505
0.6    300  339 overall, a tenth below 195   94.2%, a tenth below 451
0.6   1000  394 overall, a tenth below 281   96.0%, a tenth below 434
0.6   5000  415 overall, a tenth below 352   98.8%, a tenth below 423
===  =====  =============================  ========================================

Shares above 90 % at φ = 0.6 are the run length of an AR(1) itself, longer than that of independent
values at the same limits; it is not spent. Not guaranteed: correlation that lasts longer than that of an
AR(1), tails heavier than normal, a level that moves (ask `stability.stability` first).
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

from scipy.special import chdtri, ndtr, ndtri

from server.maths.autocorrelation import effective_for_mean, effective_for_scatter

#: Variance of the median over that of the mean, normal values: π/2.
MEDIAN_COST: Final = math.pi / 2.0
#: Standard errors that an estimated φ is taken higher (one-sided 80 %).
PHI_ERRORS: Final = 0.8416212335729143


@dataclass(frozen=True)
class Guarantee:
    """`run_length` is kept by limits of `multiplier` sigmas on a share `confidence` of baselines.

    `promised` is what the same limits have with mean and sigma known.
    """

    multiplier: float
    promised: float
    run_length: float
    confidence: float


def _check(n: int, confidence: float, phi: float, center: str) -> None:
    if isinstance(n, bool) or n < 10:
        raise ValueError(f"n must be 10 or more, got {n!r}")
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    if not -1.0 < phi < 1.0:
        raise ValueError(f"phi must lie between -1 and 1, got {phi!r}")
    if center not in ("mean", "median"):
        raise ValueError(f"center must be 'mean' or 'median', got {center!r}")


def _widening(n: int, confidence: float, phi: float, center: str) -> float:
    """How much wider than with known parameters, at least 1."""
    if phi > 0.0:
        phi = min(0.99, phi + PHI_ERRORS * math.sqrt((1.0 - phi * phi) / n))
    worth = effective_for_mean(n, phi=phi)
    freedom = max(1.0, effective_for_scatter(n, phi=phi) - 1.0)
    sigma = math.sqrt(freedom / float(chdtri(freedom, confidence)))
    # s² of correlated values falls short by n'/(n' - 1) more than that of independent ones.
    short = math.sqrt((1.0 - 1.0 / n) / max(0.2, 1.0 - 1.0 / worth))
    cost = MEDIAN_COST if center == "median" else 1.0
    return math.sqrt(1.0 + cost / worth) * short * max(1.0, sigma)


def guaranteed_multiplier(
    n: int,
    *,
    arl: float = 370.398,
    confidence: float = 0.9,
    phi: float = 0.0,
    center: Literal["mean", "median"] = "mean",
) -> float:
    """How many estimated sigmas keep the run length on all but a few presses.

    Parameters
    ----------
    n : int
        Values the baseline was made of, 10 or more.
    arl : float
        Run length to be kept, 10 to 10⁹.
    confidence : float
        Share of baselines whose true run length is at least that, 0.5 to below 1.
    phi : float
        Lag-1 autocorrelation, estimated from the same values; the sample then counts for less.
    center : {"mean", "median"}
        What the limits stand about; "median" for `baseline.phase_one`.

    Returns
    -------
    float
        K of center ± K·sigma, K ≥ the known-parameter value (3 for 370).

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    K = z·√(1 + c/n')·√((1 - 1/n)/(1 - 1/n'))·√(ν/χ²_{1-γ,ν}): z the two-sided normal quantile of 1/arl,
    c = 1 or π/2 for the median, n' and ν + 1 the effective sample sizes of `autocorrelation` at a φ taken
    0.84 standard errors higher, since it is estimated too. The χ² part covers sigma, the first root the
    mean (in the mean of its square), the second the bias of s² (derived, checked by simulation; the
    idea of guaranteed conditional performance is Albers & Kallenberg 2004, memory). Rounded data:
    use the design sigma, which is never below one step. AR(1): see the module for what remains. Heavy
    tails: the normal tail is a fiction at run lengths of 10⁵; group shots instead.

    Examples
    --------
    >>> round(guaranteed_multiplier(200), 2), round(guaranteed_multiplier(30), 2)
    (3.22, 3.69)
    """
    if not (math.isfinite(arl) and 10.0 <= arl <= 1e9):
        raise ValueError(f"arl must be from 10 to 1e9, got {arl!r}")
    _check(n, confidence, phi, center)
    return -float(ndtri(0.5 / arl)) * _widening(n, confidence, phi, center)


def run_length_kept(
    n: int,
    *,
    multiplier: float = 3.0,
    confidence: float = 0.9,
    phi: float = 0.0,
    center: Literal["mean", "median"] = "mean",
) -> Guarantee:
    """What limits of so many estimated sigmas keep, whatever the luck of the baseline.

    Parameters
    ----------
    n, confidence, phi, center
        See `guaranteed_multiplier`.
    multiplier : float
        K of center ± K·sigma, 0.5 to 6.

    Returns
    -------
    Guarantee
        `run_length` is at most `promised` = 1/(2Φ(-K)).

    Raises
    ------
    ValueError
        A parameter out of bounds.

    Notes
    -----
    `guaranteed_multiplier` solved for arl; the same assumptions.

    Examples
    --------
    >>> found = run_length_kept(200)
    >>> round(found.promised), round(found.run_length)
    (370, 194)
    """
    if not (math.isfinite(multiplier) and 0.5 <= multiplier <= 6.0):
        raise ValueError(f"multiplier must be from 0.5 to 6, got {multiplier!r}")
    _check(n, confidence, phi, center)
    z = multiplier / _widening(n, confidence, phi, center)
    return Guarantee(
        multiplier=multiplier,
        promised=0.5 / float(ndtr(-multiplier)),
        run_length=0.5 / float(ndtr(-z)),
        confidence=confidence,
    )
