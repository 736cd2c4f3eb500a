"""How sure is it that an index reaches what is demanded."""

from scipy.special import ndtr, ndtri

from server.language import N_
from server.maths.intervals import Interval
from server.maths.results import Undetermined


def chance_of_demand(
    value: float, *, interval: Interval, demand: float, confidence: float = 0.95
) -> float | Undetermined:
    """Confidence, 0 to 1, that the true index is at least the demand.

    Parameters
    ----------
    value, interval : float, Interval
        An index and its two-sided interval.
    demand : float
        What the index is to reach.
    confidence : float
        Of the interval, 0.5 to below 1.

    Returns
    -------
    float or Undetermined
        Undetermined for an interval without width.

    Notes
    -----
    The one-sided confidence whose bound lies at the demand: Φ(z·(value - demand)/h), h the half of
    the interval on the demand's side and z its normal score. For Bissell's interval (Applied Statistics
    39 (1990) 331) with its own half-width this is its exact inversion; for others the normal shape is
    taken between and beyond their ends.

    Examples
    --------
    >>> round(chance_of_demand(1.5, interval=Interval(1.3, 1.7), demand=1.3), 3)
    0.975
    >>> chance_of_demand(1.5, interval=Interval(1.3, 1.7), demand=1.5)
    0.5
    """
    if not 0.5 <= confidence < 1.0:
        raise ValueError(f"confidence must be from 0.5 to below 1, got {confidence!r}")
    half = value - interval.lower if demand <= value else interval.upper - value
    if not half > 0.0:
        return Undetermined(N_("the interval has no width"))
    return float(ndtr(float(ndtri(0.5 + confidence / 2.0)) * (value - demand) / half))
