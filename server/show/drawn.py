"""Signals of a startup record, and of what came later, as pictures with their sentences."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.language import _
from server.show.baseline_pages import Drawn
from server.show.overlay import Ruler, Stretch, overlay_bars, overlay_course
from server.words.catalogue import signal_name
from server.words.numbers import fixed, whole
from server.words.units import Units, signal_places, signal_quantity

#: Signals drawn, in order; the others stand in the table.
DRAWN: Final = (
    "swept_mm", "cushion_mm", "shot_size_mm", "peak_pressure_bar", "fill_time_s", "recovery_s_per_mm",
    "part_weight_g",
)  # fmt: skip

Signals = Mapping[str, NDArray[np.float64]]


def drawn_signals(
    first: Signals,
    second: Signals | None,
    *,
    kept: Mapping[str, Mapping[str, Any]],
    names: tuple[str, str],
    units: Units,
) -> tuple[Drawn, ...]:
    """Signals both stretches hold. kept: what the record holds of each; names: of both stretches."""
    found = []
    for signal in DRAWN:
        if signal not in first or (second is not None and signal not in second):
            continue
        one = Stretch(names[0], _shown(signal, first[signal], units))
        other = None if second is None else Stretch(names[1], _shown(signal, second[signal], units))
        if not len(one.known) or (other is not None and not len(other.known)):
            continue
        ruler = _ruler(signal, kept.get(signal, {}), units)
        found.append(
            Drawn(
                signal=signal_name(signal),
                bars=overlay_bars(one, other, ruler=ruler),
                course=overlay_course(one, other, ruler=ruler),
                says="; ".join(_said(part, ruler) for part in (one, other) if part is not None) + ".",
            )
        )
    return tuple(found)


def _shown(signal: str, values: NDArray[np.float64], units: Units) -> NDArray[np.float64]:
    quantity = signal_quantity(signal)
    at_zero = units.shown(quantity, 0.0)
    return np.asarray(values * (units.shown(quantity, 1.0) - at_zero) + at_zero, dtype=np.float64)


def _ruler(signal: str, kept: Mapping[str, Any], units: Units) -> Ruler:
    quantity = signal_quantity(signal)

    def shown(name: str) -> float | None:
        value = kept.get(name)
        return None if value is None else units.shown(quantity, float(value))

    step = kept.get("step")
    return Ruler(
        unit=units.written(quantity),
        places=signal_places(signal, units),
        step=None if not step else abs(units.shown_difference(quantity, float(step))),
        center=shown("center"),
        lower=shown("lower"),
        upper=shown("upper"),
    )


def _said(stretch: Stretch, ruler: Ruler) -> str:
    known = stretch.known
    low, middle, high = np.quantile(known, (0.05, 0.5, 0.95))
    spread = float(known.std(ddof=1)) if len(known) > 1 else 0.0
    ends = _(
        "{float} and {float_2}",
        float=fixed(float(low), ruler.places),
        float_2=fixed(float(high), ruler.places),
    )
    text = _(
        "{name}: {known} shots, middle {float} {unit}, nine in ten between {ends}, s {spread}",
        name=stretch.name,
        known=whole(len(known)),
        float=fixed(float(middle), ruler.places),
        unit=ruler.unit,
        ends=ends,
        spread=fixed(spread, ruler.places + 1),
    )
    if ruler.lower is None or ruler.upper is None:
        return text
    out = int(((known < ruler.lower) | (known > ruler.upper)).sum())
    return _("{value}, {out} beyond the record's limits", value=text, out=whole(out))
