"""Commands carried out, by who sent them and the key they came with: one sent twice acts once."""

import sqlalchemy as sa

from server.store.tables import command_keys

#: How long a key is remembered.
REMEMBERED_MS = 30 * 86_400_000


def carried_out(connection: sa.Connection, who: str, key: str) -> tuple[str, str] | None:
    """Action and subject of the command this person sent with this key, if it came before."""
    row = connection.execute(
        sa.select(command_keys.c.action, command_keys.c.subject).where(
            command_keys.c.who == who, command_keys.c.command_key == key
        )
    ).one_or_none()
    return None if row is None else (row.action, row.subject)


def remember(
    connection: sa.Connection, who: str, key: str, *, action: str, subject: str, now_ms: int
) -> None:
    """Keep a key with what it did; keys nobody can mean any more are forgotten."""
    connection.execute(sa.delete(command_keys).where(command_keys.c.at_ms < now_ms - REMEMBERED_MS))
    connection.execute(
        sa.insert(command_keys).values(
            who=who, command_key=key, action=action, subject=subject, at_ms=now_ms
        )
    )
