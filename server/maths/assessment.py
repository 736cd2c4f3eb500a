"""One stretch of a characteristic judged whole: stability first, then autocorrelation, then indices."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from server.language import N_
from server.maths.autocorrelation import effective_for_mean, effective_for_scatter
from server.maths.baseline import PhaseOne, phase_one
from server.maths.capability import Capability, capability
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined
from server.maths.stability import Stability, judge


@dataclass(frozen=True)
class Assessment:
    """What may be said about a stretch of values, in the order it has to be asked.

    `stability` comes first: while it is not stable, the indices describe no process. `phi` is the lag-1
    autocorrelation every interval was made with (0.0 where it cannot be seen), `n_effective_mean` and
    `n_effective_scatter` how many independent values the mean and the scatter are worth under it.
    """

    n: int
    stability: Stability | Undetermined
    phi: float
    n_effective_mean: float
    n_effective_scatter: float
    capability: Capability | Undetermined


def assess(
    values: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    confidence: float = 0.95,
) -> Assessment:
    """Stability, autocorrelation and capability of one stretch, all from the same values.

    Parameters
    ----------
    values : array_like, shape (n,)
        Measurements in order of time, in the unit of the limits; NaN is a gap.
    lower, upper, target : float, optional
        Of the drawing. Without a limit `capability` is Undetermined; stability is judged all the same.
    confidence : float
        Two-sided, 0.5 to below 1.

    Returns
    -------
    Assessment
        Its parts are Undetermined where they cannot be said.

    Raises
    ------
    ValueError
        An infinity among the values, a limit out of bounds (see `capability.capability`).

    Notes
    -----
    phi is that of `baseline.phase_one`: lag-1 sample autocorrelation within blocks (a shift of level is
    not read as correlation), outliers left out, corrected for bias. Below 30 values it is taken as 0.0.
    Intervals use n(1 - φ)/(1 + φ) for the mean and n(1 - φ²)/(1 + φ²) for the scatter (variance of mean
    and of s² of a stationary AR(1), leading terms; derived; Bayley & Hammersley, J. R. Statist. Soc.
    Suppl. 8 (1946) 184, memory). A process that wanders for longer than an AR(1) does is not covered by
    that: it shows as not stable. Rounded data: phi is drawn towards 0 by rounding noise, which makes
    intervals somewhat short on a coarse display. Heavy tails: see `capability`.

    Examples
    --------
    >>> found = assess(np.tile([9.0, 10.0, 11.0, 10.0], 20), lower=7, upper=13)
    >>> found.n, found.stability.stable, found.phi < 0.1
    (80, True, True)
    >>> assess([1.0, 2.0]).capability.reason
    'no limits of the drawing'
    """
    array = np.asarray(values, dtype=np.float64).ravel()
    refuse_infinite(array)
    found = phase_one(array)
    phi = found.phi if isinstance(found, PhaseOne) and found.phi is not None else 0.0
    n = int((~np.isnan(array)).sum())
    judged: Capability | Undetermined = Undetermined(N_("no limits of the drawing"))
    if lower is not None or upper is not None:
        judged = capability(array, lower=lower, upper=upper, target=target, confidence=confidence, phi=phi)
    return Assessment(
        n=n,
        stability=judge(found),
        phi=phi,
        n_effective_mean=effective_for_mean(n, phi=phi) if n else 0.0,
        n_effective_scatter=min(float(n), effective_for_scatter(n, phi=phi)),
        capability=judged,
    )
