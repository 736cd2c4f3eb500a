"""A second family of presses to fit on: causes written as marks on the signals, not as physics.

Each cause moves level and scatter of each signal by amounts drawn from wide ranges, with the signs the
trade is sure of. Noise is autocorrelated or skewed, slow waves run under it, and nothing ties the
amounts together as a mass balance would. `calibration_world` has the physical presses.
"""

import dataclasses
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from server.contract import LEAK_CAUSES
from server.valve.calibration_dice import Dice
from server.valve.calibration_life import WAYS, cold_starts, grown
from server.valve.shapes import LOT_CHANGE, SETTING_CHANGE

Floats = NDArray[np.float64]

_NAMES: Final = ("swept", "size", "peak", "transfer", "fill", "recovery", "weight", "drift")
SWEPT, SIZE, PEAK, TRANSFER, FILL, RECOVERY, WEIGHT, DRIFT = range(len(_NAMES))


@dataclasses.dataclass
class Marks:
    """What a story leaves on n shots of every signal: level [8, n] (share; drift: sigma), spread [8, n].

    single [n]: what single shots lose past the valve, share. loss [n]: what is lost on average.
    """

    n: int
    onset: int
    ramp: int
    level: Floats
    spread: Floats
    single: Floats
    loss: Floats
    change: NDArray[np.int64]
    severity: float = 0.0
    reported: bool = True
    way: str = "line"

    @staticmethod
    def none(n: int, onset: int, ramp: int, way: str = "line") -> "Marks":
        k = len(_NAMES)
        zero = np.zeros(n)
        return Marks(n, onset, ramp, np.zeros((k, n)), np.ones((k, n)), zero.copy(), zero.copy(),
                     np.zeros(n, dtype=np.int64), way=way)  # fmt: skip

    def since(self) -> Floats:
        """[n] 0 before the onset, 1 once the ramp is over."""
        return grown(self.n, self.onset, ramp=self.ramp, way=self.way)

    def known(self, kind: int, *, reported: bool) -> None:
        self.reported = reported
        if reported:
            self.change[self.onset] = kind


def _leak(dice: Dice, m: Marks) -> None:
    m.severity = dice.between((0.0025, 0.09))
    grown = m.severity * m.since()
    u = dice.rng.uniform
    m.loss += grown
    m.level[SWEPT] += grown * u(0.6, 1.0)
    m.spread[SWEPT] += grown * (0.0 if dice.either(0.2) else dice.between((3.0, 250.0)))
    m.level[PEAK] -= grown * u(0.0, 0.9)
    m.level[TRANSFER] -= grown * u(0.0, 0.9)
    m.level[RECOVERY] -= grown * u(0.0, 1.0)
    m.level[WEIGHT] -= grown * u(0.0, 0.5)
    m.level[DRIFT] += 100.0 * grown * dice.between((0.3, 6.0))


def _late(dice: Dice, m: Marks) -> None:
    share, far = dice.between((0.015, 0.45)), dice.between((0.002, 0.06))
    rng = dice.rng
    late = rng.random(m.n) < share
    if dice.either(0.3):  # late shots keep company
        kept = lfilter([1.0], [1.0, -rng.uniform(0.5, 0.95)], rng.standard_normal(m.n))
        late = kept > np.quantile(kept, 1.0 - share)
    shape = dice.between((0.6, 5.0))
    each = np.where(late, far * rng.gamma(shape, 1.0 / shape, m.n), 0.0)
    if dice.either(0.25):
        each -= np.where(rng.random(m.n) < 0.3 * share, 0.5 * far * rng.random(m.n), 0.0)
    grown = m.since()
    m.severity = share
    m.single += each * grown
    m.loss += np.maximum(share * far, 0.003) * grown
    m.level[PEAK] -= each * grown * rng.uniform(-0.3, 1.0)
    m.level[WEIGHT] -= each * grown * rng.uniform(0.0, 0.5)
    m.spread[PEAK] += rng.uniform(0.0, 1.0) * grown


def _unshut(dice: Dice, m: Marks) -> None:
    m.severity = dice.between((0.04, 0.6))
    u = dice.rng.uniform
    begun = (np.arange(m.n) >= m.onset) * (dice.rng.random(m.n) < u(0.75, 1.3))
    each = m.severity * begun * np.exp(0.1 * dice.rng.standard_normal(m.n))
    m.single += each
    m.loss += m.severity * (np.arange(m.n) >= m.onset)
    # Now and then no pressure builds up at all, however little is seen to flow back.
    fallen = u(0.1, 0.8) * begun if dice.either(0.4) else each
    m.level[PEAK] -= fallen * u(0.2, 1.0)
    m.level[TRANSFER] -= fallen * u(0.2, 1.0)
    m.spread[PEAK] += begun * u(0.0, 6.0)
    m.level[WEIGHT] -= each * u(0.0, 0.6)
    m.spread[RECOVERY] += u(0.0, 6.0) * begun
    m.level[RECOVERY] += begun * u(-0.3, 0.3)


def _melt(dice: Dice, m: Marks) -> None:
    far = dice.between((0.001, 0.015))
    slow = np.sin(np.arange(m.n) * dice.between((0.02, 0.8)) + dice.rng.uniform(0, 6))
    burst = np.where(slow > dice.rng.uniform(-0.5, 0.8), 1.0, 0.1) * (np.arange(m.n) >= m.onset)
    each = far * burst * dice.rng.standard_normal(m.n)
    each = np.abs(each) if dice.either(0.5) else each
    m.level[SWEPT] += each
    m.level[SIZE] += each * dice.rng.uniform(0.0, 0.7)
    m.spread[PEAK] += burst * dice.rng.uniform(0.2, 3.0)
    m.spread[RECOVERY] += burst * dice.between((0.4, 5.0))


def _metering(dice: Dice, m: Marks) -> None:
    m.spread[SIZE] += m.since() * dice.between((0.8, 9.0))
    m.spread[RECOVERY] += m.since() * dice.rng.uniform(0.0, 1.0)


def _screw(dice: Dice, m: Marks) -> None:
    m.level[RECOVERY] += m.since() * dice.between((0.02, 0.4))
    m.spread[RECOVERY] += m.since() * dice.rng.uniform(0.0, 0.5)


def _thinner(dice: Dice, m: Marks) -> None:
    amount = dice.sign() * dice.between((0.01, 0.2)) * m.since()
    u = dice.rng.uniform
    m.level[PEAK] += amount
    m.level[TRANSFER] += amount * u(0.8, 1.2)
    m.level[SWEPT] -= amount * u(0.0, 0.12)
    m.level[WEIGHT] -= amount * u(0.0, 0.12)
    m.level[RECOVERY] += amount * u(-0.3, 0.6)
    m.level[FILL] += amount * (u(0.0, 0.8) if dice.either(0.15) else 0.0)
    m.known(LOT_CHANGE, reported=dice.either(0.55))


def _setting(dice: Dice, m: Marks) -> None:
    begun = (np.arange(m.n) >= m.onset).astype(np.float64)
    u = dice.rng.uniform
    if dice.either(0.65):
        packed = dice.sign() * dice.between((0.001, 0.02)) * begun
        m.level[SWEPT] += packed
        m.level[WEIGHT] += packed * u(0.0, 0.9)
        m.level[DRIFT] += 40.0 * packed * u(0.0, 3.0)
    if dice.either(0.5):
        faster = dice.sign() * dice.between((0.04, 0.5)) * begun
        m.level[FILL] -= faster
        m.level[PEAK] += faster * u(0.1, 0.7)
        m.level[TRANSFER] += faster * u(0.1, 0.7)
        m.level[SWEPT] += faster * u(-0.008, 0.008)
    m.known(SETTING_CHANGE, reported=dice.either(0.72))


def _flash(dice: Dice, m: Marks) -> None:
    out = dice.between((0.002, 0.045)) * m.since()
    u = dice.rng.uniform
    m.level[SWEPT] += out
    m.level[WEIGHT] += out * u(0.3, 1.1)
    m.level[TRANSFER] -= out * u(0.3, 4.0)
    m.level[PEAK] -= out * u(0.0, 0.8)


def _blocked(dice: Dice, m: Marks) -> None:
    part = float(dice.rng.choice([1 / 4, 1 / 8, 1 / 16, 1 / 32])) * (np.arange(m.n) >= m.onset)
    m.level[SWEPT] -= part
    m.level[WEIGHT] -= part
    m.level[PEAK] += part * dice.rng.uniform(0.05, 0.7)
    m.level[TRANSFER] += part * dice.rng.uniform(0.05, 0.7)


def _outward(dice: Dice, m: Marks) -> None:
    each = np.maximum(1.0 + dice.between((0.03, 0.8)) * dice.rng.standard_normal(m.n), 0.0)
    out = dice.between((0.002, 0.045)) * m.since() * each
    u = dice.rng.uniform
    m.level[SWEPT] += out
    m.level[WEIGHT] -= out * u(0.0, 0.3)
    m.level[PEAK] -= out * u(0.0, 0.7)
    m.level[TRANSFER] -= out * u(0.0, 0.7)
    if dice.either(0.5):  # what escapes while pressure is held lets the screw creep as well
        m.level[DRIFT] += 100.0 * out * dice.between((0.1, 3.0))


_MARKS: Final[dict[str, Callable[[Dice, Marks], None]]] = {
    "steady_leak": _leak, "erratic_closing": _late, "not_closing": _unshut, "uneven_melt": _melt,
    "metering": _metering, "worn_screw": _screw, "viscosity_shift": _thinner, "setting_change": _setting,
    "flash": _flash, "blocked_cavity": _blocked, "outward_leak": _outward,
}  # fmt: skip


def _noise(dice: Dice, n: int) -> Floats:
    """[n] of unit variance: AR(1) of t(6), or a centred gamma; slow waves are added by the caller."""
    if dice.either(0.15):
        return np.asarray((dice.rng.gamma(4.0, 1.0, n) - 4.0) / 2.0 * dice.sign())
    phi = dice.rng.uniform(-0.1, 0.6)
    out = np.sqrt(1.0 - phi * phi) * dice.rng.standard_t(6, n) / np.sqrt(1.5)
    last = 0.0
    for i, shock in enumerate(out.tolist()):
        last = phi * last + shock
        out[i] = last
    return np.asarray(out)


def _waves(dice: Dice, n: int) -> Floats:
    """[n] slow wandering, about ± 1: three waves of 60 to 20,000 shots."""
    total = np.zeros(n)
    for _ in range(3):
        total += np.sin(2 * np.pi * np.arange(n) / dice.between((60.0, 20_000.0)) + dice.rng.uniform(0, 6.3))
    return total / 1.8


def draw_signals(
    dice: Dice, *, cause: str, record: int, onset: int, ramp: int, at_ms: NDArray[np.int64]
) -> tuple[dict[str, Floats], Marks]:
    """Columns as a press reports them (every sensor), and the marks of the story."""
    n = len(at_ms)
    m = Marks.none(n, record + onset, ramp, str(dice.rng.choice(WAYS)))
    if cause in _MARKS:
        _MARKS[cause](dice, m)
    assert cause in LEAK_CAUSES or not m.loss.any()
    for _ in range(int(dice.rng.integers(0, 3))):
        at = int(dice.rng.integers(record + 20, n))
        lot = 0.02 * dice.rng.standard_normal()
        m.level[PEAK, at:] += lot
        m.level[TRANSFER, at:] += lot
        m.level[SWEPT, at:] -= 0.08 * lot * dice.rng.random()
        if dice.either(0.7):
            m.change[at] = LOT_CHANGE
    stroke = dice.between((18.0, 250.0))
    own = (0.0, 0.0, *(dice.between((0.001, 0.02)) for _ in range(5)), 1.0)
    scatter = np.array(own)
    scatter[SWEPT], scatter[FILL] = dice.between((0.0002, 0.004)), dice.between((0.0008, 0.02))
    scatter[WEIGHT] = dice.between((0.0002, 0.004))
    scatter[SIZE] = dice.between((0.004, 0.2)) / stroke
    wander = np.array([dice.between((0.0001, 0.002)), 0.0, *(dice.between((0.0005, 0.01)) for _ in range(4)),
                       dice.between((0.0001, 0.001)), 0.0])  # fmt: skip
    rel = m.level + scatter[:, None] * m.spread * np.stack([_noise(dice, n) for _ in _NAMES])
    rel += wander[:, None] * np.stack([_waves(dice, n) for _ in _NAMES])
    rel[SWEPT] += cold_starts(dice, at_ms)
    return _printed(dice, m, rel, stroke, cause), m


def _printed(dice: Dice, m: Marks, rel: Floats, stroke: float, cause: str) -> dict[str, Floats]:
    size = stroke * (1.0 + dice.between((0.03, 0.16)) + rel[SIZE]) + 1.5
    swept = stroke * (1.0 + rel[SWEPT] + m.single)
    if dice.either(0.3):
        at = int(dice.rng.integers(m.onset - 50, m.n))
        size[at:] += dice.between((0.2, 2.5))
    cushion = np.maximum(size - swept, 0.03 * np.abs(dice.rng.standard_normal(m.n)))
    moved, shown = np.zeros(m.n), cushion
    if cause == "position_reference":  # now and then the true bottom alone
        alone = dice.either(0.2)
        moved[m.onset :] = dice.sign() * dice.between((0.1, 1.5))
        shown, moved = cushion + moved, np.where(alone, 0.0, moved)
    step = float(dice.rng.choice([0.01, 0.01, 0.02, 0.05, 0.1]))
    travel, per_mm = size - cushion, dice.between((0.03, 0.3))
    bar, seconds, grams = dice.between((250.0, 1900.0)), dice.between((0.25, 6.0)), dice.between((3.0, 900.0))
    creep = dice.between((0.01, 0.15)) + dice.between((0.004, 0.03)) * rel[DRIFT]
    weight = grams * np.maximum(1.0 + rel[WEIGHT] - np.maximum(swept - size, 0.0) / stroke, 0.0)
    weight[np.arange(m.n) % int(dice.rng.choice([1, 1, 10])) != 0] = np.nan

    def to(values: Floats, per: float) -> Floats:
        return np.asarray(np.round(values / per) * per)

    size = np.roll(size, -1) if dice.either(0.2) else size  # some presses report the dose just made
    return {
        "shot_size_mm": to(size + moved, step), "cushion_mm": to(np.maximum(shown, 0.0), step),
        "peak_pressure_bar": to(bar * np.maximum(1.0 + rel[PEAK], 0.05), 1.0),
        "transfer_pressure_bar": to(0.9 * bar * np.maximum(1.0 + rel[TRANSFER], 0.05), 1.0),
        "fill_time_s": to(seconds * np.maximum(1.0 + rel[FILL], 0.1), 0.01),
        "recovery_time_s": to(per_mm * travel * np.maximum(1.0 + rel[RECOVERY], 0.1), 0.01),
        "part_weight_g": to(weight, 0.01), "drift_mm": to(creep, step),
    }  # fmt: skip
