"""Spreading the tables over the nodes of a distributed PostgreSQL, by press.

Everything about one press lies on one node: tables keyed by the press are spread by it and lie together,
small tables stand whole on every node. No statement of a press's page looks at two nodes.
"""

import dataclasses
from collections.abc import Iterator
from typing import Final

import sqlalchemy as sa

from server.errors import RingtellError
from server.store.database import Store
from server.store.tables import REFERENCE_TABLES, metadata

EXTENSION: Final = "citus"
#: The table all others of a press lie together with.
FIRST: Final = "press_states"
#: Rows kept apart name presses that have no number yet: spread by the code, on their own.
BY_CODE: Final = "quarantine"


@dataclasses.dataclass(frozen=True)
class Spread:
    """A table and the statement that spreads it."""

    table: str
    statement: str


def spreads() -> Iterator[Spread]:
    """Every table, in the order in which they are spread."""
    for name in sorted(REFERENCE_TABLES):
        yield Spread(name, f"SELECT create_reference_table('{name}')")
    yield Spread(FIRST, f"SELECT create_distributed_table('{FIRST}', 'press_id', colocate_with => 'none')")
    for name in sorted(set(metadata.tables) - {*REFERENCE_TABLES, FIRST, BY_CODE}):
        yield Spread(
            name, f"SELECT create_distributed_table('{name}', 'press_id', colocate_with => '{FIRST}')"
        )
    yield Spread(BY_CODE, f"SELECT create_distributed_table('{BY_CODE}', 'press', colocate_with => 'none')")


def need_extension(store: Store) -> None:
    """RingtellError with what to do where the database cannot spread tables."""
    if store.is_sqlite:
        raise RingtellError(
            "an SQLite file lies on one machine; move the plant to PostgreSQL first (RINGTELL_DATABASE_URL)"
        )
    with store.read() as connection:
        created = _one(connection, "SELECT extversion FROM pg_extension WHERE extname = '{}'")
        offered = _one(connection, "SELECT default_version FROM pg_available_extensions WHERE name = '{}'")
    if created is not None:
        return
    if offered is not None:
        raise RingtellError(
            f"the extension {EXTENSION} {offered} is installed but not part of this database: as its"
            f" administrator, CREATE EXTENSION {EXTENSION}, add the nodes (citus_add_node), then run this"
            " again; nothing was changed"
        )
    raise RingtellError(
        f"this PostgreSQL has no extension {EXTENSION}, so its tables stay on one node. Install the extension"
        " on every node (shared_preload_libraries), or go on with one: partitions by month and several"
        " servers need no extension. Nothing was changed"
    )


def _one(connection: sa.Connection, query: str) -> str | None:
    row = connection.exec_driver_sql(query.format(EXTENSION)).first()
    return None if row is None else str(row[0])


def spread_already(store: Store) -> set[str]:
    """Tables the extension knows of."""
    with store.read() as connection:
        rows = connection.exec_driver_sql("SELECT table_name::text FROM citus_tables")
        return set(rows.scalars())


def spread(store: Store, one: Spread) -> None:
    """Spread one table, its rows included, in a transaction of its own."""
    with store.engine.begin() as connection:
        connection.exec_driver_sql("SET LOCAL statement_timeout = 0")
        connection.exec_driver_sql(one.statement)
