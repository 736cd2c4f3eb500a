"""Plain statistical presses for the sanity tests: no physics, only the noise real logs show."""

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import SIGNALS, Reference

Floats = NDArray[np.float64]

CENTER = dict(zip(SIGNALS, (60.0, 6.0, 66.0, 820.0, 760.0, 1.2, 0.08, 42.0, 0.1), strict=True))
SIGMA = dict(zip(SIGNALS, (0.05, 0.06, 0.03, 5.0, 5.0, 0.006, 0.0008, 0.05, 0.02), strict=True))
STEP = dict(zip(SIGNALS, (0.01, 0.01, 0.01, 1.0, 1.0, 0.01, 0.0001, 0.01, 0.01), strict=True))
USUAL = ("swept_mm", "cushion_mm", "shot_size_mm", "peak_pressure_bar", "fill_time_s",
         "recovery_s_per_mm", "part_weight_g")  # fmt: skip


def noise(rng: np.random.Generator, n: int, *, phi: float, heavy: bool) -> Floats:
    """Unit-variance AR(1), normal or t with five degrees of freedom."""
    shocks = rng.standard_t(5, n) / np.sqrt(5 / 3) if heavy else rng.normal(size=n)
    out = np.empty(n)
    last = 0.0
    for i, shock in enumerate(shocks):
        last = phi * last + np.sqrt(1 - phi * phi) * shock
        out[i] = last
    return out


def press_rows(
    n: int,
    *,
    seed: int,
    phi: float = 0.2,
    heavy: bool = False,
    signals: tuple[str, ...] = USUAL,
    sigma_of_swept: float = 0.05,
    rounding: float = 0.01,
) -> Floats:
    """[n, S] of a healthy press; cushion = shot size - swept."""
    rng = np.random.default_rng(seed)
    rows = np.full((n, len(SIGNALS)), np.nan)
    for s, name in enumerate(SIGNALS):
        if name not in ("cushion_mm",):
            sigma = sigma_of_swept if name == "swept_mm" else SIGMA[name]
            rows[:, s] = CENTER[name] + sigma * noise(rng, n, phi=phi, heavy=heavy)
    size = np.round(rows[:, 2] / rounding) * rounding
    cushion = np.round((size - rows[:, 0]) / rounding) * rounding
    rows[:, 0], rows[:, 1], rows[:, 2] = size - cushion, cushion, size
    for s, name in enumerate(SIGNALS):
        if name not in signals:
            rows[:, s] = np.nan
    return rows


def reference_of(rows: Floats, *, bottom_mm: float = 0.0) -> Reference:
    """Plain robust location and scale of a startup stretch."""
    center = np.full(len(SIGNALS), np.nan)
    sigma, step = center.copy(), center.copy()
    for s, name in enumerate(SIGNALS):
        found = rows[np.isfinite(rows[:, s]), s]
        if len(found):
            center[s] = np.median(found)
            sigma[s] = np.clip(np.abs(found - center[s]), 0, None).mean() / 0.798
            step[s] = STEP[name]
    return Reference(center, sigma, step, bottom_mm)
