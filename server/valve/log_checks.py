"""What is checked of a log before it is believed: injected for metered volume, units, wrapped values."""

import dataclasses
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.language import N_
from server.maths.results import Undetermined

Floats = NDArray[np.float64]

#: Differences of neighbours needed for the constant-sum test (common practice, no source).
CONSTANT_SUM_NEEDS: Final = 30


@dataclasses.dataclass(frozen=True)
class ConstantSum:
    """Whether a column is what was injected rather than what was metered.

    injected: True, False, or None where the shots do not settle it. correlation: between the
    differences of neighbours of both columns, -1 to 1. sum_share: scatter of the sum's differences
    over that of the column's, 0 for a sum that is constant. pairs: differences compared.
    """

    injected: bool | None
    correlation: float
    sum_share: float
    pairs: int


def constant_sum(size: Floats, cushion: Floats, *, same_unit: bool = True) -> ConstantSum | Undetermined:
    """Tell an injected volume from a metered one, from n consecutive shots, float64 [n].

    same_unit False: the cushion is in another unit, and is brought to the column's scatter first.

    Injected + cushion is what was metered: constant within a run but for the metering's own scatter,
    so the differences of neighbours mirror one another (correlation -1, sum with hardly any
    scatter). A metered size does not fall when the cushion rises: with the dose used it rises with
    it, else it goes its own way (derived from the definitions; what the sums of real logs look like
    is in the reference material). Differences are cut at four times their upper quartile, so that
    restarts do not decide; NaN pairs are left out. `Undetermined` below 30 pairs or without movement.

    >>> import numpy as np
    >>> cushion = 6 + 0.1 * np.sin(np.arange(100.0) * 1.7)
    >>> constant_sum(80 - cushion, cushion).injected
    True
    >>> constant_sum(80 + 0.02 * np.cos(np.arange(100.0) * 2.9), cushion).injected
    False
    """
    size, cushion = np.asarray(size, dtype=np.float64), np.asarray(cushion, dtype=np.float64)
    moves: Floats = np.column_stack((np.diff(size), np.diff(cushion)))
    moves = moves[np.asarray(np.isfinite(moves).all(axis=1))]
    if len(moves) < CONSTANT_SUM_NEEDS:
        return Undetermined(
            N_(
                "{moves} of {constant_sum_needs} pairs of consecutive shots needed",
                moves=len(moves),
                constant_sum_needs=CONSTANT_SUM_NEEDS,
            )
        )
    sizes = np.abs(moves)
    reaches = 4.0 * np.quantile(sizes, 0.75, axis=0)
    reaches = np.where(reaches > 0.0, reaches, sizes.max(axis=0))
    moves = np.asarray(moves[(sizes <= reaches).all(axis=1)])
    spread = [float(np.std(moves[:, column])) for column in (0, 1)]
    if len(moves) < CONSTANT_SUM_NEEDS or min(spread) <= 1e-12:
        what = N_("the column") if spread[0] <= 1e-12 else N_("the cushion")
        return Undetermined(N_("{what} does not move from shot to shot, so its sum says nothing", what=what))
    if not same_unit:
        moves = moves * np.array([1.0, spread[0] / spread[1]])
    correlation = float(np.asarray(np.corrcoef(moves.T))[0, 1])
    share = float(moves.sum(axis=1).std() / spread[0])
    injected: bool | None = None
    if correlation <= -0.8 and share <= 0.6:
        injected = True
    elif correlation >= -0.5:
        injected = False
    return ConstantSum(injected, correlation, share, len(moves))


@dataclasses.dataclass(frozen=True)
class Suspicion:
    """Something about a column that a person should look at.

    kind: `unit`, `wrapped`, `constant` or `shifted`. value: the figure it rests on, `maybe` the unit or
    step it may be instead, share: of the rows that show it.
    """

    field: str
    kind: str
    value: float
    maybe: str = ""
    share: float = 1.0


#: Where the middle of a healthy column lies in its stored unit, generously (common practice, no
#: source), and the units whose readings would lie below or above it.
_USUAL: Final[dict[str, tuple[float, float, str, str]]] = {
    "cushion_mm": (0.6, 60.0, "in", "um"),
    "shot_size_mm": (6.0, 1_500.0, "in", "um"),
    "transfer_position_mm": (0.8, 300.0, "in", "um"),
    "peak_pressure_bar": (150.0, 3_500.0, "MPa", "psi"),
    "transfer_pressure_bar": (120.0, 3_500.0, "MPa", "psi"),
    "hold_pressure_bar": (40.0, 3_000.0, "MPa", "psi"),
    "fill_time_s": (0.02, 60.0, "min", "ms"),
    "recovery_time_s": (0.2, 240.0, "min", "ms"),
    "cycle_time_s": (1.0, 900.0, "min", "ms"),
    "hold_time_s": (0.02, 300.0, "min", "ms"),
    "melt_temp_c": (80.0, 420.0, "", "degF"),
    "oil_temp_c": (5.0, 75.0, "", "degF"),
    "zone_temps_c": (60.0, 420.0, "", "degF"),
}


def unit_suspicions(columns: Mapping[str, Floats]) -> list[Suspicion]:
    """Columns (stored units, float64 [n], NaN where missing) whose middle lies where another unit's would.

    The median is compared with a generous usual range (common practice, no source); a column with
    fewer than five readings says nothing.

    >>> import numpy as np
    >>> [(s.field, s.maybe) for s in unit_suspicions({"cushion_mm": np.full(20, 0.2)})]
    [('cushion_mm', 'in')]
    """
    found = []
    for field, (low, high, below, above) in _USUAL.items():
        values = np.asarray(columns.get(field, ()), dtype=np.float64)
        values = values[np.isfinite(values)]
        if len(values) < 5:
            continue
        middle = float(np.median(values))
        if 0.0 < middle < low and below:
            found.append(Suspicion(field, "unit", middle, below))
        elif middle > high and above:
            found.append(Suspicion(field, "unit", middle, above))
    return found


#: Full scale of a 16-bit counter of hundredths, tenths and ones, and how far below it a small
#: negative reads.
WRAPS: Final[tuple[tuple[float, float], ...]] = ((655.36, 6.0), (6553.6, 60.0), (65536.0, 600.0))


def unwrapped(values: Floats) -> Floats:
    """Small negatives kept as unsigned 16-bit numbers as what they are, float64 [n]; others NaN.

    655.36 - x, 6553.6 - x and 65536 - x for hundredths, tenths and ones, near full scale only (what
    a wrapped value looks like is in the reference material).

    >>> import numpy as np
    >>> unwrapped(np.array([6.02, 655.31, 65535.0])).round(2).tolist()
    [nan, -0.05, -1.0]
    """
    values = np.asarray(values, dtype=np.float64)
    signed = np.full(values.shape, np.nan)
    for full, reach in WRAPS:
        near = (values >= full - reach) & (values < full)
        signed = np.where(near, values - full, signed)
    return signed


def wrapped_suspicions(columns: Mapping[str, Floats]) -> list[Suspicion]:
    """Columns with readings that look like wrapped negatives while most of the others are far below.

    >>> import numpy as np
    >>> wrapped_suspicions({"cushion_mm": np.array([0.4, 0.2, 655.3, 0.1])})[0].share
    0.25
    """
    found = []
    for field, values in columns.items():
        values = np.asarray(values, dtype=np.float64)
        values = values[np.isfinite(values)]
        if not len(values):
            continue
        signed = unwrapped(values)
        near = np.isfinite(signed)
        share = float(near.mean())
        if 0.0 < share < 0.5 and float(np.median(values[~near])) < 0.5 * float(values[near].min()):
            worst = float(values[near].min())
            found.append(Suspicion(field, "wrapped", worst, f"{float(signed[near].min()):.2f}", share))
    return found


@dataclasses.dataclass(frozen=True)
class TwoPresses:
    """Rows of two presses under one name: how many rows, and how many steps back and forth."""

    rows: int
    switches: int
    of: int


def two_counters(at_ms: NDArray[np.int64], counter: NDArray[np.int64]) -> TwoPresses | None:
    """Whether two cycle counters run through one press's shots, in order of time; None: one does.

    A counter steps by one or a little more, and drops when it is reset. Where it goes to and fro
    between two far apart counts again and again, a second press writes under the same name (three
    switches each way at least; domain reasoning, derived).

    >>> import numpy as np
    >>> mixed = np.array([100, 9000, 101, 9001, 102, 9002, 103, 9003])
    >>> two_counters(np.arange(8) * 10_000, mixed).rows
    4
    """
    counter = np.asarray(counter, dtype=np.int64)
    if len(counter) < 8:
        return None
    steps = np.diff(counter)
    far = max(50, int(4 * np.median(np.abs(steps)))) if np.median(np.abs(steps)) < 50 else 50
    up, down = int((steps > far).sum()), int((steps < -far).sum())
    if min(up, down) < 3:
        return None
    middle = (int(counter.min()) + int(counter.max())) / 2.0
    high = counter > middle
    return TwoPresses(int(min(high.sum(), (~high).sum())), up + down, len(counter))


def repeated_cavities(at_ms: NDArray[np.int64], counter: NDArray[np.int64]) -> int:
    """Rows that repeat the counter and time of the row before: one a cavity; 0 where none does.

    >>> import numpy as np
    >>> repeated_cavities(np.array([0, 0, 20, 20]), np.array([1, 1, 2, 2]))
    2
    """
    same = (np.diff(np.asarray(at_ms)) == 0) & (np.diff(np.asarray(counter)) == 0)
    return int(same.sum())
