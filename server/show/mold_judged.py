"""What each press's values of a mold come to, for the mold's page and the list of molds."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.capability import DrawingLimits, PressCapability, press_capability
from server.derived.mold_limits import InForce
from server.language import _
from server.maths.capability import Capability
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.show.lanes import Limits
from server.show.mold_words import DEMAND_PPK, is_only_unstable, verdict_of
from server.show.strokes import Kept
from server.store.page_queries import Row
from server.store.plant import setups_with_mold
from server.words.units import signal_quantity

PRODUCT: Final = "part_weight_g"


@dataclasses.dataclass(frozen=True)
class Assessed:
    """One press's values of one characteristic, with their times."""

    values: NDArray[np.float64]
    stability: Stability | Undetermined
    n_effective: float
    capability: Capability | Undetermined
    at_ms: NDArray[np.int64]


@dataclasses.dataclass(frozen=True)
class Stretch:
    """What stretch of time is asked for; `to_ms` is exclusive."""

    from_ms: int
    to_ms: int


@dataclasses.dataclass(frozen=True)
class Standing:
    """Presses by what they come to, over all limited signals; `short` holds the unstable ones too."""

    fit: tuple[str, ...]
    short: tuple[str, ...]
    only_unstable: bool
    limited: bool


_assessed: Kept[Assessed] = Kept(500)


def limits_of(given: Any) -> Limits:
    """The limits of one signal as they are kept."""
    if not isinstance(given, Mapping):
        return Limits()
    return Limits(*(number_of(given.get(name)) for name in ("lower", "upper", "target")))


def number_of(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def limit_words(limits: Limits, unit: str) -> str:
    if limits.lower is None:
        return _("at most {upper:g} {unit}", upper=limits.upper, unit=unit)
    if limits.upper is None:
        return _("at least {lower:g} {unit}", lower=limits.lower, unit=unit)
    return f"{limits.lower:g}–{limits.upper:g} {unit}"


def unit_of(signal: str) -> str:
    """The unit a signal's limits are in."""
    return {"mass": "g", "length": "mm", "pressure": "bar", "time": "s"}.get(signal_quantity(signal), "")


def demand_of(held: InForce) -> float:
    """The demanded Ppk, the plant's own or the usual one."""
    return number_of(held.demand.get("ppk")) or DEMAND_PPK


def setups_by_press(connection: sa.Connection, mold: str, rows: Mapping[int, Row]) -> dict[int, list[int]]:
    """Set-ups of the mold on each accepted press."""
    setups: dict[int, list[int]] = {}
    for one in setups_with_mold(connection, mold):
        if one.press_id in rows:
            setups.setdefault(one.press_id, []).append(one.setup_id)
    return setups


def assess_press(
    connection: sa.Connection, row: Row, setup_ids: list[int], signal: str, limits: Limits, asked: Stretch
) -> Assessed:
    """The press's newest values of the stretch, judged; kept until another shot comes."""
    key = (str(connection.engine.url), row["press_id"], signal, tuple(sorted(setup_ids)))
    # Whatever shot came, in order or late, the numbers are those the API gives at this moment.
    arrived = (row["last_shot_ms"], row["last_counter"], row["last_arrival_ms"], row["dose_lag_found"])
    mark = (limits, asked, row["screw_diameter_mm"], arrived)

    def make() -> Assessed:
        one: PressCapability = press_capability(
            connection,
            row["press_id"],
            signal=signal,
            setup_ids=setup_ids,
            limits=DrawingLimits(limits.lower, limits.upper, limits.target),
            from_ms=asked.from_ms,
            to_ms=asked.to_ms,
        )
        found = one.found
        return Assessed(one.values, found.stability, found.n_effective_mean, found.capability, one.at_ms)

    return _assessed.get(key, mark, make)


def standing_of(signals: Sequence[Mapping[str, Assessed]], *, demand: float, limited: bool) -> Standing:
    """Over all signals, each by press: one that falls short anywhere does."""
    fit: list[str] = []
    short: list[str] = []
    weak: set[str] = set()
    for here in signals:
        for press, one in sorted(here.items()):
            came_to = verdict_of(one.capability, one.stability, demand=demand)
            if came_to == "capable" and press not in fit:
                fit.append(press)
            if came_to in ("not_stable", "not_capable") and press not in short:
                short.append(press)
            if not only_unstable(one, demand):
                weak.add(press)
    fit = [press for press in fit if press not in short]
    return Standing(tuple(fit), tuple(short), only_unstable=not weak & set(short), limited=limited)


def only_unstable(one: Assessed, demand: float) -> bool:
    return isinstance(one.capability, Capability) and is_only_unstable(one.capability, demand=demand)
