"""A command with an Idempotency-Key: carried out the first time, only told about afterwards."""

from collections.abc import Callable

import sqlalchemy as sa

from server.errors import ConflictError, InvalidError
from server.store import commands as kept

KEY_LENGTH_MAX = 200


def once(
    connection: sa.Connection,
    job: Callable[[], str],
    *,
    who: str,
    key: str | None,
    action: str,
    now_ms: int,
) -> tuple[str, bool]:
    """Run a job that returns the id of what it made, unless this very command came before.

    Returns that id and whether the job ran now.
    """
    if key is None:
        return job(), True
    if not 1 <= len(key) <= KEY_LENGTH_MAX:
        raise InvalidError(
            f"Idempotency-Key has {len(key)} characters; 1 to {KEY_LENGTH_MAX}", field="Idempotency-Key"
        )
    before = kept.carried_out(connection, who, key)
    if before is not None and before[0] != action:
        raise ConflictError(f"Idempotency-Key {key!r} was used for {before[0]!r}; use another for this")
    if before is not None:
        return before[1], False
    subject = job()
    kept.remember(connection, who, key, action=action, subject=subject, now_ms=now_ms)
    return subject, True
