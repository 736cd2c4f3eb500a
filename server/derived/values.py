"""Values of one signal over a stretch of shots, derived where it is derived."""

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.contract import SIGNALS
from server.store.plant import Press
from server.store.shots import Columns, read_columns
from server.valve.signals import Before, derive

#: Columns a derived signal is made from.
_STROKES = ("shot_size_mm", "shot_size_cm3", "cushion_mm", "cushion_cm3")
SOURCES: dict[str, tuple[str, ...]] = {
    "swept_mm": _STROKES,
    "cushion_mm": ("cushion_mm", "cushion_cm3"),
    "shot_size_mm": ("shot_size_mm", "shot_size_cm3"),
    "recovery_s_per_mm": (*_STROKES, "recovery_time_s"),
}


@dataclasses.dataclass(frozen=True)
class Values:
    """One signal of n shots in order of time: at_ms int64 [n], values float64 [n], NaN = not known."""

    at_ms: NDArray[np.int64]
    values: NDArray[np.float64]
    #: bool [n]: shots right after a pause.
    restart: NDArray[np.bool_]


def sources_of(signals: Sequence[str]) -> tuple[str, ...]:
    """The stored columns these signals need, each once."""
    return tuple(dict.fromkeys(one for signal in signals for one in SOURCES.get(signal, (signal,))))


def read_values(
    connection: sa.Connection,
    press: Press,
    *,
    signal: str,
    dose_lag: int,
    from_ms: int | None = None,
    to_ms: int | None = None,
    limit: int = 100_000,
    setup_ids: Sequence[int] | None = None,
) -> Values:
    """The newest `limit` shots of a stretch."""
    columns = read_columns(
        connection,
        press.press_id,
        from_ms=from_ms,
        to_ms=to_ms,
        names=sources_of((signal,)),
        limit=limit,
        newest=True,
        setup_ids=setup_ids,
    )
    derived = derive_signals(connection, press, columns, dose_lag=dose_lag)
    return Values(columns["at_ms"], derived.signals[signal], derived.restart_transient)


def derive_signals(
    connection: sa.Connection, press: Press, columns: Columns, *, dose_lag: int, pause_before: bool = False
) -> Any:
    """Signals of consecutive shots, with the shot before them for the dose it left.

    pause_before: a pause before the first of them makes a restart of them too.
    """
    wanted = (dose_lag or pause_before) and len(columns["at_ms"])
    return derive(
        columns,
        dose_lag=dose_lag,
        screw_diameter_mm=press.screw_diameter_mm,
        before=shot_before(connection, press, columns) if wanted else None,
    )


def shot_before(connection: sa.Connection, press: Press, columns: Columns) -> Before | None:
    """What the shot before these left, whatever it was made with; None where there is none."""
    first = (int(columns["at_ms"][0]), int(columns["counter"][0]))
    rows = read_columns(
        connection,
        press.press_id,
        to_ms=first[0] + 1,
        names=sources_of(("shot_size_mm",)),
        limit=50,
        newest=True,
    )
    earlier = [i for i, key in enumerate(zip(rows["at_ms"], rows["counter"], strict=True)) if key < first]
    if not earlier:
        return None
    one = {name: column[earlier[-1] : earlier[-1] + 1] for name, column in rows.items()}
    return derive(one, dose_lag=0, screw_diameter_mm=press.screw_diameter_mm).after


assert set(SOURCES) <= set(SIGNALS)
