"""The keys of devices. Of a token only its SHA-256 is kept."""

import dataclasses

import sqlalchemy as sa

from server.store.numbering import lock_table
from server.store.tables import device_keys


@dataclasses.dataclass(frozen=True)
class DeviceKey:
    """A key of a device. `press` empty: every press. `scopes` as kept: words with spaces between.

    ends_ms: when it stops by itself. replaces: the key it takes over from.
    """

    key_id: int
    name: str
    press: str
    scopes: str
    created_ms: int
    last_used_ms: int | None
    revoked_ms: int | None
    ends_ms: int | None
    replaces: int | None
    created_by: str

    def holds(self, now_ms: int) -> bool:
        """Whether it still opens anything."""
        return self.revoked_ms is None and (self.ends_ms is None or now_ms < self.ends_ms)


_COLUMNS = [c for c in device_keys.c if c.name != "token_hash"]


def lock_keys(connection: sa.Connection) -> None:
    """Let nobody else rotate keys until the transaction ends (PostgreSQL)."""
    lock_table(connection, device_keys)


def insert_key(
    connection: sa.Connection,
    token_hash: bytes,
    *,
    name: str,
    press: str,
    scopes: str,
    now_ms: int,
    ends_ms: int | None = None,
    replaces: int | None = None,
    created_by: str = "",
) -> DeviceKey:
    connection.execute(
        sa.insert(device_keys).values(
            token_hash=token_hash,
            name=name,
            press=press,
            scopes=scopes,
            created_ms=now_ms,
            ends_ms=ends_ms,
            replaces=replaces,
            created_by=created_by,
        )
    )
    made = key_by_hash(connection, token_hash)
    assert made is not None
    return made


def key_by_hash(connection: sa.Connection, token_hash: bytes) -> DeviceKey | None:
    """The key, whether it still holds or not."""
    row = connection.execute(sa.select(*_COLUMNS).where(device_keys.c.token_hash == token_hash)).one_or_none()
    return None if row is None else DeviceKey(**row._mapping)


def key_by_id(connection: sa.Connection, key_id: int) -> DeviceKey | None:
    row = connection.execute(sa.select(*_COLUMNS).where(device_keys.c.key_id == key_id)).one_or_none()
    return None if row is None else DeviceKey(**row._mapping)


def all_keys(connection: sa.Connection) -> list[DeviceKey]:
    """Every key there ever was, the oldest first."""
    rows = connection.execute(sa.select(*_COLUMNS).order_by(device_keys.c.key_id))
    return [DeviceKey(**row._mapping) for row in rows]


def end_key(connection: sa.Connection, key_id: int, *, ends_ms: int) -> None:
    """Let a key stop by itself at a time, unless it stops earlier."""
    connection.execute(
        sa.update(device_keys)
        .where(device_keys.c.key_id == key_id)
        .where(sa.or_(device_keys.c.ends_ms.is_(None), device_keys.c.ends_ms > ends_ms))
        .values(ends_ms=ends_ms)
    )


def revoke_key(connection: sa.Connection, key_id: int, *, now_ms: int) -> bool:
    """Revoke a key; False when there is none or it was revoked before."""
    done = connection.execute(
        sa.update(device_keys)
        .where(device_keys.c.key_id == key_id, device_keys.c.revoked_ms.is_(None))
        .values(revoked_ms=now_ms)
    )
    return done.rowcount == 1


def key_used(connection: sa.Connection, token_hash: bytes, *, now_ms: int) -> None:
    connection.execute(
        sa.update(device_keys).where(device_keys.c.token_hash == token_hash).values(last_used_ms=now_ms)
    )
