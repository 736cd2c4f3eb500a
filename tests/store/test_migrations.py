"""Migrations: up, down, equal to the tables in code, on both databases; what SQLite is told."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from server.store.database import Store
from server.store.engine import downgrade, open_engine, upgrade
from server.store.tables import metadata
from tests.postgresql import PostgresqlServer


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A database without any table."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
        return
    server: PostgresqlServer = request.getfixturevalue("postgresql")
    name = server.new_database()
    yield server.url(name)
    server.drop_database(name)


def tables_of(url: str) -> set[str]:
    engine = open_engine(url)
    names = set(sa.inspect(engine).get_table_names())
    engine.dispose()
    return names


def differences(url: str) -> list[object]:
    engine = open_engine(url)
    with engine.connect() as connection:
        found = compare_metadata(
            MigrationContext.configure(connection, opts={"compare_type": True}), metadata
        )
    engine.dispose()
    # Partitions are tables of their own on PostgreSQL; they belong to the partitioned one.
    return [one for one in found if not _is_partition(one)]


def _is_partition(difference: object) -> bool:
    if not isinstance(difference, tuple) or difference[0] != "remove_table":
        return False
    return str(difference[1].name).startswith(("shots_", "rollups_"))


def test_going_up_and_down_and_up_again(empty_url: str) -> None:
    upgrade(empty_url)
    first = tables_of(empty_url)
    assert set(metadata.tables) <= first
    downgrade(empty_url, "base")
    assert tables_of(empty_url) == {"alembic_version"}
    upgrade(empty_url)
    assert tables_of(empty_url) == first


def test_the_migrated_schema_is_the_one_in_code(any_url: str) -> None:
    assert differences(any_url) == []


def test_a_missing_column_would_be_noticed(any_url: str) -> None:
    engine = open_engine(any_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE presses DROP COLUMN intensification")
    engine.dispose()
    assert len(differences(any_url)) == 1


def test_growing_tables_are_keyed_by_the_press_first() -> None:
    small = {"presses", "molds", "people", "sessions", "device_keys", "plant_settings", "setups"}
    small |= {"tablets", "outlet_routes", "command_keys", "handovers"}
    small |= {"import_holds", "import_mappings", "imports", "material_wear", "mold_versions"}
    small |= {"reports"}
    small |= {"sources", "spares", "weight_limits"}
    firsts = {
        name: next(iter(table.primary_key.columns)).name
        for name, table in metadata.tables.items()
        if name not in small
    }
    assert {name: first for name, first in firsts.items() if first not in ("press_id", "press")} == {}


def test_a_shot_of_any_month_has_a_partition(postgresql_url: str) -> None:
    engine = open_engine(postgresql_url)
    with engine.begin() as connection:
        for at_ms in (0, 1_795_000_000_000, 9_000_000_000_000):
            connection.exec_driver_sql(
                "INSERT INTO shots (press_id, at_ms, counter, setup_id) VALUES (1, %s, 1, 1)", (at_ms,)
            )
        count = connection.exec_driver_sql("SELECT count(*) FROM shots").scalar_one()
    engine.dispose()
    assert count == 3


def test_an_answered_write_survives_a_power_cut(store: Store) -> None:
    """synchronous=FULL (2) on the very connection that commits: NORMAL may lose the last commits."""

    def pragmas(connection: sa.Connection) -> tuple[object, object]:
        synchronous = connection.exec_driver_sql("PRAGMA synchronous").scalar_one()
        return synchronous, connection.exec_driver_sql("PRAGMA journal_mode").scalar_one()

    assert store.write(pragmas) == (2, "wal")


def test_readers_cannot_write(store: Store) -> None:
    with store.read() as connection, pytest.raises(sa.exc.OperationalError, match="readonly"):
        connection.exec_driver_sql("INSERT INTO plant_settings VALUES ('a', '1')")
