"""Shared tablets: enrolled once, then people change over with a short number each.

The short number opens a session only together with the tablet's own token, so that it is worth
nothing elsewhere. It is a PIN of six digits or more, throttled, and void after so many wrong tries.
"""

import dataclasses
from typing import Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.people import need_person
from server.access.tokens import new_token, password_fits, token_hash
from server.errors import InvalidError, NotFoundError, UnauthorizedError
from server.language import N_
from server.store import people as kept
from server.store.audit import PLANT, add_audit
from server.store.people import Person, Tablet

#: Wrong short numbers in a row before it is void and a new one has to be set with the password.
PIN_TRIES: Final = 10
NAME_LENGTH_MAX: Final = 80


@dataclasses.dataclass(frozen=True)
class NewTablet:
    """A tablet just enrolled. `token` goes into its cookie; it is not kept."""

    token: str = dataclasses.field(repr=False)
    tablet: Tablet


def enrol(connection: sa.Connection, name: str, *, by: str, now_ms: int) -> NewTablet:
    """Make the browser that asks a shared tablet."""
    if not 1 <= len(name) <= NAME_LENGTH_MAX or not name.isprintable():
        raise InvalidError(
            N_("name: 1 to {name_length_max} printable characters", name_length_max=NAME_LENGTH_MAX),
            field="name",
        )
    token = new_token()
    tablet = kept.insert_tablet(connection, token_hash(token), name=name, created_by=by, now_ms=now_ms)
    _audit(connection, "tablet_enrolled", f"tablet {tablet.tablet_id}", by=by, now_ms=now_ms, name=name)
    return NewTablet(token, tablet)


def strike_off(connection: sa.Connection, tablet_id: int, *, by: str, now_ms: int) -> None:
    """A tablet that is lost or done with: its token and every session on it end at once."""
    if not kept.revoke_tablet(connection, tablet_id, now_ms=now_ms):
        raise NotFoundError(N_("no tablet {tablet_id} in use", tablet_id=tablet_id), field="tablet")
    _audit(connection, "tablet_struck_off", f"tablet {tablet_id}", by=by, now_ms=now_ms)


def tablet_of(connection: sa.Connection, token: str) -> Tablet | None:
    return kept.tablet_by_hash(connection, token_hash(token)) if token else None


def names_with_pin(connection: sa.Connection) -> list[Person]:
    """Who may change over on a shared tablet."""
    return [
        one
        for one in kept.all_people(connection)
        if one.active and one.pin_hash is not None and not one.must_change
    ]


def check_pin(person: Person | None, pin: str) -> Person:
    """The person when the short number is right and not void. Slow on purpose: not in a transaction."""
    usable = person if person is not None and person.active and not person.must_change else None
    pin_hash = usable.pin_hash if usable is not None and usable.pin_wrong < PIN_TRIES else None
    if not password_fits(pin_hash, pin[:40]) or usable is None:
        raise UnauthorizedError(
            N_("name or short number is wrong; after several tries only the password helps")
        )
    return usable


def pin_tried(connection: sa.Connection, person: Person, *, right: bool, now_ms: int) -> None:
    """Count, also over restarts; at the limit the short number is void until it is set anew."""
    if right:
        if need_person(connection, person.name).pin_wrong:
            kept.change_person(connection, person.person_id, pin_wrong=0)
        return
    # Counted in one statement: guesses sent at the same moment must not count as one.
    if kept.count_wrong_pin(connection, person.person_id) == PIN_TRIES:
        _audit(connection, "pin_void", person.name, by=person.name, now_ms=now_ms)


def keep_pin(connection: sa.Connection, actor: Actor, pin_hash: str | None, *, now_ms: int) -> None:
    """Keep one's own short number, or none any more."""
    person = need_person(connection, actor.name)
    kept.change_person(connection, person.person_id, pin_hash=pin_hash, pin_wrong=0)
    action = "pin_removed" if pin_hash is None else "pin_set"
    _audit(connection, action, actor.name, by=actor.name, now_ms=now_ms)


def _audit(
    connection: sa.Connection, action: str, subject: str, *, by: str, now_ms: int, **after: str
) -> None:
    told = after or None
    add_audit(connection, PLANT, now_ms=now_ms, who=by, action=action, subject=subject, after=told)
