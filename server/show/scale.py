"""Straight scales and round ticks."""

import dataclasses
import math


@dataclasses.dataclass(frozen=True)
class Scale:
    """Maps low..high onto left..right."""

    low: float
    high: float
    left: float
    right: float

    def at(self, value: float) -> float:
        """
        >>> Scale(0.0, 80.0, 10.0, 410.0).at(40.0)
        210.0
        """
        share = (value - self.low) / (self.high - self.low) if self.high > self.low else 0.0
        return self.left + share * (self.right - self.left)

    def clipped(self, value: float) -> float:
        """The place of a value, held within the picture.

        >>> Scale(0.0, 1.0, 32.0, 4.0).clipped(0.5), Scale(0.0, 1.0, 0.0, 10.0).clipped(3.0)
        (18.0, 10.0)
        """
        least, most = sorted((self.left, self.right))
        return min(max(self.at(value), least), most)


def round_step(length: float, parts: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts `length` into about `parts`.

    >>> round_step(85.0, 4), round_step(3.2, 4)
    (20.0, 1.0)
    """
    if not (math.isfinite(length) and length > 0):
        return 1.0
    raw = length / parts
    power = 10.0 ** math.floor(math.log10(raw))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if raw <= step * power * 1.1)


def ticks(low: float, high: float, step: float) -> list[float]:
    """Multiples of `step` in low..high.

    >>> ticks(0.0, 45.0, 20.0)
    [0.0, 20.0, 40.0]
    """
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [i * step for i in range(first, last + 1)]
