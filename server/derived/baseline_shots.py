"""The shots a startup record was captured from, read again: their signals, and what was left out of each."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.contract import SHOT_NUMBERS
from server.derived.standing import setups_compared
from server.derived.values import derive_signals
from server.store.plant import Press, Setup, setups_of
from server.store.records import Baseline
from server.store.shots import Columns, read_columns

Floats = NDArray[np.float64]
#: More shots than any record is captured from.
SHOTS_MAX: Final = 20_000


@dataclasses.dataclass(frozen=True)
class RecordShots:
    """n shots in order of time: at_ms and counter int64 [n], signals float64 [n] with NaN where left out.

    `setups`: what they were made with, the newest last. `signals` is empty when the shots stored now are
    others than those the record was captured from (`changed`): indices would point at other shots.
    """

    at_ms: NDArray[np.int64]
    counter: NDArray[np.int64]
    signals: Mapping[str, Floats]
    setups: tuple[Setup, ...]
    changed: bool


def record_shots(connection: sa.Connection, press: Press, baseline: Baseline) -> RecordShots:
    """Read the shots of a record again; thinning keeps them (`store/thinning.py`)."""
    columns = read_columns(
        connection,
        press.press_id,
        from_ms=baseline.from_ms,
        to_ms=baseline.to_ms + 1,
        names=(*SHOT_NUMBERS, "quality"),
        limit=SHOTS_MAX,
        setup_ids=setups_compared(connection, press, baseline),
    )
    at_ms, counter = columns["at_ms"], columns["counter"]
    changed = len(at_ms) != baseline.shots
    return RecordShots(
        at_ms=at_ms,
        counter=counter,
        signals={} if changed else _signals(connection, columns, press, baseline.signals),
        setups=_made_with(connection, press, columns["setup_id"]),
        changed=changed,
    )


def _signals(
    connection: sa.Connection, columns: Columns, press: Press, kept: Mapping[str, Any]
) -> dict[str, Floats]:
    derived = derive_signals(connection, press, columns, dose_lag=int(kept.get("dose_lag") or 0))
    found = {}
    for name, one in kept.get("signals", {}).items():
        values = np.array(derived.signals[name], dtype=np.float64)
        values[[int(index) for index, _ in one.get("excluded") or () if 0 <= int(index) < len(values)]] = (
            np.nan
        )
        found[name] = values
    return found


def _made_with(connection: sa.Connection, press: Press, setup_ids: NDArray[np.int64]) -> tuple[Setup, ...]:
    known = setups_of(connection, press.press_id)
    # The newest of each last, so that the last one is what the press ran with as the record ended.
    order = dict.fromkeys(reversed(setup_ids.tolist()))
    return tuple(known[one] for one in reversed(order) if one in known)
