"""Ringtell: statistical process control for injection moulding, watching the non-return valve."""

__version__ = "0.1.0"
