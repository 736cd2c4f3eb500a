"""What tests share: migrated databases, SQLite in a folder of the test and a real PostgreSQL."""

import logging
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.store.database import Store
from server.store.engine import upgrade
from tests.postgresql import MissingPostgresqlError, PostgresqlServer

#: Files that take longest are begun first, so that no process is left alone with one of them at the end.
LONGEST = (
    "browser/test_every_page.py",
    "collect/test_opcua.py",
    "journeys/test_first_day.py",
    "servers/test_several.py",
    "faults/test_storage.py",
    "faults/test_load.py",
    "store/test_upgrades.py",
    "cli/test_rebuild.py",
    "evaluate/test_batch_independence.py",
    "test_wheel.py",
    "browser/test_tablet.py",
    "browser/test_browser.py",
    "faults/test_kills.py",
    "browser/test_studies.py",
    "collect/test_opcua_security.py",
    "collect/test_kills.py",
    "security/test_static.py",
    "collect/test_cli_collect.py",
    "collect/test_opcua_many.py",
    "security/test_whatever_is_sent.py",
    "notify/test_life_cycle.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first (`--no-loadscope-reorder` leaves it so); within a file nothing moves."""
    ranks = {Path(__file__).parent / name: rank for rank, name in enumerate(LONGEST)}
    items.sort(key=lambda item: ranks.get(item.path, len(ranks)))


@pytest.fixture(autouse=True)
def _logging_as_before() -> Iterator[None]:
    """Commands run within the tests set up logging for a process of their own: taken back after each."""
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    yield
    root.handlers[:] = handlers
    root.setLevel(level)


@pytest.fixture(scope="session")
def _migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One migrated SQLite file, copied for each test: migrating takes longer than most tests."""
    file = tmp_path_factory.mktemp("migrated") / "plant.db"
    upgrade(f"sqlite:///{file}")
    return file


@pytest.fixture
def sqlite_url(_migrated_file: Path, tmp_path: Path) -> str:
    """A migrated SQLite database of this test alone."""
    file = tmp_path / "plant.db"
    shutil.copyfile(_migrated_file, file)
    return f"sqlite:///{file}"


@pytest.fixture
def store(sqlite_url: str) -> Iterator[Store]:
    """An opened store on SQLite."""
    opened = Store(sqlite_url)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgresqlServer]:
    """A PostgreSQL of this run; without its programs the tests that need it are skipped."""
    try:
        server = PostgresqlServer()
    except MissingPostgresqlError as missing:
        pytest.skip(str(missing))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def _migrated_database(postgresql: PostgresqlServer) -> str:
    name = postgresql.new_database()
    upgrade(postgresql.url(name))
    return name


@pytest.fixture
def postgresql_url(postgresql: PostgresqlServer, _migrated_database: str) -> Iterator[str]:
    """A migrated PostgreSQL database of this test alone."""
    name = postgresql.new_database(copy_of=_migrated_database)
    yield postgresql.url(name)
    postgresql.drop_database(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def any_url(request: pytest.FixtureRequest) -> str:
    """A migrated database, once of each kind."""
    url = request.getfixturevalue(f"{request.param}_url")
    assert isinstance(url, str)
    return url


@pytest.fixture
def any_store(any_url: str) -> Iterator[Store]:
    """An opened store, once on each kind of database."""
    opened = Store(any_url)
    yield opened
    opened.close()
