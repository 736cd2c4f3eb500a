"""Shots as a collector spools them."""

from collections.abc import Iterable
from typing import Any

import msgspec

from server.clock import as_text
from server.collect.spool import Spooled

START_MS = 1_767_600_000_000


def a_shot(counter: int, *, press: str = "P07", **more: Any) -> dict[str, Any]:
    """A good shot every 20 s."""
    return {
        "press": press,
        "mold": "M-113",
        "counter": counter,
        "at": as_text(START_MS + 20_000 * counter),
        "shot_size_mm": 62.4,
        "cushion_mm": 6.1,
        **more,
    }


def counters(lines: Iterable[Spooled]) -> list[int]:
    return [msgspec.json.decode(one.line)["counter"] for one in lines]
