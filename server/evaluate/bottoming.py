"""Stretches in which the screw is at its end, and a finding as a row to store."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.contract import BOTTOMING
from server.evaluate.carry import Carry, Episode
from server.evaluate.context import Context

Columns = Mapping[str, NDArray[Any]]

#: Shots in a row at the bottom that make a finding: one alone may be a bad reading.
BOTTOM_RUN: Final = 3


def find_bottoming(
    carry: Carry, shots: Columns, cushion: NDArray[np.float64], usable: NDArray[np.bool_], context: Context
) -> tuple[list[dict[str, Any]], Carry, bool]:
    """Episodes of at least BOTTOM_RUN shots in a row with the screw at its end."""
    low = usable & (cushion <= context.bottom_mm)
    key = ("cushion_mm", BOTTOMING)
    run, one = carry.bottom_run, carry.episodes.get(key)
    if not low.any() and run == 0 and one is None:
        return [], carry, False
    touched: list[Episode] = []
    for position, at_bottom in enumerate(low.tolist()):
        run = run + 1 if at_bottom else 0
        at, counter, value = (
            int(shots["at_ms"][position]),
            int(shots["counter"][position]),
            float(cushion[position]),
        )
        if run >= BOTTOM_RUN:
            if one is None:
                one = Episode(at, counter, at, counter, 0, value, 0)
            one = dataclasses.replace(
                one, to_ms=at, to_counter=counter, marks=one.marks + 1, extreme=min(one.extreme, value)
            )
        elif one is not None and not at_bottom and bool(usable[position]):
            touched.append(one)
            one = None
    bottomed = bool(touched) or one is not None
    if one is not None:
        touched.append(one)
    others = {name: episode for name, episode in carry.episodes.items() if name != key}
    carry = carry.change(
        bottom_run=min(run, BOTTOM_RUN),
        episodes=others if one is None else {**others, key: one},
        bottoming_since_ms=-1 if one is None else one.from_ms,
    )
    return [finding_row(key, episode, 0) for episode in touched], carry, bottomed


def finding_row(key: tuple[str, str], one: Episode, baseline_no: int) -> dict[str, Any]:
    return {
        "from_ms": one.from_ms,
        "from_counter": one.from_counter,
        "signal": key[0],
        "rule": key[1],
        "baseline_no": baseline_no,
        "to_ms": one.to_ms,
        "to_counter": one.to_counter,
        "marks": one.marks,
        "extreme": one.extreme,
    }
