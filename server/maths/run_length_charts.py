"""Average run length of EWMA, CUSUM and individuals charts by integral equations.

Conventions: known mean and sigma, shift in sigma present from the first value, the signalling point
counts. Integrals by Gauss-Legendre nodes (Nyström), so smooth kernels converge to machine accuracy.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from server.maths.quadrature import nodes

Floats = npt.NDArray[np.float64]

_ROOT = 1.0 / math.sqrt(2.0 * math.pi)


def _density(x: Floats) -> Floats:
    return np.asarray(_ROOT * np.exp(-0.5 * x * x))


def _ewma_nodes(width: float, weight: float) -> int:
    # In steps of 32: nodes are kept once computed, and computing them costs as much as the equation.
    return int(min(1200, 32 * math.ceil((60 + 6 * width / weight) / 32)))


def ewma_steady(*, weight: float, L: float, shift: float, two_sided: bool = True) -> float:
    """EWMA with steady limits from the first value, started at the target.

    Parameters
    ----------
    weight, L : float
        λ in (0, 1] and width of the limits in standard deviations of z.
    shift : float
        In sigma.
    two_sided : bool
        False: only the upper limit (z may fall without bound).

    Notes
    -----
    L(u) = 1 + (1/λ) ∫ L(y) φ((y - (1-λ)u)/λ - δ) dy; Crowder 1987, Lucas & Saccucci 1990.

    Examples
    --------
    >>> round(ewma_steady(weight=0.1, L=2.814, shift=1.0), 2)
    10.33
    """
    spread = math.sqrt(weight / (2.0 - weight))
    high = L * spread
    low = -high if two_sided else min(0.0, shift) - 9.0 * spread
    y, w = nodes(low, high, _ewma_nodes(high - low, weight))
    kernel = _density((y[None, :] - (1.0 - weight) * y[:, None]) / weight - shift) * w[None, :] / weight
    solved = np.linalg.solve(np.eye(y.size) - kernel, np.ones(y.size))
    return float(1.0 + (_density(y / weight - shift) * w / weight) @ solved)


def ewma_exact(*, weight: float, L: float, shift: float) -> float:
    """Two-sided EWMA with exact (time-varying) limits.

    Notes
    -----
    The density of z among runs without signal is carried forward until the limits have settled to
    10⁻¹⁰, then the steady integral equation takes over.

    Examples
    --------
    >>> round(ewma_exact(weight=0.1, L=2.7, shift=0.0), 1)
    356.1
    """
    keep = 1.0 - weight
    spread = math.sqrt(weight / (2.0 - weight))
    if keep == 0.0:
        return ewma_steady(weight=weight, L=L, shift=shift)
    settle = min(3000, math.ceil(math.log(1e-10) / (2.0 * math.log(keep))) + 1)
    count = min(400, _ewma_nodes(2.0 * L * spread, weight))

    def limit(t: int) -> float:
        return L * spread * math.sqrt(1.0 - keep ** (2.0 * t))

    y, w = nodes(-limit(1), limit(1), count)
    density = _density(y / weight - shift) / weight
    total = 1.0
    for t in range(2, settle + 1):
        total += float(w @ density)
        after, weights = nodes(-limit(t), limit(t), count)
        move = _density((after[:, None] - keep * y[None, :]) / weight - shift) / weight
        density, y, w = move @ (w * density), after, weights
    kernel = _density((y[None, :] - keep * y[:, None]) / weight - shift) * w[None, :] / weight
    solved = np.linalg.solve(np.eye(y.size) - kernel, np.ones(y.size))
    return total + float((w * density) @ solved)


def cusum_one_sided(*, k: float, h: float, shift: float, start: float = 0.0) -> float:
    """Upper CUSUM started at `start` (all in sigma).

    Notes
    -----
    L(s) = 1 + L(0) Φ(k - s - δ) + ∫₀^h L(y) φ(y + k - s - δ) dy; Page 1954. Piecewise nodes: one
    panel per two sigma.

    Examples
    --------
    >>> round(cusum_one_sided(k=0.5, h=4, shift=0.0), 3)
    335.368
    """
    panels = max(1, math.ceil(h / 2.0))
    parts = [nodes(h * i / panels, h * (i + 1) / panels, 24) for i in range(panels)]
    y = np.concatenate([[0.0], *(p[0] for p in parts)])
    w = np.concatenate([[0.0], *(p[1] for p in parts)])

    def row(s: Floats) -> Floats:
        kernel: Floats = _density(y[None, :] + k - s[:, None] - shift) * w[None, :]
        kernel[:, 0] += ndtr(k - s - shift)
        return kernel

    solved = np.linalg.solve(np.eye(y.size) - row(y), np.ones(y.size))
    return float(1.0 + (row(np.array([start])) @ solved)[0])


def cusum_two_sided(*, k: float, h: float, shift: float, headstart: float = 0.0) -> float | None:
    """Two-sided CUSUM; None where the headstart is too large for the two sides to be separate.

    Notes
    -----
    (L⁺(s)L⁻(0) + L⁻(s)L⁺(0) - L⁺(0)L⁻(0)) / (L⁺(0) + L⁻(0)), Lucas & Crosier, Technometrics 24 (1982);
    exact while one side is at 0 whenever the other signals: headstart ≤ h/2 + k (derived).

    Examples
    --------
    >>> round(cusum_two_sided(k=0.5, h=5, shift=0.0), 1)
    465.4
    """
    if headstart > h / 2.0 + k:
        return None
    up, down = (cusum_one_sided(k=k, h=h, shift=s) for s in (shift, -shift))
    up_s = cusum_one_sided(k=k, h=h, shift=shift, start=headstart)
    down_s = cusum_one_sided(k=k, h=h, shift=-shift, start=headstart)
    # Divided through by up·down so that huge run lengths do not overflow.
    return (up_s / up + down_s / down - 1.0) / (1.0 / up + 1.0 / down)


def individuals_mr(
    *, x_limit: float, mr_limit: float | None, shift: float, phi: float = 0.0, cells: int = 500
) -> float:
    """Individuals chart, with a moving-range chart beside it where `mr_limit` is given.

    Parameters
    ----------
    x_limit, mr_limit : float
        In marginal sigma. The first value has no range.
    shift : float
        In marginal sigma, present from the first value.
    phi : float
        Lag-1 autocorrelation of a stationary AR(1) with normal values.
    cells : int
        Cells of the grid used where the moving-range limit cuts the kernel (error of order cells⁻²).

    Notes
    -----
    Model of Crowder, J. Quality Technol. 19 (1987) 98-102: L(x) = 1 + ∫ L(y) f(y|x) dy over
    |y| ≤ M, |y - x| ≤ R; the run length is 1 + ∫ L(x) f(x) dx over |x| ≤ M.

    Examples
    --------
    >>> round(individuals_mr(x_limit=3, mr_limit=None, shift=0.0, phi=0.5), 2)
    396.28
    """
    inner = math.sqrt(1.0 - phi * phi)
    if mr_limit is None or mr_limit >= 2.0 * x_limit:
        count = int(min(1200, 60 + 12 * x_limit / inner))
        y, w = nodes(-x_limit, x_limit, count)
        mean = shift + phi * (y[:, None] - shift)
        kernel = _density((y[None, :] - mean) / inner) * w[None, :] / inner
        solved = np.linalg.solve(np.eye(count) - kernel, np.ones(count))
        return float(1.0 + (_density(y - shift) * w) @ solved)
    edges = np.linspace(-x_limit, x_limit, cells + 1)
    low, high = edges[:-1], edges[1:]
    y = 0.5 * (low + high)
    mean = (shift + phi * (y - shift))[:, None]
    top = np.minimum(high[None, :], y[:, None] + mr_limit)
    bottom = np.maximum(low[None, :], y[:, None] - mr_limit)
    kernel = np.where(top > bottom, ndtr((top - mean) / inner) - ndtr((bottom - mean) / inner), 0.0)
    solved = np.linalg.solve(np.eye(cells) - kernel, np.ones(cells))
    return float(1.0 + (ndtr(high - shift) - ndtr(low - shift)) @ solved)


def ar1_residuals(*, phi: float, shift: float, limit: float = 3.0) -> float:
    """Chart of one-step forecast errors of an AR(1) with known φ.

    Parameters
    ----------
    phi : float
        Lag-1 autocorrelation, between -1 and 1.
    shift : float
        Step of the mean in marginal sigma.
    limit : float
        In sigma of the forecast error, σ_e = σ·sqrt(1 - φ²).

    Notes
    -----
    The step shows in full once, then as (1 - φ) of it, for the forecasts follow: 1 + (1 - p₁)/p₂. Model
    of Wardell, Moskowitz & Plante 1994. For φ > 0 it is slow to see a step.

    Examples
    --------
    >>> round(ar1_residuals(phi=0.5, shift=2.0), 4)
    24.2241
    """
    error = math.sqrt(1.0 - phi * phi)

    def signal(mean: float) -> float:
        return float(ndtr(-limit - mean) + ndtr(mean - limit))

    return 1.0 + (1.0 - signal(shift / error)) / signal(shift * (1.0 - phi) / error)
