"""How somebody reads: units and language of their own, kept with them; nothing chosen: as the plant says."""

import json
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.people import need_person
from server.errors import InvalidError
from server.language import N_
from server.languages import languages
from server.store import people as kept
from server.store.audit import PLANT, add_audit
from server.words.units import CHOICES

_FIELDS: Final = ("units", "language")


def read_preferences(text: str) -> dict[str, Any]:
    """What is kept of a person, as far as it still exists: `units` by quantity, `language` as a code or ''.

    >>> read_preferences('{"units": {"length": "in", "mass": "lb"}, "language": "tlh"}')
    {'units': {'length': 'in'}, 'language': ''}
    """
    found = json.loads(text or "{}")
    units = {
        quantity: unit
        for quantity, unit in (found.get("units") or {}).items()
        if unit in CHOICES.get(quantity, ())
    }
    language = found.get("language") or ""
    return {"units": units, "language": language if language in languages() else ""}


def keep_preferences(connection: sa.Connection, actor: Actor, body: object, *, now_ms: int) -> dict[str, Any]:
    """Keep what is named in `body`; an empty unit or language goes back to the plant's.

    Raises InvalidError for a quantity, unit or language nobody knows.
    """
    if not isinstance(body, Mapping):
        raise InvalidError(N_("the body has to be an object with units, language or both"))
    for name in body:
        if name not in _FIELDS:
            raise InvalidError(
                N_("{name!r} is no field here; known: {known}", name=name, known=", ".join(_FIELDS)),
                field=name,
            )
    person = need_person(connection, actor.name)
    before = read_preferences(person.preferences)
    units = {**before["units"], **_units(body.get("units"))}
    after = {
        "units": {quantity: unit for quantity, unit in units.items() if unit},
        "language": _language(body["language"]) if "language" in body else before["language"],
    }
    kept.change_person(connection, person.person_id, preferences=json.dumps(after, sort_keys=True))
    add_audit(
        connection, PLANT, now_ms=now_ms, who=actor.name, action="preferences_set", subject=actor.name,
        before=before, after=after,
    )  # fmt: skip
    return after


def _units(given: object) -> dict[str, str]:
    if given is None:
        return {}
    if not isinstance(given, Mapping):
        raise InvalidError(N_("units has to be an object of quantity and unit"), field="units")
    for quantity, unit in given.items():
        if quantity not in CHOICES:
            raise InvalidError(
                N_(
                    "units.{quantity} is not known; there are {known}",
                    quantity=quantity,
                    known=", ".join(CHOICES),
                ),
                field=f"units.{quantity}",
            )
        if unit and unit not in CHOICES[quantity]:
            raise InvalidError(
                N_(
                    "units.{quantity} is {unit!r}; it has to be one of {known}, or empty for the plant's",
                    quantity=quantity, unit=unit, known=", ".join(CHOICES[quantity]),
                ),
                field=f"units.{quantity}",
            )  # fmt: skip
    return {quantity: str(unit or "") for quantity, unit in given.items()}


def _language(given: object) -> str:
    if not given:
        return ""
    if given not in languages():
        raise InvalidError(
            N_("language is {given!r}; there are {known}", given=given, known=", ".join(languages())),
            field="language",
        )
    return str(given)
