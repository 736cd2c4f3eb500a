"""Hotelling T² of several signals at once, and which of them are responsible."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.special import betaincinv, chdtrc, fdtri

from server.language import N_
from server.maths.charts import refuse_infinite
from server.maths.results import Undetermined

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Reference:
    """Mean and covariance of `m` healthy shots of `p` signals."""

    mean: Floats
    covariance: Floats
    m: int
    names: tuple[str, ...]

    @property
    def p(self) -> int:
        """How many signals."""
        return len(self.names)


@dataclass(frozen=True)
class Share:
    """A signal's part in one T²: `alone` = T² of the signal by itself, `given_rest` = how much T²
    falls when it is left out, `p` the chance of such a fall in health (χ², one degree)."""

    name: str
    alone: float
    given_rest: float
    p: float


def reference(values: npt.ArrayLike, *, names: tuple[str, ...]) -> Reference | Undetermined:
    """Mean and covariance of a healthy stretch.

    Parameters
    ----------
    values : array_like, shape (m, p)
        One row per shot; rows with a NaN are left out.
    names : tuple of str
        One per column.

    Returns
    -------
    Reference or Undetermined
        Undetermined with m ≤ p + 1 whole rows, or when a signal is constant or a sum of others (swept
        stroke, shot size and cushion are: leave one out).

    Raises
    ------
    ValueError
        Wrong shape, an infinity.

    Examples
    --------
    >>> table = [[4.0, 2.0, 0.6], [4.2, 2.1, 0.59], [3.9, 2.0, 0.58], [4.3, 2.1, 0.62], [4.1, 2.2, 0.63]]
    >>> reference(table, names=("length", "width", "height")).mean.round(3).tolist()
    [4.1, 2.08, 0.604]
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != len(names):
        raise ValueError(f"values must be rows of {len(names)} signals, got shape {array.shape}")
    refuse_infinite(array)
    array = array[~np.isnan(array).any(axis=1)]
    m, p = array.shape
    if m <= p + 1:
        return Undetermined(N_("{m} of {p} whole rows needed for {p_2} signals", m=m, p=p + 2, p_2=p))
    shifted = array - array[0]
    mean = shifted.mean(axis=0)
    covariance = (shifted - mean).T @ (shifted - mean) / (m - 1)
    scale = np.sqrt(np.diag(covariance))
    if not (scale > 0.0).all():
        constant = names[int(np.argmin(scale))]
        return Undetermined(N_("{constant} is constant: leave it out", constant=constant))
    correlation = covariance / np.outer(scale, scale)
    values_, vectors = np.linalg.eigh(correlation)
    if values_[0] < 1e-8:
        tied = [n for n, v in zip(names, vectors[:, 0], strict=True) if abs(v) > 0.1]
        return Undetermined(N_("{join} determine each other: leave one out", join=", ".join(tied)))
    return Reference(array[0] + mean, covariance, m, names)


def t_squared(values: npt.ArrayLike, *, against: Reference) -> Floats:
    """T² of each row: (x - x̄)ᵀ S⁻¹ (x - x̄).

    Parameters
    ----------
    values : array_like, shape (n, p)
        NaN anywhere in a row gives NaN.
    against : Reference
        The healthy stretch.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    ISO 7870-7; Hotelling 1947. Rounded data: harmless while each step is below its sigma. AR(1):
    limits keep their false-alarm rate per shot, alarms come in bursts. Heavy tails: far more false
    alarms; the more signals, the more.

    Examples
    --------
    >>> ref = Reference(np.zeros(2), np.eye(2), 100, ("a", "b"))
    >>> t_squared([[3.0, 4.0]], against=ref).tolist()
    [25.0]
    """
    away = np.atleast_2d(np.asarray(values, dtype=np.float64)) - against.mean
    whole = np.isfinite(away).all(axis=1)
    result = np.full(away.shape[0], np.nan)
    rows = away[whole]
    result[whole] = (rows * cho_solve(cho_factor(against.covariance), rows.T).T).sum(axis=1)
    return result


def t_squared_limit(*, m: int, p: int, alpha: float = 0.0027, phase: Literal[1, 2] = 2) -> float:
    """Upper limit of T² for single shots.

    Parameters
    ----------
    m, p : int
        Healthy shots and signals; m > p + 1.
    alpha : float
        Chance of a false alarm per shot, between 0 and 1.
    phase : {1, 2}
        1: the shots the reference was made of; 2: later shots.

    Notes
    -----
    Phase 1: (m-1)²/m · Beta(p/2, (m-p-1)/2); phase 2: p(m+1)(m-1)/(m² - mp) · F(p, m-p). Tracy, Young &
    Mason, J. Quality Technol. 24 (1992).

    Examples
    --------
    >>> round(t_squared_limit(m=30, p=2, phase=1), 4), round(t_squared_limit(m=30, p=2), 4)
    (9.9447, 15.754)
    """
    if not p >= 1 or not m > p + 1:
        raise ValueError(f"m must be above p + 1 = {p + 1}, got {m!r}")
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha must be between 0 and 1, got {alpha!r}")
    if phase == 1:
        return (m - 1) ** 2 / m * float(betaincinv(p / 2.0, (m - p - 1) / 2.0, 1.0 - alpha))
    return p * (m + 1) * (m - 1) / (m * m - m * p) * float(fdtri(p, m - p, 1.0 - alpha))


def shares(row: npt.ArrayLike, *, against: Reference) -> tuple[Share, ...]:
    """Which signals make one T² large, the most responsible first.

    Parameters
    ----------
    row : array_like, shape (p,)
        One shot without NaN.
    against : Reference
        The healthy stretch.

    Raises
    ------
    ValueError
        A value that is not finite, or the wrong length.

    Notes
    -----
    `given_rest` = T² - T² without the signal, the last term of the decomposition of Mason, Tracy &
    Young, J. Quality Technol. 27 (1995): what the signal adds to what the others foretell.

    Examples
    --------
    >>> ref = Reference(np.zeros(2), np.eye(2), 100, ("a", "b"))
    >>> [s.name for s in shares([0.5, 4.0], against=ref)]
    ['b', 'a']
    """
    x = np.asarray(row, dtype=np.float64).ravel()
    if x.size != against.p or not np.isfinite(x).all():
        raise ValueError(f"row must hold {against.p} finite values, got {x.size}")
    away = x - against.mean
    inverse = np.linalg.inv(against.covariance)
    solved = inverse @ away
    conditional = solved**2 / np.diag(inverse)
    alone = away**2 / np.diag(against.covariance)
    found = [
        Share(name, float(a), float(c), float(chdtrc(1, c)))
        for name, a, c in zip(against.names, alone, conditional, strict=True)
    ]
    return tuple(sorted(found, key=lambda s: -s.given_rest))
