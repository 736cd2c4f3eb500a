"""Invented series for tests."""

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def ar1(n: int, *, phi: float, seed: int) -> Floats:
    """A stationary AR(1) with standard deviation 1."""
    e = np.random.default_rng(seed).standard_normal(n)
    x = np.empty(n)
    x[0] = e[0]
    for i in range(1, n):
        x[i] = phi * x[i - 1] + math.sqrt(1.0 - phi * phi) * e[i]
    return x


def normal(n: int, *, seed: int, sigma: float = 1.0) -> Floats:
    """Independent normal values about 0."""
    return np.random.default_rng(seed).normal(0.0, sigma, n)
