"""People: added with a one-time password, logging in, changing their password."""

import dataclasses
import re
from typing import Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.tokens import (
    hash_password,
    new_token,
    one_time_password,
    password_fits,
    token_hash,
)
from server.contract import ROLES
from server.errors import ConflictError, InvalidError, NotFoundError, UnauthorizedError
from server.store import people as kept
from server.store.audit import PLANT, add_audit
from server.store.people import Person

PASSWORD_LENGTH_MIN: Final = 10
PASSWORD_LENGTH_MAX: Final = 200
_NAME = re.compile(r"[^\W_][\w.@-]{0,39}").fullmatch


@dataclasses.dataclass(frozen=True)
class Welcome:
    """A person just added, and the password to hand over; it is not kept anywhere."""

    name: str
    role: str
    password: str = dataclasses.field(repr=False)


def add_person(
    connection: sa.Connection,
    name: str,
    role: str,
    *,
    full_name: str = "",
    mail: str = "",
    by: str,
    now_ms: int,
) -> Welcome:
    """Add somebody with a one-time password that has to be changed at the first login."""
    if not _NAME(name):
        raise InvalidError(
            f"name {name!r}: 1 to 40 letters, digits, '.', '-', '_' or '@', beginning with a letter or digit",
            field="name",
        )
    _check_role(role)
    if kept.person_by_name(connection, name) is not None:
        raise ConflictError(f"there is already somebody named {name!r}", field="name")
    password = one_time_password()
    kept.insert_person(
        connection,
        name=name,
        role=role,
        full_name=full_name,
        mail=mail,
        password_hash=hash_password(password),
        must_change=True,
        now_ms=now_ms,
    )
    _audit(connection, "person_added", name, by=by, now_ms=now_ms, after={"role": role})
    return Welcome(name, role, password)


def reset_password(connection: sa.Connection, name: str, *, by: str, now_ms: int) -> Welcome:
    """A new one-time password; every session of that person ends."""
    person = need_person(connection, name)
    password = one_time_password()
    kept.change_person(
        connection, person.person_id, password_hash=hash_password(password), must_change=True
    )
    kept.revoke_sessions_of(connection, person.person_id, now_ms=now_ms)
    _audit(connection, "password_reset", name, by=by, now_ms=now_ms)
    return Welcome(name, person.role, password)


def change_role(connection: sa.Connection, name: str, role: str, *, by: str, now_ms: int) -> None:
    _check_role(role)
    person = need_person(connection, name)
    kept.change_person(connection, person.person_id, role=role)
    before, after = {"role": person.role}, {"role": role}
    _audit(connection, "role_changed", name, by=by, now_ms=now_ms, before=before, after=after)


def set_active(connection: sa.Connection, name: str, active: bool, *, by: str, now_ms: int) -> None:
    """Let somebody in again, or out: then every session ends at once."""
    person = need_person(connection, name)
    kept.change_person(connection, person.person_id, active=active)
    if not active:
        kept.revoke_sessions_of(connection, person.person_id, now_ms=now_ms)
    _audit(connection, "person_let_in" if active else "person_shut_out", name, by=by, now_ms=now_ms)


def need_person(connection: sa.Connection, name: str) -> Person:
    person = kept.person_by_name(connection, name)
    if person is None:
        raise NotFoundError(f"nobody is named {name!r}", field="name")
    return person


def check_password(person: Person | None, password: str) -> Person:
    """The person when active and the password right. Slow on purpose: not inside a transaction."""
    usable = person if person is not None and person.active else None
    tried = password[: PASSWORD_LENGTH_MAX + 1]
    if not password_fits(usable.password_hash if usable else None, tried) or usable is None:
        raise UnauthorizedError("name or password is wrong")
    return usable


def change_password(
    connection: sa.Connection, actor: Actor, new_hash: str, *, now_ms: int
) -> None:
    """Keep one's own new password; every other session of that person ends."""
    person = need_person(connection, actor.name)
    kept.change_person(connection, person.person_id, password_hash=new_hash, must_change=False)
    kept.revoke_sessions_of(connection, person.person_id, but=actor.ticket or None, now_ms=now_ms)
    _audit(connection, "password_changed", actor.name, by=actor.name, now_ms=now_ms)


def hash_new_password(name: str, *, old: str, new: str) -> str:
    """The hash of a new password, or InvalidError saying what is wrong with it."""
    if not PASSWORD_LENGTH_MIN <= len(new) <= PASSWORD_LENGTH_MAX:
        raise InvalidError(
            f"the new password has {len(new)} characters; {PASSWORD_LENGTH_MIN} to {PASSWORD_LENGTH_MAX}",
            field="new_password",
        )
    if new == old:
        raise InvalidError("the new password is the old one", field="new_password")
    if name.lower() in new.lower():
        raise InvalidError("the new password holds the name", field="new_password")
    return hash_password(new)


# --- sessions ---------------------------------------------------------------------------------


def open_session(connection: sa.Connection, person: Person, *, hours: float, now_ms: int) -> str:
    """Start a session; the token goes into the cookie and is not kept."""
    token = new_token()
    ends_ms = now_ms + int(hours * 3_600_000)
    kept.insert_session(
        connection, token_hash(token), person_id=person.person_id, now_ms=now_ms, ends_ms=ends_ms
    )
    kept.forget_sessions(connection, before_ms=now_ms - 30 * 86_400_000)
    return token


def actor_of_session(connection: sa.Connection, token: str, *, now_ms: int) -> Actor | None:
    """Who the cookie stands for, or None when it stands for nobody any more."""
    ticket = token_hash(token)
    person = kept.person_of_session(connection, ticket, now_ms=now_ms)
    if person is None:
        return None
    return Actor(person.name, person.role, "person", must_change=person.must_change, ticket=ticket)


def end_session(connection: sa.Connection, actor: Actor, *, now_ms: int) -> None:
    kept.revoke_session(connection, actor.ticket, now_ms=now_ms)


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise InvalidError(f"role {role!r}: one of {', '.join(ROLES)}", field="role", value=role)


def _audit(
    connection: sa.Connection,
    action: str,
    subject: str,
    *,
    by: str,
    now_ms: int,
    before: object = None,
    after: object = None,
) -> None:
    add_audit(
        connection, PLANT, now_ms=now_ms, who=by, action=action, subject=subject, before=before, after=after
    )
