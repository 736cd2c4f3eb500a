"""People, their sessions and the keys of devices. Tokens are kept as SHA-256 only."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.store.tables import device_keys, people, sessions


@dataclasses.dataclass(frozen=True)
class Person:
    """Somebody who can log in. `must_change`: the password was given out once."""

    person_id: int
    name: str
    role: str
    full_name: str
    mail: str
    password_hash: str = dataclasses.field(repr=False)
    must_change: bool
    active: bool
    created_ms: int


@dataclasses.dataclass(frozen=True)
class DeviceKey:
    """A key of a device. `press` empty: every press. `scopes` as kept: words with spaces between."""

    key_id: int
    name: str
    press: str
    scopes: str
    created_ms: int
    last_used_ms: int | None
    revoked_ms: int | None


_KEY_COLUMNS = [c for c in device_keys.c if c.name != "token_hash"]


def person_by_name(connection: sa.Connection, name: str) -> Person | None:
    row = connection.execute(sa.select(people).where(people.c.name == name)).one_or_none()
    return None if row is None else Person(**row._mapping)


def all_people(connection: sa.Connection) -> list[Person]:
    return [Person(**row._mapping) for row in connection.execute(sa.select(people).order_by(people.c.name))]


def insert_person(
    connection: sa.Connection,
    *,
    name: str,
    role: str,
    full_name: str,
    mail: str,
    password_hash: str,
    must_change: bool,
    now_ms: int,
) -> None:
    connection.execute(
        sa.insert(people).values(
            name=name,
            role=role,
            full_name=full_name,
            mail=mail,
            password_hash=password_hash,
            must_change=must_change,
            created_ms=now_ms,
        )
    )


def change_person(connection: sa.Connection, person_id: int, **changes: Any) -> None:
    """Set columns of one person: role, active, password_hash, must_change, …"""
    connection.execute(sa.update(people).where(people.c.person_id == person_id).values(**changes))


# --- sessions -----------------------------------------------------------------------------------


def insert_session(
    connection: sa.Connection, token_hash: bytes, *, person_id: int, now_ms: int, ends_ms: int
) -> None:
    connection.execute(
        sa.insert(sessions).values(
            token_hash=token_hash, person_id=person_id, created_ms=now_ms, seen_ms=now_ms, ends_ms=ends_ms
        )
    )


def person_of_session(connection: sa.Connection, token_hash: bytes, *, now_ms: int) -> Person | None:
    """The active person whose running session this is."""
    row = connection.execute(
        sa.select(people)
        .join(sessions, sessions.c.person_id == people.c.person_id)
        .where(
            sessions.c.token_hash == token_hash,
            sessions.c.revoked_ms.is_(None),
            sessions.c.ends_ms > now_ms,
            people.c.active,
        )
    ).one_or_none()
    return None if row is None else Person(**row._mapping)


def revoke_session(connection: sa.Connection, token_hash: bytes, *, now_ms: int) -> None:
    connection.execute(
        sa.update(sessions)
        .where(sessions.c.token_hash == token_hash, sessions.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )


def revoke_sessions_of(
    connection: sa.Connection, person_id: int, *, but: bytes | None = None, now_ms: int
) -> None:
    """End every session of a person, but perhaps the one in use."""
    query = sa.update(sessions).where(sessions.c.person_id == person_id, sessions.c.revoked_ms.is_(None))
    if but is not None:
        query = query.where(sessions.c.token_hash != but)
    connection.execute(query.values(revoked_ms=now_ms))


def forget_sessions(connection: sa.Connection, *, before_ms: int) -> int:
    """Delete sessions that ended before a time; how many."""
    return connection.execute(sa.delete(sessions).where(sessions.c.ends_ms < before_ms)).rowcount


# --- device keys --------------------------------------------------------------------------------


def insert_key(
    connection: sa.Connection, token_hash: bytes, *, name: str, press: str, scopes: str, now_ms: int
) -> DeviceKey:
    connection.execute(
        sa.insert(device_keys).values(
            token_hash=token_hash, name=name, press=press, scopes=scopes, created_ms=now_ms
        )
    )
    made = key_by_hash(connection, token_hash)
    assert made is not None
    return made


def key_by_hash(connection: sa.Connection, token_hash: bytes) -> DeviceKey | None:
    """The key, revoked or not."""
    row = connection.execute(
        sa.select(*_KEY_COLUMNS).where(device_keys.c.token_hash == token_hash)
    ).one_or_none()
    return None if row is None else DeviceKey(**row._mapping)


def all_keys(connection: sa.Connection) -> list[DeviceKey]:
    rows = connection.execute(sa.select(*_KEY_COLUMNS).order_by(device_keys.c.key_id))
    return [DeviceKey(**row._mapping) for row in rows]


def revoke_key(connection: sa.Connection, key_id: int, *, now_ms: int) -> bool:
    """Revoke a key; False when there is none or it was revoked before."""
    done = connection.execute(
        sa.update(device_keys)
        .where(device_keys.c.key_id == key_id, device_keys.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )
    return done.rowcount == 1
