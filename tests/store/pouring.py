"""Rows for every table of whatever schema a database has, and all of them read back."""

import random
from typing import Any

import sqlalchemy as sa

from server.store.engine import open_engine

#: Kept by the migrations themselves.
_NOT_OURS = "alembic_version"


def pour_rows(url: str, *, rows: int = 40, seed: int = 3) -> dict[str, int]:
    """So many rows into every table as it stands now, each column after its type; how many, by table."""
    rng = random.Random(seed)
    engine = open_engine(url)
    poured: dict[str, int] = {}
    try:
        with engine.begin() as connection:
            for table in _tables(connection):
                made = [_row(table, number, rng) for number in range(1, rows + 1)]
                connection.execute(sa.insert(table), made)
                poured[table.name] = rows
    finally:
        engine.dispose()
    return poured


def rows_of(url: str) -> dict[str, list[tuple[tuple[str, Any], ...]]]:
    """Every row of every table as (column, value) pairs, in a fixed order."""
    engine = open_engine(url)
    found = {}
    try:
        with engine.connect() as connection:
            for table in _tables(connection):
                read = connection.execute(sa.select(table))
                rows = [tuple(sorted(_plain(row._mapping).items())) for row in read]
                found[table.name] = sorted(rows, key=repr)
    finally:
        engine.dispose()
    return found


def only_columns(
    rows: list[tuple[tuple[str, Any], ...]], names: set[str]
) -> list[tuple[tuple[str, Any], ...]]:
    """The same rows with the columns of an older schema alone."""
    return sorted((tuple(pair for pair in row if pair[0] in names) for row in rows), key=repr)


def _plain(row: Any) -> dict[str, Any]:
    return {name: bytes(value) if isinstance(value, memoryview) else value for name, value in row.items()}


def _tables(connection: sa.Connection) -> list[sa.Table]:
    metadata = sa.MetaData()
    inspector = sa.inspect(connection)
    names = [name for name in inspector.get_table_names() if name != _NOT_OURS]
    # A partition's rows are those of the table it belongs to.
    partitions = {name for name in names if name.startswith(("shots_", "rollups_"))}
    return [sa.Table(name, metadata, autoload_with=connection) for name in sorted(set(names) - partitions)]


def _row(table: sa.Table, number: int, rng: random.Random) -> dict[str, Any]:
    return {column.name: _value(column, number, rng) for column in table.columns}


def _value(column: sa.Column[Any], number: int, rng: random.Random) -> Any:
    kind = column.type
    single = column.primary_key or column.unique or column.name in _SINGLE
    if isinstance(kind, sa.Boolean):
        return number % 2 == 0
    if isinstance(kind, sa.Integer):
        return _whole(column, number, single=single)
    if isinstance(kind, sa.Numeric | sa.Double | sa.Float):
        return rng.random() * 100.0
    if isinstance(kind, sa.LargeBinary):
        return b"k" + number.to_bytes(4, "big")
    # Text: JSON where it may be read as such, names otherwise.
    return f'"{column.name} {number} ä"'


#: Unique together with others, or marks of which only one may stand.
_SINGLE = {"press", "mold", "name", "token_hash"}


def _whole(column: sa.Column[Any], number: int, *, single: bool) -> int | None:
    if column.name == "open_mark":
        return None
    if column.name.endswith("_ms"):
        return 1_770_000_000_000 + number * 20_000
    return number if single or column.name.endswith(("_id", "_no", "counter", "step")) else number % 3
