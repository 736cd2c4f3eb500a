"""What happens to a press of the proof: faults of the valve, everything that looks like one, and daily life.

A leak is a share of the swept stroke lost with each shot. How large a fault is against the press's own
scatter decides what it is called: see `VISIBLE`.
"""

import dataclasses
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from server.contract import CAUSES, LEAK_CAUSES
from server.valve.proof_world import Chance, Floats, Press, quiet

#: Kinds of known change, as evaluation takes them.
LOT, SETTING = 1, 2
#: How visible a fault is: its size against the scatter of single healthy shots.
VISIBLE: Final[tuple[tuple[str, float], ...]] = (
    ("hidden in the scatter", 0.0), ("barely visible", 1.0), ("clear", 2.0), ("gross", 6.0),
)  # fmt: skip
#: A loss below this share of the swept stroke is not called a leak, nor is the valve called sound.
LEAKS_FROM: Final = 0.003

#: How often each cause is drawn. A setting changed without a word counts as a cause of its own.
SHARES: Final[dict[str, float]] = {
    "sealing": 0.24, "steady_leak": 0.22, "erratic_closing": 0.14, "not_closing": 0.06,
    "uneven_melt": 0.04, "metering": 0.04, "worn_screw": 0.03, "viscosity_shift": 0.06,
    "setting_change": 0.06, "position_reference": 0.03, "flash": 0.03, "blocked_cavity": 0.02,
    "outward_leak": 0.03,
}  # fmt: skip
assert set(SHARES) | {"unexplained"} == set(CAUSES)


@dataclasses.dataclass(frozen=True)
class Story:
    """push: see `proof_world.PUSHES`. loss_now [n]: what the valve loses on average at each shot, share.

    visible [n]: that loss against the healthy scatter. change [n]: known changes. size: the fault at
    its largest, share of the swept stroke. reported: False where nobody wrote down the change that
    is the cause.
    """

    push: dict[str, Floats]
    loss_now: Floats
    visible: Floats
    change: NDArray[np.int64]
    size: float
    reported: bool
    growth: str


def growing(chance: Chance, n: int, onset: int, *, length: int) -> tuple[str, Floats]:
    """How a fault grows from 0 to 1 after its onset: at once, in a line, ever faster, or in stairs."""
    kind = str(chance.one_of("step", "step", "line", "faster", "stairs"))
    x = np.clip((np.arange(n) - onset) / max(length, 1), 0.0, 1.0)
    begun = (np.arange(n) >= onset).astype(np.float64)
    if kind == "step":
        return kind, begun
    if kind == "faster":
        return kind, np.asarray(np.expm1(3.0 * x) / np.expm1(3.0))
    if kind == "stairs":
        stairs = int(chance.rng.integers(2, 6))
        return kind, np.asarray(np.ceil(x * stairs) / stairs * begun)
    return kind, x


@dataclasses.dataclass
class Telling:
    """A story while it is being told."""

    chance: Chance
    press: Press
    n: int
    onset: int
    length: int
    push: dict[str, Floats]
    loss_now: Floats
    visible: Floats
    change: NDArray[np.int64]
    size: float = 0.0
    reported: bool = True
    growth: str = "step"
    sudden: float | None = None

    @property
    def begun(self) -> Floats:
        return (np.arange(self.n) >= self.onset).astype(np.float64)

    def grown(self) -> Floats:
        if self.sudden is not None:
            return self.begun
        self.growth, grown = growing(self.chance, self.n, self.onset, length=self.length)
        return grown

    @property
    def healthy_scatter(self) -> float:
        """Standard deviation of single healthy shots, share of the swept stroke, display included."""
        display = self.press.step_mm / self.press.stroke / 2.5
        return float(np.sqrt(self.press.own_sd**2 + 0.5 * self.press.wander**2 + display**2))


def _steady_leak(t: Telling) -> None:
    c = t.chance
    t.size = c.log(0.003, 0.08) if t.sudden is None else t.sudden
    mean = t.size * t.grown()
    spread = c.log(0.03, 0.5)
    slow = lfilter([1.0], [1.0, -c.flat(0.0, 0.8)], c.rng.standard_normal(t.n))
    each = np.exp(spread * slow / slow.std() - 0.5 * spread**2)
    with_hold = np.clip(1.0 + t.push["hold"] / (0.5 * t.press.pressure_bar), 0.3, 3.0) ** c.flat(0.8, 2.0)
    t.push["loss"] += mean * each * with_hold
    t.push["fill_loss"] += mean * each * c.flat(0.1, 0.7)
    t.push["recovery"] -= mean * c.flat(0.0, 1.0)
    t.loss_now += mean
    t.visible += mean / t.healthy_scatter


def _erratic_closing(t: Telling) -> None:
    c = t.chance
    share, far = c.log(0.02, 0.4), c.log(0.003, 0.05)
    if c.yes(0.3):  # late shots keep company
        on = lfilter([1.0], [1.0, -0.9], c.rng.standard_normal(t.n))
        late = on > np.quantile(on, 1.0 - share)
    else:
        late = c.rng.random(t.n) < share
    sizes = {
        "exponential": c.rng.exponential(1.0, t.n),
        "even": c.rng.uniform(0.3, 1.7, t.n),
        "skewed": c.rng.lognormal(-0.3, 0.8, t.n),
    }[str(c.one_of("exponential", "even", "skewed"))]
    each = np.where(late, far * sizes, 0.0)
    if c.yes(0.25):  # some shots shut sooner than usual
        each = each - np.where(c.rng.random(t.n) < 0.4 * share, 0.5 * far * sizes, 0.0)
    grown = t.grown()
    t.push["loss"] += grown * each
    t.push["fill_loss"] += grown * each * c.flat(0.3, 1.2)
    t.size = share * far
    t.loss_now += grown * np.maximum(share * far, LEAKS_FROM)
    t.visible += grown * np.sqrt(share) * far / t.healthy_scatter


def _not_closing(t: Telling) -> None:
    c = t.chance
    t.size = c.log(0.05, 0.6)
    often = 1.0 if c.yes(0.7) else c.flat(0.7, 0.95)
    each = t.begun * t.size * (c.rng.random(t.n) < often)
    each = each * np.exp(c.log(0.02, 0.2) * c.rng.standard_normal(t.n))
    t.push["loss"] += each
    t.push["fill_loss"] += c.flat(0.5, 1.0) * each
    t.push["recovery"] += t.begun * 0.15 * c.rng.standard_normal(t.n)
    t.loss_now += t.begun * t.size
    t.visible += t.begun * t.size / t.healthy_scatter


def _uneven_melt(t: Telling) -> None:
    c = t.chance
    on = lfilter([1.0], [1.0, -c.flat(0.8, 0.98)], c.rng.standard_normal(t.n))
    burst = on > np.quantile(on, c.flat(0.4, 0.8))
    t.push["melt"] += t.begun * np.where(burst, 1.0, 0.15) * c.log(0.001, 0.012) * (
        np.abs(c.rng.standard_normal(t.n)) if c.yes(0.5) else c.rng.standard_normal(t.n)
    )  # fmt: skip


def _metering(t: Telling) -> None:
    t.push["dose_spread"] += t.grown() * t.chance.log(1.0, 8.0)


def _worn_screw(t: Telling) -> None:
    t.push["recovery"] += t.grown() * t.chance.log(0.03, 0.35)


def _viscosity_shift(t: Telling) -> None:
    t.push["viscosity"] += t.grown() * t.chance.side() * t.chance.log(0.03, 0.25)
    t.reported = t.chance.yes(0.6)
    if t.reported:
        t.change[t.onset] = LOT


def _setting_change(t: Telling) -> None:
    c = t.chance
    what = str(c.one_of("hold", "hold", "speed", "both", "temperature"))
    if what in ("hold", "both"):
        t.push["hold"] += t.begun * c.side() * c.log(15.0, 150.0)
    if what in ("speed", "both"):
        t.push["speed"] += t.begun * c.side() * c.log(0.05, 0.5)
    if what == "temperature":
        t.push["viscosity"] += t.begun * c.side() * c.log(0.03, 0.15)
    t.reported = c.yes(0.7)
    if t.reported:
        t.change[t.onset] = SETTING


def _position_reference(t: Telling) -> None:
    kind = "bottom_mm" if t.chance.yes(0.15) else "reference_mm"
    t.push[kind] += t.begun * t.chance.side() * t.chance.log(0.1, 1.5)


def _flash(t: Telling) -> None:
    t.push["flash"] += t.grown() * t.chance.log(0.003, 0.04)


def _blocked_cavity(t: Telling) -> None:
    t.push["blocked"] += t.begun / float(t.chance.one_of(4, 8, 16, 32, 64))


def _outward_leak(t: Telling) -> None:
    c = t.chance
    spread = c.log(0.03, 0.7)
    each = np.maximum(1.0 + spread * c.rng.standard_normal(t.n), 0.0)
    t.push["outward"] += t.grown() * c.log(0.003, 0.04) * each


_TOLD: Final[dict[str, Callable[[Telling], None]]] = {
    "steady_leak": _steady_leak, "erratic_closing": _erratic_closing, "not_closing": _not_closing,
    "uneven_melt": _uneven_melt, "metering": _metering, "worn_screw": _worn_screw,
    "viscosity_shift": _viscosity_shift, "setting_change": _setting_change,
    "position_reference": _position_reference, "flash": _flash, "blocked_cavity": _blocked_cavity,
    "outward_leak": _outward_leak,
}  # fmt: skip


def _daily_life(t: Telling, record: int) -> None:
    """Lots, small reported settings, and top-ups, on any press."""
    c = t.chance
    for _ in range(int(c.rng.integers(0, 3))):
        at = int(c.rng.integers(record + 30, t.n))
        t.push["viscosity"][at:] += 0.03 * c.rng.standard_normal()
        t.change[at] = LOT if c.yes(0.7) else t.change[at]
    if c.yes(0.2):
        at = int(c.rng.integers(record + 30, t.n))
        t.push["hold"][at:] += 20.0 * c.rng.standard_normal()
        t.change[at] = SETTING
    if c.yes(0.3):
        late = t.onset + 200 < t.n
        at = int(c.rng.integers(t.onset + 100 if late else record, t.n))
        t.push["dose_mm"][at:] += c.log(0.2, 2.5)


def tell(
    chance: Chance,
    press: Press,
    *,
    cause: str,
    n: int,
    record: int,
    onset: int,
    length: int,
    sudden: float | None = None,
) -> Story:
    """A story of n shots: `cause` from shot `onset` on, growing over `length` shots where it grows.

    sudden: share of the swept stroke a steady leak loses at once, instead of what is drawn.
    """
    t = Telling(
        chance, press, n, onset, length, quiet(n), np.zeros(n), np.zeros(n), np.zeros(n, dtype=np.int64)
    )
    t.sudden = sudden
    _daily_life(t, record)
    if cause != "sealing":
        _TOLD[cause](t)
    assert cause in LEAK_CAUSES or not t.loss_now.any()
    return Story(t.push, t.loss_now, t.visible, t.change, t.size, t.reported, t.growth)
