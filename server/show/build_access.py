"""The page of who may what: oneself, people, keys, shared tablets and the audit trail."""

import dataclasses
import json
from collections.abc import Sequence
from urllib.parse import quote

import sqlalchemy as sa

from server.language import N_, _
from server.languages import languages
from server.show.frame import Frame
from server.show.pages import Choice
from server.show.plant_words import Plant
from server.store.audit import audit_actions, find_audit
from server.store.device_keys import all_keys
from server.store.people import all_people, all_tablets, person_by_name, sessions_of
from server.store.plant import all_presses
from server.words.catalogue import ROLE, worded
from server.words.numbers import capital
from server.words.units import CHOICES, QUANTITY, WRITTEN

#: Rows of the trail shown at once; the API pages through all of it.
_SHOWN = 40


@dataclasses.dataclass(frozen=True)
class AccessRow:
    """A line, and where in the API something may be done about it."""

    name: str
    about: str
    path: str = ""
    is_over: bool = False


@dataclasses.dataclass(frozen=True)
class PersonRow:
    """Somebody, what is known of them, and what may be chosen for them."""

    name: str
    about: str
    path: str
    is_over: bool
    full_name: str
    mail: str
    areas: str
    roles: tuple[Choice, ...]


@dataclasses.dataclass(frozen=True)
class TrailRow:
    when: str
    who: str
    action: str
    subject: str
    press: str
    before: str
    after: str


@dataclasses.dataclass(frozen=True)
class PermissionRow:
    """What may be done, and by which roles, in the order of the head of the table."""

    what: str
    allowed: tuple[bool, ...]


@dataclasses.dataclass(frozen=True)
class Asked:
    """How the trail is filtered."""

    who: str = ""
    action: str = ""


@dataclasses.dataclass(frozen=True)
class AccessPage:
    frame: Frame
    answer: str
    under: str
    roles: tuple[str, ...]
    permissions: tuple[PermissionRow, ...]
    role_choices: tuple[Choice, ...]
    sessions: tuple[AccessRow, ...] = ()
    people: tuple[PersonRow, ...] = ()
    #: The plant's areas as a hint under the field for them.
    areas: str = ""
    keys: tuple[AccessRow, ...] = ()
    tablets: tuple[AccessRow, ...] = ()
    trail: tuple[TrailRow, ...] = ()
    actions: tuple[Choice, ...] = ()
    who: str = ""
    #: A choice of units for each quantity, and of languages where there are several.
    units: tuple[tuple[str, str, tuple[Choice, ...]], ...] = ()
    languages: tuple[Choice, ...] = ()


#: The table of the access layer in words.
_PERMISSION = {
    "read": N_("See pages, charts, alarms and lists"),
    "acknowledge": N_("Answer alarms, tick guidance, hand over a shift"),
    "shelve": N_("Put an alarm aside and take it back"),
    "record": N_("Record events and fitted valves"),
    "study": N_("Do and keep studies"),
    "mold": N_("Change a part's drawing limits"),
    "audit": N_("See the audit trail"),
    "out_of_service": N_("Take alarms of a press out of service"),
    "ingest": N_("Bring in shots and files"),
    "baseline": N_("Capture, approve and retire startup records"),
    "configure": N_("Change presses, undo imports"),
    "accept": N_("Take a press into the plant"),
    "settings": N_("Change the plant's settings and who is told"),
    "keys": N_("Make and revoke device keys, enrol shared tablets"),
    "people": N_("Add people, change roles, reset passwords"),
}


def build_access(
    connection: sa.Connection,
    plant: Plant,
    *,
    table: Sequence[tuple[str, frozenset[str]]],
    now_ms: int,
    asked: Asked,
) -> AccessPage:
    """table: (permission, roles that have it), as the access layer holds it."""
    roles = tuple(reversed(sorted(ROLE, key=lambda role: sum(role in able for _, able in table))))
    frame = plant.frame(_("Access"), active="/access")
    may = frame.may
    return AccessPage(
        frame=frame,
        answer=_("Who may do what."),
        under=_("Roles decide; areas bound where somebody acts, everybody signed in sees the whole plant"),
        roles=tuple(worded(ROLE, role) for role in roles),
        permissions=tuple(
            PermissionRow(worded(_PERMISSION, what), tuple(role in able for role in roles))
            for what, able in table
        ),
        role_choices=tuple(Choice(role, worded(ROLE, role)) for role in reversed(roles)),
        sessions=_sessions(connection, plant, now_ms=now_ms) if frame.signed_in else (),
        people=_people(connection, roles=tuple(reversed(roles))) if "people" in may else (),
        areas=_areas(connection) if "people" in may else "",
        keys=_keys(connection, plant, now_ms=now_ms) if "keys" in may else (),
        tablets=_tablets(connection, plant) if "keys" in may else (),
        trail=_trail(connection, plant, asked) if "audit" in may else (),
        actions=_actions(connection, asked) if "audit" in may else (),
        who=asked.who,
        units=_units(plant),
        languages=_languages(plant),
    )


def _units(plant: Plant) -> tuple[tuple[str, str, tuple[Choice, ...]], ...]:
    own = plant.actor.units
    return tuple(
        (
            f"units.{quantity}",
            capital(QUANTITY[quantity]),
            tuple(Choice(unit, WRITTEN[unit], own.get(quantity) == unit) for unit in choices),
        )
        for quantity, choices in CHOICES.items()
    )


def _languages(plant: Plant) -> tuple[Choice, ...]:
    """None to choose from where there is one."""
    known = languages()
    if len(known) < 2:
        return ()
    return tuple(Choice(code, name, plant.actor.language == code) for code, name in known.items())


def _sessions(connection: sa.Connection, plant: Plant, *, now_ms: int) -> tuple[AccessRow, ...]:
    person = person_by_name(connection, plant.frame("", active="").person)
    if person is None:
        return ()
    return tuple(
        AccessRow(
            name=_(
                "since {created}, last used {seen}",
                created=plant.moment(one.created_ms),
                seen=plant.moment(one.seen_ms),
            ),
            about=" · ".join(part for part in (one.address, one.agent[:60]) if part),
            path=f"/api/v1/sessions/{one.token_hash.hex()[:16]}",
        )
        for one in sessions_of(connection, person.person_id, now_ms=now_ms)
    )


def _areas(connection: sa.Connection) -> str:
    known = sorted({press.area for press in all_presses(connection) if press.area})
    told = _(" Of this plant: {join}.", join=", ".join(known[:12])) if known else ""
    return _("Where they act, with commas between; empty: everywhere.{told}", told=told)


def _people(connection: sa.Connection, *, roles: Sequence[str]) -> tuple[PersonRow, ...]:
    rows = []
    for one in all_people(connection):
        areas = ", ".join(json.loads(one.areas))
        about = (
            worded(ROLE, one.role),
            _("in {areas}", areas=areas) if areas else "",
            "" if one.active else _("shut out"),
        )
        rows.append(
            PersonRow(
                name=f"{one.name} ({one.full_name})" if one.full_name else one.name,
                about=" · ".join(part for part in about if part),
                path=f"/api/v1/people/{quote(one.name, safe='')}",
                is_over=not one.active,
                full_name=one.full_name,
                mail=one.mail,
                areas=areas,
                roles=tuple(Choice(role, worded(ROLE, role), role == one.role) for role in roles),
            )
        )
    return tuple(rows)


def _keys(connection: sa.Connection, plant: Plant, *, now_ms: int) -> tuple[AccessRow, ...]:
    rows = []
    for key in all_keys(connection):
        used = (
            _("never used")
            if key.last_used_ms is None
            else _("last used {last_used}", last_used=plant.moment(key.last_used_ms))
        )
        about = [key.press or _("every press"), key.scopes, used]
        if key.revoked_ms is not None:
            about.append(_("revoked {revoked}", revoked=plant.moment(key.revoked_ms)))
        elif key.ends_ms is not None:
            about.append(_("ends {ends}", ends=plant.moment(key.ends_ms)))
        path = f"/api/v1/keys/{key.key_id}"
        told = " · ".join(about)
        rows.append(AccessRow(f"{key.key_id} {key.name}", told, path, is_over=not key.holds(now_ms)))
    return tuple(rows)


def _tablets(connection: sa.Connection, plant: Plant) -> tuple[AccessRow, ...]:
    return tuple(
        AccessRow(
            name=one.name,
            about=_("struck off")
            if one.revoked_ms
            else _("enrolled {created}", created=plant.moment(one.created_ms)),
            path=f"/api/v1/tablets/{one.tablet_id}",
            is_over=one.revoked_ms is not None,
        )
        for one in all_tablets(connection)
    )


def _trail(connection: sa.Connection, plant: Plant, asked: Asked) -> tuple[TrailRow, ...]:
    found = find_audit(connection, who=asked.who, action=asked.action, limit=_SHOWN)
    return tuple(
        TrailRow(
            when=plant.moment(row.at_ms),
            who=row.who,
            action=row.action.replace("_", " "),
            subject=row.subject,
            press=press,
            before=_told(row.before, plant),
            after=_told(row.after, plant),
        )
        for press, row in found
    )


def _told(value: object, plant: Plant) -> str:
    """What a row of the trail keeps, without what is empty; the API has all of it."""
    if not isinstance(value, dict):
        text = "" if value is None else json.dumps(value, ensure_ascii=False)
    else:
        held = {name: one for name, one in value.items() if one not in (None, "", [], {})}
        text = ", ".join(_pair(name, one, plant) for name, one in held.items())
    return text if len(text) <= 160 else f"{text[:157]}…"


def _pair(name: str, value: object, plant: Plant) -> str:
    if name.endswith("_ms") and isinstance(value, int) and value > 10**11:
        return f"{name.removesuffix('_ms').replace('_', ' ')} {plant.moment(value)}"
    shown = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return f"{name.replace('_', ' ')} {shown}"


def _actions(connection: sa.Connection, asked: Asked) -> tuple[Choice, ...]:
    found = audit_actions(connection)
    return tuple(Choice(one, one.replace("_", " "), one == asked.action) for one in found)
