"""How often the 95 % intervals of percentile indices hold the truth.

`python -m tests.maths.percentile_study` prints the table that stands in `tests/reference/COVERAGE.md`.
"""

import math
import sys
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import stats
from scipy.signal import lfilter

from server.maths.intervals import Interval
from server.maths.percentiles import PercentileIndices, Quantiles, indices_of, percentile_indices

Floats = npt.NDArray[np.float64]
LIMITS = {"lower": 0.2, "upper": 3.0}


def _scores(rng: np.random.Generator, n: int, phi: float = 0.0) -> Floats:
    e = rng.standard_normal(n)
    e[1:] *= math.sqrt(1.0 - phi * phi)
    return np.asarray(lfilter([1.0], [1.0, -phi], e))


def _heavy(z: Floats) -> Floats:
    return np.asarray(1.2 + 0.15 * np.asarray(stats.t.ppf(stats.norm.cdf(z), 5), dtype=np.float64))


#: name → quantile function, and the phi of the normal scores drawn through it (told to the interval).
PROCESSES: dict[str, tuple[Callable[[Floats], Floats], float]] = {
    "normal": (lambda z: 1.2 + 0.25 * z, 0.0),
    "lognormal 0.25": (lambda z: np.exp(0.25 * z), 0.0),
    "lognormal 0.25, AR(1) 0.4": (lambda z: np.exp(0.25 * z), 0.4),
    "gamma, shape 9": (lambda z: np.asarray(stats.gamma.ppf(stats.norm.cdf(z), 9.0) / 9.0), 0.0),
    "heavy tails (t, 5 df)": (_heavy, 0.0),
    "lognormal 0.25, step 0.1": (lambda z: np.asarray(np.round(np.exp(0.25 * z), 1), dtype=np.float64), 0.0),
}


def truth(process: str) -> PercentileIndices:
    """The indices of the distribution itself (before any rounding)."""
    law, _ = PROCESSES[process.split(", step")[0]]
    low, middle, high = (float(v) for v in law(np.asarray(stats.norm.ppf([0.00135, 0.5, 0.99865]))))
    found = indices_of(Quantiles(low, middle, high, "true"), lower=LIMITS["lower"], upper=LIMITS["upper"])
    assert isinstance(found, PercentileIndices)
    return found


def coverage(process: str, n: int, trials: int) -> tuple[float, float, float]:
    """Share of samples with an interval; of these, share that hold the true Pp and Ppk."""
    law, phi = PROCESSES[process]
    rng, true = np.random.default_rng(61), truth(process)
    said = wide = near = 0
    for _ in range(trials):
        found = percentile_indices(law(_scores(rng, n, phi)), phi=phi, **LIMITS)
        if not isinstance(found, PercentileIndices):
            continue
        pp, ppk = found.pp_interval, found.ppk_interval
        if not (isinstance(pp, Interval) and isinstance(ppk, Interval)):
            continue
        assert true.pp is not None
        said += 1
        wide += pp.lower <= true.pp <= pp.upper
        near += ppk.lower <= true.ppk <= ppk.upper
    return said / trials, wide / max(1, said), near / max(1, said)


def table(trials: int = 400) -> str:
    """The study in Markdown."""
    rows = [
        f"Coverage of nominal 95 % intervals of percentile indices, {trials} samples a line (standard error",
        "about 1 %), among the samples that gave an interval.",
        "",
        "| process | n | gave one | Pp | Ppk |",
        "|---|---|---|---|---|",
    ]
    for process in PROCESSES:
        for n in (50, 200, 800, 2000, 5000):
            shares = " | ".join(f"{share:.1%}" for share in coverage(process, n, trials if n < 1000 else 100))
            rows.append(f"| {process} | {n} | {shares} |")
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
