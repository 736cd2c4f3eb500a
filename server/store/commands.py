"""Commands carried out, by who sent them and the key they came with: one sent twice acts once."""

import dataclasses

import sqlalchemy as sa

from server.store.tables import command_keys

#: How long a key is remembered.
REMEMBERED_MS = 30 * 86_400_000


@dataclasses.dataclass(frozen=True)
class Carried:
    """A command that came before. `status` and `answer` None: not known yet, or not kept."""

    action: str
    asked: str
    at_ms: int
    status: int | None
    answer: str | None


def carried_out(connection: sa.Connection, who: str, key: str) -> Carried | None:
    """The command this person sent with this key, if it came before."""
    columns = [command_keys.c[field.name] for field in dataclasses.fields(Carried)]
    row = connection.execute(sa.select(*columns).where(*_is(who, key))).one_or_none()
    return None if row is None else Carried(**row._mapping)


def remember(connection: sa.Connection, who: str, key: str, *, action: str, asked: str, now_ms: int) -> None:
    """Keep a key with what it asked; keys nobody can mean any more are forgotten."""
    connection.execute(sa.delete(command_keys).where(command_keys.c.at_ms < now_ms - REMEMBERED_MS))
    connection.execute(
        sa.insert(command_keys).values(
            who=who, command_key=key, action=action, asked=asked, subject="", at_ms=now_ms
        )
    )


def keep_answer(connection: sa.Connection, who: str, key: str, *, status: int, answer: str) -> None:
    """What the command was answered."""
    connection.execute(sa.update(command_keys).where(*_is(who, key)).values(status=status, answer=answer))


def _is(who: str, key: str) -> tuple[sa.ColumnElement[bool], ...]:
    return command_keys.c.who == who, command_keys.c.command_key == key
