"""A startup record read back for showing: middle, scatter and limits of each signal."""

import collections
import dataclasses
import functools
import math
import types
from collections.abc import Mapping
from typing import Any

from server.show.stroke_strip import Stroke
from server.store.page_queries import document


@dataclasses.dataclass(frozen=True)
class RecordedSignal:
    """One signal of a record, in stored units. `left_out` counts shots by reason."""

    center: float
    sigma: float
    lower: float | None
    upper: float | None
    shots: int | None
    left_out: Mapping[str, int]


def recorded_signals(record: Mapping[str, Any] | None) -> Mapping[str, RecordedSignal]:
    """Signals of a baseline row by id; those the record could not tell are left out."""
    return {} if record is None else _signals(record["signals"])


# A record never changes, and every row of the plant page needs one.
@functools.lru_cache(maxsize=1_000)
def _signals(text: str) -> Mapping[str, RecordedSignal]:
    found = {name: _read(value) for name, value in document(text).get("signals", {}).items()}
    return types.MappingProxyType({name: value for name, value in found.items() if value is not None})


def _number(value: Mapping[str, Any], name: str) -> float | None:
    got = value.get(name)
    return float(got) if isinstance(got, int | float) and math.isfinite(got) else None


def _read(value: Any) -> RecordedSignal | None:
    if not isinstance(value, Mapping):
        return None
    center, sigma = _number(value, "center"), _number(value, "sigma")
    if center is None or sigma is None:
        return None
    shots = _number(value, "n")
    return RecordedSignal(
        center=center,
        sigma=sigma,
        lower=_number(value, "lower"),
        upper=_number(value, "upper"),
        shots=None if shots is None else int(shots),
        left_out=_left_out(value.get("excluded")),
    )


def _left_out(value: Any) -> dict[str, int]:
    """From `[[index, reason], …]`."""
    return dict(collections.Counter(str(one[1]) for one in value or ()))


def startup_stroke(signals: Mapping[str, RecordedSignal]) -> Stroke | None:
    """The shot of the record; None when it does not hold both ends."""
    size, cushion = signals.get("shot_size_mm"), signals.get("cushion_mm")
    if size is None or cushion is None:
        return None
    return Stroke(
        shot_size_mm=size.center,
        cushion_mm=cushion.center,
        shot_size_band=(size.center - 2 * size.sigma, size.center + 2 * size.sigma),
        cushion_band=(cushion.center - 2 * cushion.sigma, cushion.center + 2 * cushion.sigma),
    )
