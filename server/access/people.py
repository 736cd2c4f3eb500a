"""People: added with a one-time password, changed, shut out, changing their own password."""

import dataclasses
import json
import logging
import re
from collections.abc import Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.passwords import LENGTH_MAX
from server.access.tokens import hash_password, is_outdated, one_time_password, password_fits
from server.contract import ROLES
from server.errors import ConflictError, InvalidError, NotFoundError, UnauthorizedError
from server.language import N_
from server.store import people as kept
from server.store.audit import PLANT, add_audit
from server.store.people import Person

log = logging.getLogger("ringtell.access")

_NAME = re.compile(r"[^\W_][\w.@-]{0,39}").fullmatch
TEXT_LENGTH_MAX: Final = 120
AREAS_MAX: Final = 20
#: How long a password that was given out once may be used: over a weekend and a holiday, no longer.
ONE_TIME_MS: Final = 7 * 86_400_000


@dataclasses.dataclass(frozen=True)
class Welcome:
    """A person just added, and the password to hand over; it is not kept anywhere."""

    name: str
    role: str
    password: str = dataclasses.field(repr=False)


@dataclasses.dataclass(frozen=True)
class Changes:
    """What is changed of a person; None leaves it."""

    role: str | None = None
    full_name: str | None = None
    mail: str | None = None
    areas: tuple[str, ...] | None = None
    active: bool | None = None


def add_person(
    connection: sa.Connection,
    name: str,
    role: str,
    *,
    full_name: str = "",
    mail: str = "",
    areas: Sequence[str] = (),
    by: str,
    now_ms: int,
) -> Welcome:
    """Add somebody with a one-time password that has to be changed at the first login."""
    if not _NAME(name):
        raise InvalidError(
            N_(
                "name {name!r}: 1 to 40 letters, digits, '.', '-', '_' or '@', beginning with a"
                " letter or digit",
                name=name,
            ),
            field="name",
        )
    _check(Changes(role, full_name, mail, tuple(areas)))
    if kept.person_by_name(connection, name) is not None:
        raise ConflictError(N_("there is already somebody named {name!r}", name=name), field="name")
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
        areas=json.dumps(list(areas)),
        one_time_ends_ms=now_ms + ONE_TIME_MS,
    )
    after = {"role": role, "areas": list(areas), "full_name": full_name, "mail": mail}
    _audit(connection, "person_added", name, by=by, now_ms=now_ms, after=after)
    return Welcome(name, role, password)


def reset_password(connection: sa.Connection, name: str, *, by: str, now_ms: int) -> Welcome:
    """A new one-time password; every session of that person ends and the short number is void."""
    person = need_person(connection, name)
    password = one_time_password()
    kept.change_person(
        connection,
        person.person_id,
        password_hash=hash_password(password),
        must_change=True,
        pin_hash=None,
        one_time_ends_ms=now_ms + ONE_TIME_MS,
    )
    kept.revoke_sessions_of(connection, person.person_id, now_ms=now_ms)
    _audit(connection, "password_reset", name, by=by, now_ms=now_ms)
    return Welcome(name, person.role, password)


def change_role(connection: sa.Connection, name: str, role: str, *, by: str, now_ms: int) -> None:
    change_person(connection, name, Changes(role=role), by=by, now_ms=now_ms)


def set_active(connection: sa.Connection, name: str, active: bool, *, by: str, now_ms: int) -> None:
    """Let somebody in again, or out: then every session ends at once."""
    change_person(connection, name, Changes(active=active), by=by, now_ms=now_ms)


def change_person(connection: sa.Connection, name: str, changes: Changes, *, by: str, now_ms: int) -> Person:
    """Change what is given. Who is shut out loses every session at once."""
    # Two administrators who step down at the same moment would each see the other.
    kept.lock_people(connection)
    person = need_person(connection, name)
    _check(changes)
    wanted = {field: value for field, value in dataclasses.asdict(changes).items() if value is not None}
    now = {**dataclasses.asdict(person), "areas": tuple(json.loads(person.areas))}
    changed = {field: value for field, value in wanted.items() if now[field] != value}
    if not changed:
        return person
    _keep_one_administrator(connection, person, changed)
    columns = {**changed, "areas": json.dumps(list(changed["areas"]))} if "areas" in changed else changed
    kept.change_person(connection, person.person_id, **columns)
    if changed.get("active") is False:
        kept.revoke_sessions_of(connection, person.person_id, now_ms=now_ms)
    before = {field: now[field] for field in changed}
    _audit(connection, _act(changed), name, by=by, now_ms=now_ms, before=before, after=changed)
    return need_person(connection, name)


def _act(changed: dict[str, Any]) -> str:
    if changed.keys() == {"active"}:
        return "person_let_in" if changed["active"] else "person_shut_out"
    return "role_changed" if changed.keys() == {"role"} else "person_changed"


def _keep_one_administrator(connection: sa.Connection, person: Person, changed: dict[str, Any]) -> None:
    stays = changed.get("role", person.role) == "administrator" and changed.get("active", person.active)
    if stays or person.role != "administrator" or not person.active:
        return
    others = [
        other
        for other in kept.all_people(connection)
        if other.role == "administrator" and other.active and other.person_id != person.person_id
    ]
    if not others:
        raise ConflictError(
            N_("{name} is the only administrator; make another one first", name=person.name), field="role"
        )


def need_person(connection: sa.Connection, name: str) -> Person:
    person = kept.person_by_name(connection, name)
    if person is None:
        raise NotFoundError(N_("nobody is named {name!r}", name=name), field="name")
    return person


def check_password(person: Person | None, password: str, *, now_ms: int) -> Person:
    """The person when active and the password right. Slow on purpose: not inside a transaction.

    Only who has the right one learns that it was given out too long ago.
    """
    usable = person if person is not None and person.active else None
    tried = password[: LENGTH_MAX + 1]
    if not password_fits(usable.password_hash if usable else None, tried) or usable is None:
        raise UnauthorizedError(N_("name or password is wrong"))
    if usable.one_time_ends_ms is not None and now_ms >= usable.one_time_ends_ms:
        raise UnauthorizedError(
            N_("this one-time password was not used in time; an administrator gives out another"),
            has_ended=True,
        )
    return usable


def renewed_hash(person: Person, password: str) -> str | None:
    """The right password hashed as it is done now, where its hash was made another way."""
    return hash_password(password) if is_outdated(person.password_hash) else None


def keep_renewed_hash(connection: sa.Connection, person: Person, new_hash: str) -> None:
    kept.change_person(connection, person.person_id, password_hash=new_hash)


def change_password(connection: sa.Connection, actor: Actor, new_hash: str, *, now_ms: int) -> None:
    """Keep one's own new password; every other session of that person ends."""
    person = need_person(connection, actor.name)
    kept.change_person(
        connection, person.person_id, password_hash=new_hash, must_change=False, one_time_ends_ms=None
    )
    kept.revoke_sessions_of(connection, person.person_id, but=actor.ticket or None, now_ms=now_ms)
    _audit(connection, "password_changed", actor.name, by=actor.name, now_ms=now_ms)


def _check(changes: Changes) -> None:
    if changes.role is not None and changes.role not in ROLES:
        raise InvalidError(
            N_("role {role!r}: one of {join}", role=changes.role, join=", ".join(ROLES)),
            field="role",
            value=changes.role,
        )
    for field in ("full_name", "mail"):
        text = getattr(changes, field)
        if text is not None and (len(text) > TEXT_LENGTH_MAX or not text.isprintable()):
            raise InvalidError(
                N_(
                    "{field}: up to {text_length_max} printable characters",
                    field=field,
                    text_length_max=TEXT_LENGTH_MAX,
                ),
                field=field,
            )
    areas = changes.areas or ()
    if len(areas) > AREAS_MAX or any(not area or len(area) > TEXT_LENGTH_MAX for area in areas):
        raise bad_areas()


def bad_areas() -> InvalidError:
    """For what is no list of areas."""
    return InvalidError(
        N_("areas: a list of up to {areas_max} names of areas, empty for all", areas_max=AREAS_MAX),
        field="areas",
    )


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
    log.info("%s: %s by %s", action, subject, by)
    add_audit(
        connection, PLANT, now_ms=now_ms, who=by, action=action, subject=subject, before=before, after=after
    )
