"""Configuring presses and molds: checked, merged, and evaluated again where it changes what is seen."""

import dataclasses
import itertools
import json
from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.contract import CUSHION_DEFINITIONS, PRESSURE_BASES, VALVE_STYLES
from server.errors import InvalidError
from server.language import N_
from server.record.fields import Given, read_code, read_number, refuse
from server.store import intake
from server.store.audit import PLANT, add_audit
from server.store.mold_versions import add_version
from server.store.plant import mold_by_code, need_mold, press_by_code, put_mold, put_press

#: Changing one of these changes what earlier shots mean.
REWRITING: Final = frozenset(
    {"screw_diameter_mm", "dose_lag", "cushion_definition", "valve_style", "bottom_mm"}
)

_Reader = Callable[[Given, str], Any]


def _text(longest: int) -> _Reader:
    return lambda given, name: given.text(name, longest=longest)


def _number(least: float, most: float) -> _Reader:
    return lambda given, name: given.number(name, least=least, most=most)


def _choice(choices: tuple[str, ...]) -> _Reader:
    return lambda given, name: given.choice(name, choices)


def _document(given: Given, name: str) -> str:
    value = given.body.get(name)
    if not isinstance(value, Mapping):
        raise refuse(name, value, N_("an object"))
    try:
        text = json.dumps(value, sort_keys=True, allow_nan=False)
    except ValueError:
        raise refuse(name, value, N_("an object of texts and finite numbers")) from None
    if len(text) > 16_384:
        raise InvalidError(
            N_("{name} has {value} characters as JSON; at most 16384", name=name, value=len(text)), field=name
        )
    return text


_PRESS: Final[dict[str, _Reader]] = {
    "name": _text(80),
    "area": _text(80),
    "screw_diameter_mm": _number(5.0, 500.0),
    "valve_style": _choice(VALVE_STYLES),
    "pressure_basis": _choice(PRESSURE_BASES),
    "intensification": _number(1.0, 50.0),
    "cushion_definition": _choice(CUSHION_DEFINITIONS),
    "dose_lag": lambda given, name: given.whole(name, least=0, most=1),
    "bottom_mm": _number(-50.0, 100.0),
    "silent_after_s": _number(30.0, 604_800.0),
    "details": _document,
}
#: Null means "not known" here; elsewhere it is refused.
_MAY_BE_NULL: Final = frozenset(
    {"screw_diameter_mm", "intensification", "dose_lag", "bottom_mm", "silent_after_s"}
)


@dataclasses.dataclass(frozen=True)
class Configured:
    """What a PUT did. `rewrites`: earlier shots are evaluated again."""

    created: bool
    rewrites: bool


def _changes(given: Given, readers: Mapping[str, _Reader], may_be_null: frozenset[str]) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    for name in given.body:
        if given.body[name] is None:
            if name not in may_be_null:
                raise InvalidError(
                    N_("{name} is null; leave it out to keep it as it is", name=name), field=name
                )
            changes[name] = None
        else:
            changes[name] = readers[name](given, name)
    return changes


def configure_press(connection: sa.Connection, code: str, body: Any, *, who: str, now_ms: int) -> Configured:
    """Create a press or merge into it what was sent."""
    code = read_code("press", code)
    changes = _changes(Given.of(body, known=_PRESS), _PRESS, _MAY_BE_NULL)
    known = press_by_code(connection, code)
    before = {} if known is None else {name: getattr(known, name) for name in changes}
    created = put_press(connection, code, changes, now_ms=now_ms)
    press = press_by_code(connection, code)
    assert press is not None
    changed = {name for name, value in changes.items() if created or before[name] != value}
    rewrites = not created and bool(changed & REWRITING)
    if rewrites:
        intake.add(connection, press.press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms)
    if created or changed:
        add_audit(
            connection,
            press.press_id,
            now_ms=now_ms,
            who=who,
            action="press_created" if created else "press_changed",
            subject=code,
            before={name: before[name] for name in sorted(changed)} if before else None,
            after={name: changes[name] for name in sorted(changed)},
        )
    return Configured(created, rewrites)


# --- molds --------------------------------------------------------------------------------------

#: Signals a mold may have limits for: those that are charted, in their units.
_LIMIT_KEYS: Final = ("lower", "upper", "target")


def read_limits(value: Any, *, signals: tuple[str, ...]) -> dict[str, dict[str, float]]:
    """Specification limits per signal: lower < target < upper, one side and the target may be missing."""
    if not isinstance(value, Mapping):
        raise refuse(
            "limits", value, N_('an object such as {"part_weight_g": {"lower": 41.2, "upper": 42.4}}')
        )
    limits: dict[str, dict[str, float]] = {}
    for signal, bounds in value.items():
        field = f"limits.{signal}"
        if signal not in signals:
            raise InvalidError(
                N_("{field}: no such signal; one of {join}", field=field, join=", ".join(signals)),
                field=field,
            )
        if bounds is not None:
            limits[signal] = _bounds(field, bounds)
    return {signal: bounds for signal, bounds in limits.items() if bounds}


def _bounds(field: str, bounds: Any) -> dict[str, float]:
    if not isinstance(bounds, Mapping) or not set(bounds) <= set(_LIMIT_KEYS):
        raise refuse(field, bounds, N_("an object of lower, upper and target"))
    found = {
        name: read_number(f"{field}.{name}", bounds[name])
        for name in _LIMIT_KEYS
        if bounds.get(name) is not None
    }
    if found and not found.keys() & {"lower", "upper"}:
        raise refuse(field, dict(bounds), N_("given with lower, upper or both"))
    order = [name for name in ("lower", "target", "upper") if name in found]
    for low, high in itertools.pairwise(order):
        if not found[low] < found[high]:
            raise refuse(
                f"{field}.{high}",
                found[high],
                N_("above {low}, which is {found:g}", low=low, found=found[low]),
            )
    return found


def _demand(given: Given, name: str) -> str:
    value = given.body[name]
    if isinstance(value, str):
        value = {"text": given.text(name, longest=200)} if value.strip() else {}
    elif not isinstance(value, Mapping):
        value = {"ppk": read_number(name, value, least=0.0, most=10.0)}
    elif "ppk" in value and value["ppk"] is not None:
        read_number("demand.ppk", value["ppk"], least=0.0, most=10.0)
    kept = {str(key): one for key, one in value.items() if one is not None}
    return _document(Given({name: kept}), name)


def _mold_readers(signals: tuple[str, ...]) -> dict[str, _Reader]:
    return {
        "part": _text(80),
        "cavities": lambda given, name: given.whole(name, least=1, most=1024),
        "demand": _demand,
        "limits": lambda given, name: json.dumps(
            read_limits(given.body[name], signals=signals), sort_keys=True
        ),
        "details": _document,
    }


def configure_mold(
    connection: sa.Connection, code: str, body: Any, *, who: str, signals: tuple[str, ...], now_ms: int
) -> Configured:
    """Create a mold or merge into it what was sent; `limits` are replaced as a whole. `why` is kept with the
    version of limits and demand that begins now."""
    code = read_code("mold", code)
    readers = _mold_readers(signals)
    given = Given.of(body, known=(*readers, "why"))
    why = given.text("why", longest=200)
    sent = Given({name: value for name, value in given.body.items() if name != "why"})
    changes = _changes(sent, readers, frozenset({"cavities"}))
    known = mold_by_code(connection, code)
    before = None if known is None else {name: known[name] for name in changes}
    created = put_mold(connection, code, changes, now_ms=now_ms)
    kept = need_mold(connection, code)
    if changes.keys() & {"limits", "demand"}:
        add_version(
            connection,
            code,
            since_ms=now_ms,
            limits=kept["limits"],
            demand=kept["demand"],
            who=who,
            why=why,
        )
    if created or before != changes:
        add_audit(
            connection,
            PLANT,
            now_ms=now_ms,
            who=who,
            action="mold_created" if created else "mold_changed",
            subject=code,
            before=before,
            after={**changes, **({"why": why} if why else {})},
        )
    return Configured(created, rewrites=False)
