"""Realised run lengths of limits whose mean, sigma and φ were estimated from the same shots.

`python -m tests.maths.run_length_study` prints the table that stands in `server/maths/guarantee.py`.
"""

import dataclasses
import functools
import sys

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.signal import lfilter

from server.maths.baseline import PhaseOne, phase_one
from server.maths.guarantee import guaranteed_multiplier
from server.maths.run_length_charts import individuals_mr
from tests.maths.series import Floats

PROMISED = 370.398


@dataclasses.dataclass(frozen=True)
class Realised:
    """Over presses: run length of three plain sigma (all shots over all signals, and the tenth press of a
    hundred), and the share of presses that guaranteed limits keep, with its standard error."""

    plain: float
    plain_tenth: float
    plain_share: float
    kept: float
    kept_error: float
    kept_tenth: float


class ExactRunLength:
    """Run length of an AR(1) at limits so far off centre and apart (interpolated between exact knots)."""

    def __init__(self, phi: float) -> None:
        self.off, self.half = np.linspace(0.0, 1.5, 7), np.linspace(0.6, 6.0, 13)
        table = [
            [np.log(individuals_mr(x_limit=k, mr_limit=None, shift=d, phi=phi)) for k in self.half.tolist()]
            for d in self.off.tolist()
        ]
        self._log = RegularGridInterpolator((self.off, self.half), np.array(table), method="cubic")

    def __call__(self, off: Floats, half: Floats) -> Floats:
        where = np.stack([np.minimum(np.abs(off), 1.5), np.clip(half, 0.6, 6.0)], axis=-1)
        return np.asarray(np.exp(self._log(where)))


@functools.cache
def exact_run_length(phi: float) -> ExactRunLength:
    """One table a φ."""
    return ExactRunLength(phi)


def correlated(rng: np.random.Generator, n: int, phi: float) -> Floats:
    """A stationary AR(1) with standard deviation 1."""
    e = rng.standard_normal(n)
    e[1:] *= np.sqrt(1.0 - phi * phi)
    return np.asarray(lfilter([1.0], [1.0, -phi], e))


def realised(phi: float, n: int, presses: int) -> Realised:
    """So many baselines of n shots by `phase_one`, each with the exact run length of its limits."""
    run_length = exact_run_length(phi)
    rng = np.random.default_rng(1000 * n + round(100 * phi))
    off, sigma, wide = np.empty(presses), np.empty(presses), np.empty(presses)
    for i in range(presses):
        found = phase_one(correlated(rng, n, phi))
        assert isinstance(found, PhaseOne)
        off[i], sigma[i] = found.center, found.sigma
        wide[i] = guaranteed_multiplier(found.n_used, phi=found.phi or 0.0, center="median")
    plain, kept = run_length(off, 3.0 * sigma), run_length(off, wide * sigma)
    share = float((kept >= PROMISED).mean())
    return Realised(
        plain=float(1.0 / (1.0 / plain).mean()),
        plain_tenth=float(np.quantile(plain, 0.1)),
        plain_share=float((plain >= PROMISED).mean()),
        kept=share,
        kept_error=float(np.sqrt(max(share * (1.0 - share), 1e-4) / presses)),
        kept_tenth=float(np.quantile(kept, 0.1)),
    )


def table(presses: int = 2000) -> str:
    """The study in text."""
    lines = []
    for phi in (0.0, 0.3, 0.6):
        for n in (100, 300, 1000, 5000):
            r = realised(phi, n, presses)
            lines.append(
                f"{phi}  {n:>5}  {r.plain:.0f} overall, a tenth below {r.plain_tenth:.0f}   "
                f"{r.kept:.1%}, a tenth below {r.kept_tenth:.0f}"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
