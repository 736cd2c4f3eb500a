"""From every schema that ever shipped, with rows in every table, to this version's: nothing is lost."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory

from server.care import check
from server.cli import main
from server.store.database import Store
from server.store.engine import alembic_config, downgrade, head_revision, upgrade
from tests.postgresql import PostgresqlServer
from tests.store.pouring import only_columns, pour_rows, rows_of

_SCRIPTS = ScriptDirectory.from_config(alembic_config(""))
REVISIONS = [script.revision for script in _SCRIPTS.walk_revisions("base", "heads")][::-1]
#: The test command starts from these (PostgreSQL from three of them), the long runs from every one.
STARTS = {REVISIONS[0], *REVISIONS[2::4], *REVISIONS[-3:]}
ON_POSTGRESQL = {REVISIONS[0], REVISIONS[len(REVISIONS) // 2], REVISIONS[-2]}


def way(*values: str, often: bool) -> Any:
    return pytest.param(*values, marks=() if often else pytest.mark.campaign)


WAYS_UP = [way("sqlite", one, often=one in STARTS) for one in REVISIONS]
WAYS_UP += [way("postgresql", one, often=one in ON_POSTGRESQL) for one in REVISIONS]
WAYS_BACK = [way(one, often=one in STARTS) for one in REVISIONS[:-1]]


@pytest.fixture
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'old.db'}"
        return
    server: PostgresqlServer = request.getfixturevalue("postgresql")
    name = server.new_database()
    yield server.url(name)
    server.drop_database(name)


def test_the_first_and_the_last_schema_are_known() -> None:
    assert REVISIONS[0] == "first_schema"
    assert REVISIONS[-1] == head_revision()
    assert len(REVISIONS) == len(set(REVISIONS))


@pytest.mark.parametrize(("empty_url", "revision"), WAYS_UP, indirect=["empty_url"])
def test_every_row_survives_the_way_up(empty_url: str, revision: str) -> None:
    upgrade(empty_url, revision)
    poured = pour_rows(empty_url)
    before = rows_of(empty_url)
    assert {name: len(rows) for name, rows in before.items()} == poured
    upgrade(empty_url)
    after = rows_of(empty_url)
    for name, rows in before.items():
        columns = {column for column, _ in rows[0]}
        assert only_columns(after[name], columns) == rows, name


@pytest.mark.parametrize("revision", WAYS_BACK)
def test_the_way_back_keeps_what_the_older_schema_knows(tmp_path: Path, revision: str) -> None:
    url = f"sqlite:///{tmp_path / 'plant.db'}"
    upgrade(url, revision)
    pour_rows(url)
    before = rows_of(url)
    upgrade(url)
    downgrade(url, revision)
    assert rows_of(url) == before


def test_an_upgraded_database_opens_and_can_be_backed_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The commands bring the schema up by themselves."""
    url = f"sqlite:///{tmp_path / 'plant.db'}"
    upgrade(url, REVISIONS[0])
    monkeypatch.setenv("RINGTELL_DATABASE_URL", url)
    assert main(["db", "upgrade"]) == 0
    assert main(["db", "backup", str(tmp_path / "copy.db")]) == 0
    store = Store(url)
    assert check(store).faults == ()
    store.close()
