"""A complaint names a box, a serial or a time: which shots, what was known then, how capable that day was."""

import dataclasses
import math
from typing import Final

import sqlalchemy as sa

from server.derived.capability import DrawingLimits, press_capability
from server.derived.mold_limits import in_force
from server.errors import InvalidError
from server.language import N_
from server.maths.capability import Capability
from server.maths.results import Undetermined
from server.maths.stability import Stability
from server.store.alarms import public_id
from server.store.containments import Asked, alarms_then, list_containments, score_then, shots_asked
from server.store.plant import Press, mold_by_code, setups_of

_DAY_MS: Final = 24 * 3_600_000
_PRODUCT: Final = "part_weight_g"


@dataclasses.dataclass(frozen=True)
class Found:
    """Shots of one mold that answer a complaint. `alarms`: id, kind and state as they stood at the last shot.

    `ppk` is that of the 24 hours that end with the last shot, by the limits of that day; None where
    `capability_text` says why.
    """

    press: str
    mold: str
    shots: int
    from_ms: int
    to_ms: int
    likelihood: float | None
    alarms: tuple[tuple[str, str, str], ...]
    containments: tuple[int, ...]
    ppk: float | None
    demand: float | None
    capability_text: str


def look_up(
    connection: sa.Connection,
    press: Press,
    *,
    box: str = "",
    serial: str = "",
    from_ms: int | None = None,
    to_ms: int | None = None,
) -> list[Found]:
    """One entry a mold, in order of time. InvalidError where nothing is asked for."""
    if not box and not serial and from_ms is None:
        raise InvalidError(N_("name a box, a serial, or from when on"), field="box")
    asked = shots_asked(connection, press.press_id, box=box, serial=serial, from_ms=from_ms, to_ms=to_ms)
    return [_found(connection, press, one) for one in asked]


def _found(connection: sa.Connection, press: Press, one: Asked) -> Found:
    log_odds = score_then(connection, press.press_id, from_ms=one.first_ms, to_ms=one.last_ms)
    held = list_containments(connection, is_open=None, press_id=press.press_id)
    ppk, demand, text = _capability(connection, press, one)
    return Found(
        press=press.press,
        mold=one.mold,
        shots=one.shots,
        from_ms=one.first_ms,
        to_ms=one.last_ms,
        likelihood=None if log_odds is None else 1.0 / (1.0 + math.exp(-log_odds)),
        alarms=tuple(
            (public_id(press.press, number), kind, state)
            for number, kind, state in alarms_then(connection, press.press_id, at_ms=one.last_ms)
        ),
        containments=tuple(
            record.containment_no
            for _, record in held
            if record.mold == one.mold and record.from_ms <= one.last_ms and record.to_ms >= one.first_ms
        ),
        ppk=ppk,
        demand=demand,
        capability_text=text,
    )


def _capability(
    connection: sa.Connection, press: Press, one: Asked
) -> tuple[float | None, float | None, str]:
    mold = mold_by_code(connection, one.mold)
    if mold is None:
        return (
            None,
            None,
            N_("{mold} is no mold of the plant", mold=one.mold) if one.mold else N_("the shots name no mold"),
        )
    held = in_force(connection, mold, until_ms=one.last_ms + 1)
    given = held.limits.get(_PRODUCT) or {}
    demand = held.demand.get("ppk")
    limits = DrawingLimits(given.get("lower"), given.get("upper"), given.get("target"))
    if not limits.known():
        return None, demand, N_("no limits of the drawing were entered")
    setups = [
        setup.setup_id for setup in setups_of(connection, press.press_id).values() if setup.mold == one.mold
    ]
    found = press_capability(
        connection,
        press.press_id,
        signal=_PRODUCT,
        setup_ids=setups,
        limits=limits,
        from_ms=one.last_ms + 1 - _DAY_MS,
        to_ms=one.last_ms + 1,
    ).found
    if isinstance(found.capability, Undetermined):
        return None, demand, found.capability.reason
    return _ppk(found.capability), demand, _steady(found.stability)


def _ppk(found: Capability) -> float | None:
    return None if found.ppk is None else found.ppk.value


def _steady(found: Stability | Undetermined) -> str:
    return found.reason if isinstance(found, Undetermined) else found.text
