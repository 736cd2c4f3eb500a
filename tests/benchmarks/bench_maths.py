"""How fast the statistics are: `python -m tests.benchmarks.bench_maths`; not part of the test run.

Promises: all eight run rules over 1,000,000 values in at least 30 M values/s on one core, and all
charts of one press over 100 new shots in at most 2 ms.
"""

import sys
import time
from collections.abc import Callable

import numpy as np

from server.contract import RUN_RULES
from server.maths.baseline import phase_one
from server.maths.multivariate import Reference, reference, t_squared
from server.maths.run_rules import marks
from server.maths.scatter import scatter_ewma
from server.maths.smoothing import cusum, ewma


def best_of(call: Callable[[], object], *, times: int) -> float:
    """The shortest of several runs, in seconds."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        call()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def rules_per_second(size: int = 1_000_000) -> float:
    """Values per second for all eight run rules together."""
    z = np.random.default_rng(1).standard_normal(size)
    return size / best_of(lambda: [marks(z, rule=rule) for rule in RUN_RULES], times=10)


def hundred_new_shots() -> float:
    """Seconds for all charts of one signal over 100 new shots."""
    x = np.random.default_rng(2).standard_normal(120)
    table = np.random.default_rng(3).standard_normal((300, 4))
    ref = reference(table, names=("a", "b", "c", "d"))
    assert isinstance(ref, Reference)

    def once() -> None:
        for rule in RUN_RULES:
            marks(x, rule=rule)
        ewma(x[20:], target=0, sigma=1)
        cusum(x[20:], target=0)
        scatter_ewma(x[19:], sigma=1)
        t_squared(table[:100], against=ref)

    return best_of(once, times=50)


def baseline_of_a_thousand() -> float:
    """Seconds for one baseline over 1000 values."""
    x = np.round(np.random.default_rng(4).normal(12, 0.03, 1000), 2)
    return best_of(lambda: phase_one(x), times=20)


if __name__ == "__main__":
    sys.stdout.write(f"eight run rules      {rules_per_second() / 1e6:8.1f} M values/s (30 promised)\n")
    sys.stdout.write(f"100 new shots        {hundred_new_shots() * 1e3:8.2f} ms (2 promised)\n")
    sys.stdout.write(f"baseline of 1000     {baseline_of_a_thousand() * 1e3:8.2f} ms (20 promised)\n")
