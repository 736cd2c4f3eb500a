"""People, their sessions and shared tablets. Tokens are kept as SHA-256 only."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.store.numbering import lock_table
from server.store.tables import people, sessions, tablets


@dataclasses.dataclass(frozen=True)
class Person:
    """Somebody who can log in. `must_change`: the password was given out once.

    areas: a JSON list of the areas whose presses they may act on; empty: all. pin_hash: the short
    number for shared tablets, with how often in a row it was wrong. one_time_ends_ms: the last moment
    of a password that was given out once; None for one's own.
    """

    person_id: int
    name: str
    role: str
    full_name: str
    mail: str
    password_hash: str = dataclasses.field(repr=False)
    must_change: bool
    active: bool
    created_ms: int
    areas: str
    pin_hash: str | None = dataclasses.field(repr=False)
    pin_wrong: int
    one_time_ends_ms: int | None = None
    preferences: str = "{}"


@dataclasses.dataclass(frozen=True)
class Session:
    """One session. `ends_ms` its last moment, `idle_ms` how long nothing may happen (None: any)."""

    token_hash: bytes = dataclasses.field(repr=False)
    person_id: int
    created_ms: int
    seen_ms: int
    ends_ms: int
    revoked_ms: int | None
    idle_ms: int | None
    tablet_id: int | None
    by_pin: bool
    agent: str
    address: str


@dataclasses.dataclass(frozen=True)
class Tablet:
    """A tablet several people use in turn."""

    tablet_id: int
    name: str
    created_by: str
    created_ms: int
    last_used_ms: int | None
    revoked_ms: int | None


_TABLET_COLUMNS = [c for c in tablets.c if c.name != "token_hash"]


def person_by_name(connection: sa.Connection, name: str) -> Person | None:
    row = connection.execute(sa.select(people).where(people.c.name == name)).one_or_none()
    return None if row is None else Person(**row._mapping)


def lock_people(connection: sa.Connection) -> None:
    """Let nobody else change people until the transaction ends (PostgreSQL)."""
    lock_table(connection, people)


def all_people(connection: sa.Connection) -> list[Person]:
    return [Person(**row._mapping) for row in connection.execute(sa.select(people).order_by(people.c.name))]


def any_person(connection: sa.Connection) -> bool:
    """Whether anybody has an account."""
    return connection.execute(sa.select(people.c.person_id).limit(1)).first() is not None


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
    areas: str = "[]",
    one_time_ends_ms: int | None = None,
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
            areas=areas,
            one_time_ends_ms=one_time_ends_ms,
        )
    )


def change_person(connection: sa.Connection, person_id: int, **changes: Any) -> None:
    """Set columns of one person: role, active, password_hash, must_change, …"""
    connection.execute(sa.update(people).where(people.c.person_id == person_id).values(**changes))


def count_wrong_pin(connection: sa.Connection, person_id: int) -> int:
    """One more wrong short number in a row, counted by the database itself; how many now."""
    query = sa.update(people).where(people.c.person_id == person_id)
    counted = query.values(pin_wrong=people.c.pin_wrong + 1).returning(people.c.pin_wrong)
    return int(connection.execute(counted).scalar_one())


# --- sessions -----------------------------------------------------------------------------------


def insert_session(
    connection: sa.Connection,
    token_hash: bytes,
    *,
    person_id: int,
    now_ms: int,
    ends_ms: int,
    idle_ms: int | None = None,
    tablet_id: int | None = None,
    by_pin: bool = False,
    agent: str = "",
    address: str = "",
) -> None:
    connection.execute(
        sa.insert(sessions).values(
            token_hash=token_hash,
            person_id=person_id,
            created_ms=now_ms,
            seen_ms=now_ms,
            ends_ms=ends_ms,
            idle_ms=idle_ms,
            tablet_id=tablet_id,
            by_pin=by_pin,
            agent=agent,
            address=address,
        )
    )


def _running(now_ms: int) -> sa.ColumnElement[bool]:
    return sa.and_(
        sessions.c.revoked_ms.is_(None),
        sessions.c.ends_ms > now_ms,
        sa.or_(sessions.c.idle_ms.is_(None), sessions.c.seen_ms + sessions.c.idle_ms > now_ms),
    )


def running_session(
    connection: sa.Connection, token_hash: bytes, *, now_ms: int
) -> tuple[Person, Session] | None:
    """The active person whose running session this is, and the session."""
    row = connection.execute(
        sa.select(*(column.label(f"p_{column.name}") for column in people.c), *sessions.c)
        .join(sessions, sessions.c.person_id == people.c.person_id)
        .where(sessions.c.token_hash == token_hash, _running(now_ms), people.c.active)
    ).one_or_none()
    if row is None:
        return None
    values = row._mapping
    person = Person(**{column.name: values[f"p_{column.name}"] for column in people.c})
    return person, Session(**{column.name: values[column.name] for column in sessions.c})


def person_of_session(connection: sa.Connection, token_hash: bytes, *, now_ms: int) -> Person | None:
    """The active person whose running session this is."""
    found = running_session(connection, token_hash, now_ms=now_ms)
    return None if found is None else found[0]


def sessions_of(connection: sa.Connection, person_id: int, *, now_ms: int) -> list[Session]:
    """The running sessions of a person, the one used last first."""
    rows = connection.execute(
        sa.select(sessions)
        .where(sessions.c.person_id == person_id, _running(now_ms))
        .order_by(sessions.c.seen_ms.desc(), sessions.c.token_hash)
    )
    return [Session(**row._mapping) for row in rows]


def session_seen(connection: sa.Connection, token_hash: bytes, *, now_ms: int) -> None:
    """Somebody was there, unless the session has ended meanwhile."""
    connection.execute(
        sa.update(sessions)
        .where(sessions.c.token_hash == token_hash, _running(now_ms))
        .values(seen_ms=now_ms)
    )


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


# --- shared tablets -----------------------------------------------------------------------------


def insert_tablet(
    connection: sa.Connection, token_hash: bytes, *, name: str, created_by: str, now_ms: int
) -> Tablet:
    connection.execute(
        sa.insert(tablets).values(token_hash=token_hash, name=name, created_by=created_by, created_ms=now_ms)
    )
    made = tablet_by_hash(connection, token_hash)
    assert made is not None
    return made


def tablet_by_hash(connection: sa.Connection, token_hash: bytes) -> Tablet | None:
    """The tablet, unless it was struck off."""
    row = connection.execute(
        sa.select(*_TABLET_COLUMNS).where(tablets.c.token_hash == token_hash, tablets.c.revoked_ms.is_(None))
    ).one_or_none()
    return None if row is None else Tablet(**row._mapping)


def all_tablets(connection: sa.Connection) -> list[Tablet]:
    rows = connection.execute(sa.select(*_TABLET_COLUMNS).order_by(tablets.c.tablet_id))
    return [Tablet(**row._mapping) for row in rows]


def tablet_used(connection: sa.Connection, tablet_id: int, *, now_ms: int) -> None:
    connection.execute(sa.update(tablets).where(tablets.c.tablet_id == tablet_id).values(last_used_ms=now_ms))


def revoke_tablet(connection: sa.Connection, tablet_id: int, *, now_ms: int) -> bool:
    """Strike a tablet off, and end what runs on it; False when there is none."""
    done = connection.execute(
        sa.update(tablets)
        .where(tablets.c.tablet_id == tablet_id, tablets.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )
    connection.execute(
        sa.update(sessions)
        .where(sessions.c.tablet_id == tablet_id, sessions.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )
    return done.rowcount == 1
