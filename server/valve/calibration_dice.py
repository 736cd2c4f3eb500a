"""Draws for the presses of the calibration."""

import numpy as np


class Dice:
    """Draws from ranges."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng

    def between(self, span: tuple[float, float]) -> float:
        """Log-uniform."""
        return float(np.exp(self.rng.uniform(np.log(span[0]), np.log(span[1]))))

    def either(self, chance: float) -> bool:
        return bool(self.rng.random() < chance)

    def sign(self) -> float:
        return 1.0 if self.either(0.5) else -1.0
