"""Which server is at which import: held for a while, renewed while it lives, free once it does not."""

from collections.abc import Collection

import sqlalchemy as sa

from server.store.plant import upsert
from server.store.tables import import_holds


def hold(connection: sa.Connection, import_no: int, *, who: str, until_ms: int) -> None:
    """Take an import; nothing that was asked of an earlier holder stands any more."""
    row = {"import_no": import_no, "held_by": who, "until_ms": until_ms, "cancel_asked": False}
    upsert(connection, import_holds, [row])


def take_free(connection: sa.Connection, import_no: int, *, who: str, until_ms: int, now_ms: int) -> bool:
    """Take an import that nobody holds any more; False when another was faster."""
    here = import_holds.c.import_no == import_no
    taken = connection.execute(
        sa.update(import_holds)
        .where(here, import_holds.c.until_ms < now_ms)
        .values(held_by=who, until_ms=until_ms, cancel_asked=False)
    )
    if taken.rowcount:
        return True
    if connection.execute(sa.select(import_holds.c.import_no).where(here)).first() is not None:
        return False
    # From before there were holds; two who come at once meet at the key.
    row = {"import_no": import_no, "held_by": who, "until_ms": until_ms}
    connection.execute(sa.insert(import_holds).values(row))
    return True


def renew(connection: sa.Connection, *, who: str, until_ms: int) -> set[int]:
    """Go on holding what is ours; those of it that somebody asked to be given up."""
    mine = import_holds.c.held_by == who
    connection.execute(sa.update(import_holds).where(mine).values(until_ms=until_ms))
    asked = sa.select(import_holds.c.import_no).where(mine, import_holds.c.cancel_asked)
    return set(connection.execute(asked).scalars())


def ask_to_cancel(connection: sa.Connection, import_no: int) -> None:
    """Whoever holds it stops after the piece under way."""
    connection.execute(
        sa.update(import_holds).where(import_holds.c.import_no == import_no).values(cancel_asked=True)
    )


def let_go(connection: sa.Connection, *, who: str, import_no: int | None = None) -> None:
    """Ended, or the server stops: the next may take it at once."""
    query = sa.update(import_holds).where(import_holds.c.held_by == who).values(until_ms=0)
    connection.execute(query if import_no is None else query.where(import_holds.c.import_no == import_no))


def held_until(connection: sa.Connection, numbers: Collection[int]) -> dict[int, int]:
    """Until when imports are held, by number; those nobody ever held are not in it."""
    rows = connection.execute(
        sa.select(import_holds.c.import_no, import_holds.c.until_ms).where(
            import_holds.c.import_no.in_(list(numbers))
        )
    )
    return {row.import_no: row.until_ms for row in rows}
