"""The plant's settings: every one checked against its bound before any is kept."""

import re
import zoneinfo
from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.contract import RUN_RULES, UNITS
from server.errors import InvalidError
from server.language import N_
from server.record.fields import Given, refuse
from server.store import intake
from server.store.audit import PLANT, add_audit
from server.store.plant import PLANT_DEFAULTS, all_presses, lock_settings, put_settings, read_settings

#: Changing one of these changes findings or scores of earlier shots.
REWRITING: Final = frozenset(
    {"prevalence", "valve_life_shots", "rules", "alarm_budget_per_shift", "alarm_budget_per_press_week"}
)
#: Kept among the settings but changed by an act of its own.
OWN_ACT: Final = frozenset({"recalibration"})
LANGUAGES: Final = ("en",)

_CLOCK = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]").fullmatch


def _bounded(least: float, most: float) -> Callable[[Given, str], Any]:
    return lambda given, name: given.number(name, least=least, most=most)


def _units(given: Given, name: str) -> dict[str, str]:
    value = given.body[name]
    known: Mapping[str, str] = PLANT_DEFAULTS["units"]
    if not isinstance(value, Mapping) or not set(value) <= set(known):
        raise refuse(name, value, N_("an object of {join}", join=", ".join(known)))
    for quantity, unit in value.items():
        if unit not in UNITS[quantity]:
            raise refuse(f"{name}.{quantity}", unit, N_("one of {join}", join=", ".join(UNITS[quantity])))
    return dict(value)


def _time_zone(given: Given, name: str) -> str:
    value = given.body[name]
    if not isinstance(value, str) or value not in zoneinfo.available_timezones():
        raise refuse(name, value, N_("a name of the time zone database, such as Europe/Vienna"))
    return value


def _shifts(given: Given, name: str) -> list[str]:
    value = given.body[name]
    if not isinstance(value, list) or not 1 <= len(value) <= 6:
        raise refuse(name, value, N_("a list of 1 to 6 times such as 06:00"))
    for i, one in enumerate(value):
        if not isinstance(one, str) or not _CLOCK(one):
            raise refuse(f"{name}[{i}]", one, N_("a time of day such as 06:00"))
    if len(set(value)) != len(value):
        raise refuse(name, value, N_("given with each start once"))
    return sorted(value)


def _rules(given: Given, name: str) -> list[str]:
    value = given.body[name]
    if not isinstance(value, list):
        raise refuse(name, value, N_("a list of rules"))
    for i, one in enumerate(value):
        if one not in RUN_RULES:
            raise refuse(f"{name}[{i}]", one, N_("one of {join}", join=", ".join(RUN_RULES)))
    return [rule for rule in RUN_RULES if rule in value]


def _clock_time(given: Given, name: str) -> str:
    text = given.text(name)
    if text and not _CLOCK(text):
        raise refuse(name, text, N_("a local time like 02:30, or empty"))
    return text


_READERS: Final[dict[str, Callable[[Given, str], Any]]] = {
    "plant_name": lambda given, name: given.text(name, longest=80),
    "prevalence": _bounded(0.0001, 0.5),
    "valve_life_shots": _bounded(0.0, 1e9),
    "alarm_budget_per_shift": _bounded(0.001, 1000.0),
    "alarm_budget_per_press_week": _bounded(0.0001, 1000.0),
    "accept_unknown_presses": lambda given, name: given.flag(name),
    "units": _units,
    "language": lambda given, name: given.choice(name, LANGUAGES),
    "time_zone": _time_zone,
    "shifts": _shifts,
    "rules": _rules,
    "open_at": _bounded(0.01, 0.999),
    "close_at": _bounded(0.001, 0.99),
    "silent_after_s": _bounded(30.0, 604_800.0),
    "shelve_max_min": _bounded(1.0, 10_080.0),
    "currency": lambda given, name: given.text(name, longest=8),
    "cost_change": _bounded(0.0, 1e9),
    "cost_needless_pull": _bounded(0.0, 1e9),
    "cost_failure": _bounded(0.0, 1e9),
    "cost_scrap_per_1000": _bounded(0.0, 1e9),
    "shots_between_stops": _bounded(0.0, 1e9),
    "lock_after_min": _bounded(1.0, 120.0),
    "out_of_service_max_days": _bounded(0.01, 366.0),
    "keep_raw_months": _bounded(0.0, 1_200.0),
    "keep_fine_months": _bounded(0.0, 1_200.0),
    "thin_at": _clock_time,
}


def open_settings(connection: sa.Connection) -> dict[str, Any]:
    """What can be read and sent back as it is."""
    return {name: value for name, value in read_settings(connection).items() if name not in OWN_ACT}


def change_settings(connection: sa.Connection, body: Any, *, who: str, now_ms: int) -> bool:
    """Merge settings; True when presses are evaluated again because of it."""
    given = Given.of(body, known=_READERS)
    changes: dict[str, Any] = {}
    for name, value in given.body.items():
        if value is None:
            raise InvalidError(N_("{name} is null; leave it out to keep it as it is", name=name), field=name)
        changes[name] = _READERS[name](given, name)
    lock_settings(connection)
    before = read_settings(connection)
    if "units" in changes:
        changes["units"] = {**before["units"], **changes["units"]}
    after = {**before, **changes}
    if not after["close_at"] < after["open_at"]:
        field = "close_at" if "close_at" in changes else "open_at"
        raise refuse(
            field,
            after[field],
            N_(
                "such that close_at ({close_at:g}) is below open_at ({open_at:g})",
                close_at=after["close_at"],
                open_at=after["open_at"],
            ),
        )
    changed = {name: value for name, value in changes.items() if before[name] != value}
    if not changed:
        return False
    put_settings(connection, changed)
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=who,
        action="settings_changed",
        subject="settings",
        before={name: before[name] for name in changed},
        after=changed,
    )
    rewrites = bool(REWRITING & changed.keys())
    for press in all_presses(connection) if rewrites else ():
        intake.add(connection, press.press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms)
    return rewrites
