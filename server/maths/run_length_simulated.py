"""Run lengths by Monte Carlo, for what has no exact form; every answer carries its standard error."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from server.maths.run_rule_spec import RunRule
from server.maths.run_rules import latest_start

Floats = npt.NDArray[np.float64]

#: Values simulated for run rules.
RULE_POINTS: Final = 16_000_000
#: Steps times lanes for the other charts.
POINTS: Final = 40_000_000
#: Runs after which the simulation of rules stops: a standard error of about 0.2 %.
ENOUGH_RUNS: Final = 300_000
#: Parallel runs of a chart.
LANES: Final = 32_768
#: Longest run followed; longer ones count as cut off.
STEPS_MAX: Final = 20_000


@dataclass(frozen=True)
class Simulated:
    """`arl` with its standard error; `cut` of the `runs` were still going when the budget ended.

    With runs cut off, `arl` is total time over signals, right for run lengths that are nearly
    geometric.
    """

    arl: float
    standard_error: float
    runs: int
    cut: int


class Chart(Protocol):
    """A chart over many lanes at once: takes one value per lane, says which lanes signal."""

    def start(self, lanes: int) -> None:
        """Begin `lanes` fresh runs."""

    def step(self, x: Floats) -> npt.NDArray[np.bool_]:
        """Feed one value per lane."""

    def keep(self, lanes: npt.NDArray[np.bool_]) -> None:
        """Forget the lanes that are False."""


@dataclass
class EwmaLanes:
    """EWMA in sigma units; `exact` limits or steady ones."""

    weight: float
    width: float
    exact: bool
    two_sided: bool = True

    def start(self, lanes: int) -> None:
        """Begin at the target."""
        self._z, self._t = np.zeros(lanes), 0

    def step(self, x: Floats) -> npt.NDArray[np.bool_]:
        """One value per lane."""
        self._t += 1
        self._z = self.weight * x + (1.0 - self.weight) * self._z
        limit = self.width * math.sqrt(self.weight / (2.0 - self.weight))
        if self.exact:
            limit *= math.sqrt(1.0 - (1.0 - self.weight) ** (2.0 * self._t))
        return np.asarray((np.abs(self._z) if self.two_sided else self._z) > limit)

    def keep(self, lanes: npt.NDArray[np.bool_]) -> None:
        """Drop finished lanes."""
        self._z = self._z[lanes]


@dataclass
class CusumLanes:
    """Tabular CUSUM in sigma units."""

    k: float
    h: float
    headstart: float = 0.0
    two_sided: bool = True

    def start(self, lanes: int) -> None:
        """Begin at the headstart."""
        self._up, self._down = np.full(lanes, self.headstart), np.full(lanes, self.headstart)

    def step(self, x: Floats) -> npt.NDArray[np.bool_]:
        """One value per lane."""
        self._up = np.maximum(self._up + (x - self.k), 0.0)
        self._down = np.maximum(self._down - (x + self.k), 0.0)
        high = self._up > self.h
        return np.asarray(high | (self._down > self.h)) if self.two_sided else np.asarray(high)

    def keep(self, lanes: npt.NDArray[np.bool_]) -> None:
        """Drop finished lanes."""
        self._up, self._down = self._up[lanes], self._down[lanes]


def simulated_chart(chart: Chart, *, shift: float, phi: float = 0.0, seed: int = 20_260) -> Simulated:
    """Mean run length of a chart on a normal AR(1), from a stationary start.

    Parameters
    ----------
    chart : Chart
        `EwmaLanes`, `CusumLanes` or alike, in units of the marginal sigma.
    shift : float
        Shift of the mean in marginal sigma, from the first value.
    phi : float
        Lag-1 autocorrelation.
    seed : int
        Of the generator: the same question has the same answer.

    Examples
    --------
    >>> found = simulated_chart(CusumLanes(k=0.5, h=4), shift=1.0)
    >>> abs(found.arl - 8.383) < 4 * found.standard_error
    True
    """
    rng = np.random.default_rng(seed)
    inner = math.sqrt(1.0 - phi * phi)
    chart.start(LANES)
    x = rng.standard_normal(LANES)
    times: list[Floats] = []
    spent = step = 0
    while x.size and step < STEPS_MAX and spent < POINTS:
        step += 1
        spent += x.size
        signals = chart.step(x + shift)
        done = int(signals.sum())
        if done:
            times.append(np.full(done, float(step)))
            chart.keep(~signals)
            x = x[~signals]
        x = phi * x + inner * rng.standard_normal(x.size)
    return _summary(np.concatenate(times) if times else np.zeros(0), cut=x.size, steps=step)


def _summary(times: Floats, *, cut: int, steps: int) -> Simulated:
    total = float(times.sum()) + cut * float(steps)
    done = int(times.size)
    if done == 0:
        return Simulated(math.inf, math.inf, cut, cut)
    if cut:
        return Simulated(total / done, total / done / math.sqrt(done), done + cut, cut)
    return Simulated(float(times.mean()), float(times.std()) / math.sqrt(done), done, 0)


def simulated_rules(
    rules: Sequence[RunRule], *, shift: float, phi: float = 0.0, points: int = RULE_POINTS, seed: int = 20_261
) -> Simulated:
    """Mean run length of a combination of run rules on a normal AR(1), history cleared.

    Parameters
    ----------
    rules : sequence of RunRule
        Any rules.
    shift : float
        Shift of the mean in marginal sigma.
    phi : float
        Lag-1 autocorrelation; the process runs on after a signal, only the history is cleared.
    points : int
        Values simulated.
    seed : int
        Of the generator.

    Examples
    --------
    >>> from server.maths.run_rules import run_rule
    >>> found = simulated_rules([run_rule("one_side")], shift=1.0, points=1_000_000)
    >>> 10 < found.arl < 30
    True
    """
    rng = np.random.default_rng(seed)
    block = min(points, 1_000_000)
    inner = math.sqrt(1.0 - phi * phi)
    times: list[Floats] = []
    last, left = 0.0, 0
    for _ in range(max(1, points // block)):
        z = rng.standard_normal(block)
        if phi:
            begin = last if left or times else float(rng.standard_normal())
            z = np.asarray(lfilter([inner], [1.0, -phi], z, zi=[phi * begin])[0])
            last = float(z[-1])
        gaps, tail = _gaps(z + shift, rules)
        times.append(gaps)
        left += tail
        if sum(t.size for t in times) >= ENOUGH_RUNS:
            break
    found = np.concatenate(times)
    if found.size == 0:
        return Simulated(math.inf, math.inf, 0, 0)
    total = float(found.sum()) + left
    spread = float(found.std()) if found.size > 1 else float(found[0])
    return Simulated(total / found.size, spread / math.sqrt(found.size), int(found.size), 0)


def _gaps(z: Floats, rules: Sequence[RunRule]) -> tuple[Floats, int]:
    """Run lengths within one block, and the points after its last signal."""
    parts = [latest_start(z, rule) for rule in rules]
    at, start = np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])
    order = np.argsort(at, kind="stable")
    begin, gaps = 0, []
    for index, first in zip(at[order].tolist(), start[order].tolist(), strict=True):
        if first >= begin:
            gaps.append(index - begin + 1)
            begin = index + 1
    return np.array(gaps, dtype=np.float64), z.size - begin
