"""What happens to any press of the calibration: how faults grow, stops, gaps in the log."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.valve.calibration_dice import Dice
from server.valve.press_model import Effect

Floats = NDArray[np.float64]

#: Ways a fault grows over its ramp: in a line, ever faster, in stairs.
WAYS: Final = ("line", "line", "faster", "stairs")
#: Parts of a fault that grows ever faster, by thirds of its ramp.
_FASTER: Final = (0.1, 0.25, 0.65)
_STAIRS: Final = 4
#: Readings that a press leaves out, share.
_GAPS: Final = (0.0, 0.0, 0.01, 0.05)


def grown(n: int, onset: int, *, ramp: int, way: str) -> Floats:
    """[n] 0 before the onset, 1 once the ramp is over; at once without a ramp.

    >>> grown(6, 2, ramp=4, way="line").tolist()
    [0.0, 0.0, 0.25, 0.5, 0.75, 1.0]
    """
    at = np.arange(n) - onset
    x = np.clip((at + 1.0) / max(1, ramp), 0.0, 1.0) * (at >= 0)
    if ramp <= 0 or way == "line":
        return np.asarray(x)
    if way == "stairs":
        return np.asarray(np.ceil(x * _STAIRS) / _STAIRS)
    return np.asarray(np.interp(x, np.linspace(0.0, 1.0, 4), np.concatenate([[0.0], np.cumsum(_FASTER)])))


def effects(kind: str, at: int, size: float, *, ramp: int, way: str) -> list[Effect]:
    """The same as effects of a simulated press.

    >>> [effect.at for effect in effects("flash", 10, 0.4, ramp=40, way="stairs")]
    [10, 20, 30, 40]
    """
    if ramp > 0 and way == "stairs":
        return [Effect(kind, at + i * ramp // _STAIRS, size / _STAIRS) for i in range(_STAIRS)]
    if ramp > 0 and way == "faster":
        third = max(1, ramp // 3)
        return [Effect(kind, at + i * third, part * size, ramp=third) for i, part in enumerate(_FASTER)]
    return [Effect(kind, at, size, ramp=ramp)]


def with_stops(dice: Dice, at_ms: NDArray[np.int64], *, record: int) -> NDArray[np.int64]:
    """The times of shots with up to three stops of 10 minutes to 5 hours, most of them after the record."""
    gaps = np.zeros(len(at_ms), dtype=np.int64)
    for _ in range(int(dice.rng.integers(0, 4))):
        gaps[int(dice.rng.integers(record // 2, len(at_ms)))] += int(60_000 * dice.between((10.0, 300.0)))
    return at_ms + np.cumsum(gaps)


def cold_starts(dice: Dice, at_ms: NDArray[np.int64]) -> Floats:
    """[n] what the first shots after a stop sweep beyond the usual, share."""
    n = len(at_ms)
    stopped = np.diff(at_ms, prepend=at_ms[:1]) > 300_000
    since = np.arange(n) - np.maximum.accumulate(np.where(stopped, np.arange(n), -(10**6)))
    return np.asarray(dice.between((0.002, 0.06)) * np.exp(-since / dice.between((2.0, 12.0))))


def as_kept(
    dice: Dice, columns: dict[str, NDArray[Any]], *, often: tuple[str, ...]
) -> tuple[dict[str, NDArray[Any]], NDArray[np.int64]]:
    """The columns as a log holds them, and which of the shots made each of its lines is.

    Up to 3 % of the shots are lost whole; readings of the signals in `often` are left out here and there.
    """
    n = len(columns["at_ms"])
    kept = np.flatnonzero(dice.rng.random(n) >= 0.03 * dice.rng.random())
    share = float(dice.rng.choice(_GAPS))
    found = {name: column[kept] for name, column in columns.items()}
    for name in often:
        if name in found:
            found[name] = np.where(dice.rng.random(len(kept)) < share, np.nan, found[name])
    return found, kept
