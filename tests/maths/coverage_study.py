"""How often the 95 % intervals of capability hold the truth, on data that are not ideal too.

`python -m tests.maths.coverage_study` prints the table that stands in `tests/reference/COVERAGE.md`.
"""

import math
import sys
from collections.abc import Callable
from typing import Literal

import numpy as np
import numpy.typing as npt

from server.maths.capability import Capability, Index, capability

Floats = npt.NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Floats]


def _correlated(phi: float) -> Draw:
    def draw(rng: np.random.Generator, n: int) -> Floats:
        e = rng.standard_normal(n)
        for i in range(1, n):
            e[i] = phi * e[i - 1] + math.sqrt(1 - phi * phi) * e[i]
        return e

    return draw


def _rounded(rng: np.random.Generator, n: int) -> Floats:
    phase = float(rng.uniform())
    return np.asarray(np.round(rng.standard_normal(n) + phase) - phase)


#: name → how a sample with mean 0 and true sigma 1 is drawn, and the phi the interval is told.
PROCESSES: dict[str, tuple[Draw, float]] = {
    "normal": (lambda rng, n: rng.standard_normal(n), 0.0),
    "rounded, step = sigma": (_rounded, 0.0),
    "heavy tails (t, 6 df)": (lambda rng, n: rng.standard_t(6, n) / math.sqrt(1.5), 0.0),
    "heavy tails, measured": (lambda rng, n: rng.standard_t(6, n) / math.sqrt(1.5), 0.0),
    "skewed (gamma, shape 4)": (lambda rng, n: rng.gamma(4.0, 0.5, n) - 2.0, 0.0),
    "AR(1) 0.5, not told": (_correlated(0.5), 0.0),
    "AR(1) 0.5, told": (_correlated(0.5), 0.5),
}


def coverage(process: str, n: int, trials: int) -> tuple[float, float, float]:
    """Share of intervals of Pp, Ppk and one-sided Ppk that hold the truth, limits at -4 and 5."""
    draw, phi = PROCESSES[process]
    tails: Literal["normal", "measured"] = "measured" if process.endswith("measured") else "normal"
    rng = np.random.default_rng(7)
    hits = [0, 0, 0]
    for _ in range(trials):
        x = draw(rng, n)
        both = capability(x, lower=-4.0, upper=5.0, phi=phi, tails=tails)
        one = capability(x, lower=-4.0, phi=phi, tails=tails)
        if not (isinstance(both, Capability) and isinstance(one, Capability)):
            continue
        for place, (index, true) in enumerate(((both.pp, 1.5), (both.ppk, 4.0 / 3.0), (one.ppk, 4.0 / 3.0))):
            assert isinstance(index, Index)
            hits[place] += index.interval.lower <= true <= index.interval.upper
    return hits[0] / trials, hits[1] / trials, hits[2] / trials


def table(trials: int = 800) -> str:
    """The study in Markdown."""
    rows = [
        f"Coverage of nominal 95 % intervals, {trials} samples a line (standard error about 0.8 %);",
        "true Pp 1.5, true Ppk 1.333. Two limits: χ² for Pp; for Ppk the exact noncentral t below",
        "n = 30, Bissell from there. One limit: noncentral t.",
        "",
        "| process | n | Pp | Ppk | Ppk, one limit |",
        "|---|---|---|---|---|",
    ]
    for process in PROCESSES:
        for n in (10, 25, 50, 200):
            shares = " | ".join(f"{share:.1%}" for share in coverage(process, n, trials))
            rows.append(f"| {process} | {n} | {shares} |")
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
