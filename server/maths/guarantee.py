"""Limits that keep their promise although mean and sigma were estimated from few shots.

Three sigma from 200 shots has the promised run length on average over presses, but not on each: on
one press in ten it is a fraction of it. The multiplier here is wide enough for a stated share of
presses.
"""

import math

from scipy.special import chdtri, ndtri

from server.maths.autocorrelation import effective_for_mean, effective_for_scatter


def guaranteed_multiplier(
    n: int, *, arl: float = 370.398, confidence: float = 0.9, phi: float = 0.0
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
        Lag-1 autocorrelation; the sample then counts for less.

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
    K = z·sqrt(1 + 1/n')·sqrt(ν/χ²_{1-c,ν}), z the two-sided normal quantile of 1/arl; the χ² part covers
    sigma, the first root the mean (in the mean of its square; derived, checked by simulation; the
    idea of guaranteed conditional performance is Albers & Kallenberg 2004, memory). Rounded data:
    use the design sigma, which is never below one step. Heavy tails: the normal tail is a fiction
    at run lengths of 10⁵; group shots instead.

    Examples
    --------
    >>> round(guaranteed_multiplier(200), 2), round(guaranteed_multiplier(30), 2)
    (3.22, 3.69)
    """
    if isinstance(n, bool) or n < 10:
        raise ValueError(f"n must be 10 or more, got {n!r}")
    if not (math.isfinite(arl) and 10.0 <= arl <= 1e9):
        raise ValueError(f"arl must be from 10 to 1e9, got {arl!r}")
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    if not -1.0 < phi < 1.0:
        raise ValueError(f"phi must lie between -1 and 1, got {phi!r}")
    z = -float(ndtri(0.5 / arl))
    freedom = max(1.0, effective_for_scatter(n, phi=phi) - 1.0)
    sigma = math.sqrt(freedom / float(chdtri(freedom, confidence)))
    return z * math.sqrt(1.0 + 1.0 / effective_for_mean(n, phi=phi)) * max(1.0, sigma)
