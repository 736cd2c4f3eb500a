"""The likelihood of a Weibull law for censored, late-entered lives: its top, and the laws near it."""

import math
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import optimize

Floats = npt.NDArray[np.float64]
#: Last age good, first age failed, age on entry, each [n].
Parts = tuple[Floats, Floats, Floats]

#: Directions in which the border of the laws the record does not contradict is sought (the extremes are
#: then short by 0.05 %), how far in the logarithms, and how often the distance is halved.
_DIRECTIONS: Final = 96
_REACH_MAX: Final = 10.0
_HALVINGS: Final = 18


def log_likelihood(laws: Floats, parts: Parts) -> Floats:
    """[k] at (log shape, log scale), [k, 2]; -1e12 where a record is impossible."""
    low, high, start = parts
    shape, log_scale = np.exp(np.clip(laws[:, :1], -6.0, 6.0)), laws[:, 1:]

    def hazard(age: Floats) -> Floats:
        """(age / scale)^shape, [k, n]."""
        with np.errstate(divide="ignore"):
            return np.asarray(np.exp(np.minimum(shape * (np.log(age) - log_scale), 700.0)))

    h_low = hazard(low)
    known = low == high
    with np.errstate(divide="ignore", invalid="ignore"):
        # log(exp(-a) - exp(-b)) without loss for neighbouring ages.
        h_high = np.where(np.isinf(high), np.inf, hazard(high))
        between = -h_low + np.log(-np.expm1(h_low - h_high))
        density = np.log(shape) - log_scale + (shape - 1.0) * (np.log(low) - log_scale) - h_low
        total = (np.where(known, density, between) + hazard(start)).sum(axis=1)
    return np.where(np.isfinite(total), total, -1e12)


def best_law(parts: Parts) -> Floats | None:
    """(log shape, log scale) of the greatest likelihood; None where none is greatest within reason.

    Ages in units of the oldest failure, so that the scale is near 1; shape up to 50.

    >>> age = np.array([0.3, 0.6, 1.0])
    >>> best_law((age, age, np.zeros(3))).round(2).tolist()
    [0.88, -0.33]
    """

    def against(at: Floats) -> float:
        return -float(log_likelihood(at[None, :], parts)[0])

    shapes, scales = np.meshgrid(np.linspace(-1.5, 3.5, 16), np.linspace(-1.5, 3.0, 16), indexing="ij")
    tried = np.column_stack([shapes.ravel(), scales.ravel()])
    start = tried[int(np.argmax(log_likelihood(tried, parts)))]
    found = optimize.minimize(against, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9})
    at = np.asarray(found.x, dtype=np.float64)
    return at if abs(at[0]) < math.log(50.0) and abs(at[1]) < math.log(1e4) else None


def laws_within(best: Floats, parts: Parts, least: float) -> Floats | None:
    """(shape, scale) on the border of the laws with a log likelihood of at least `least`, and the best.

    Sought outwards from the best in directions that the curvature there makes equal. Every figure asked
    of the laws (either parameter, a quantile, what is left) rises with the scale, so that its extremes lie
    on the border (derived). None where the border has no end.
    """
    angles = np.arange(_DIRECTIONS) * (2.0 * math.pi / _DIRECTIONS)
    ways = np.column_stack([np.cos(angles), np.sin(angles)]) @ _unit_fall(best, parts).T
    inner, outer = np.zeros(_DIRECTIONS), np.full(_DIRECTIONS, 1.0)

    def held(reach: Floats) -> npt.NDArray[np.bool_]:
        return np.asarray(log_likelihood(best + reach[:, None] * ways, parts) >= least)

    while (within := held(outer)).any():
        if float(np.abs(outer[:, None] * ways)[within].max()) > _REACH_MAX:
            return None
        inner, outer = np.where(within, outer, inner), np.where(within, 1.5 * outer, outer)
    for _ in range(_HALVINGS):
        middle = 0.5 * (inner + outer)
        within = held(middle)
        inner, outer = np.where(within, middle, inner), np.where(within, outer, middle)
    return np.asarray(np.exp(np.vstack([best + inner[:, None] * ways, best])))


def _unit_fall(best: Floats, parts: Parts) -> Floats:
    """Maps the unit circle on the laws, about the best, that are about 1/2 less likely in logarithm."""
    h = 1e-3
    around = best + h * np.array([[i, j] for i in (-1, 0, 1) for j in (-1, 0, 1)])
    f = -log_likelihood(around, parts).reshape(3, 3)
    twisted = (f[2, 2] - f[2, 0] - f[0, 2] + f[0, 0]) / 4.0
    curve = np.array(
        [[f[2, 1] - 2.0 * f[1, 1] + f[0, 1], twisted], [twisted, f[1, 2] - 2.0 * f[1, 1] + f[1, 0]]]
    )
    value, way = np.linalg.eigh(curve / h**2)
    return np.asarray(way / np.sqrt(np.maximum(value, 1e-2)))
