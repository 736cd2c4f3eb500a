"""Backups while others write, their counts, and restores that refuse what is not whole."""

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from server.errors import RingtellError, UsageError
from server.store import backup as backups
from server.store.database import Store
from server.store.engine import head_revision, upgrade
from tests.postgresql import PostgresqlServer

MADE = "2026-04-01T06:00:00.000Z"


def put(name: str) -> Callable[[sa.Connection], None]:
    def job(connection: sa.Connection) -> None:
        query = sa.text("INSERT INTO plant_settings (name, value) VALUES (:name, '1')")
        connection.execute(query, {"name": name})

    return job


def names(url: str) -> list[str]:
    store = Store(url)
    try:
        with store.read() as connection:
            return list(connection.execute(sa.text("SELECT name FROM plant_settings ORDER BY 1")).scalars())
    finally:
        store.close()


@pytest.fixture
def other_url(request: pytest.FixtureRequest, any_store: Store, tmp_path: Path) -> Iterator[str]:
    """A place without a schema, of the same kind as `any_store`."""
    if any_store.is_sqlite:
        yield f"sqlite:///{tmp_path / 'other.db'}"
        return
    server: PostgresqlServer = request.getfixturevalue("postgresql")
    name = server.new_database()
    yield server.url(name)
    server.drop_database(name)


def test_what_was_backed_up_comes_back_row_by_row(any_store: Store, other_url: str, tmp_path: Path) -> None:
    for i in range(50):
        any_store.write(put(f"t-{i:02}"))
    file = tmp_path / "friday.backup"
    sheet = backups.backup(any_store.url, file, made_at=MADE)
    assert (sheet.revision, sheet.rows["plant_settings"], sheet.rows["shots"]) == (head_revision(), 50, 0)
    any_store.write(put("t-later"))
    rows, confirmed = backups.restore(other_url, file, replace=False)
    assert confirmed
    assert rows == sheet.rows
    assert names(other_url) == [f"t-{i:02}" for i in range(50)]


def test_a_database_that_holds_something_is_replaced_only_when_told(
    any_store: Store, other_url: str, tmp_path: Path
) -> None:
    any_store.write(put("t-1"))
    file = tmp_path / "friday.backup"
    backups.backup(any_store.url, file, made_at=MADE)
    upgrade(other_url)
    other = Store(other_url)
    other.write(put("t-precious"))
    other.close()
    with pytest.raises(UsageError, match="holds 1 plant_settings; add --replace"):
        backups.restore(other_url, file, replace=False)
    assert names(other_url) == ["t-precious"]
    backups.restore(other_url, file, replace=True)
    assert names(other_url) == ["t-1"]


def test_an_empty_schema_is_no_obstacle(any_store: Store, other_url: str, tmp_path: Path) -> None:
    any_store.write(put("t-1"))
    file = tmp_path / "friday.backup"
    backups.backup(any_store.url, file, made_at=MADE)
    upgrade(other_url)
    backups.restore(other_url, file, replace=False)
    assert names(other_url) == ["t-1"]


def test_a_replaced_file_is_kept_aside(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "friday.db"
    backups.backup(store.url, file, made_at=MADE)
    old = tmp_path / "old.db"
    upgrade(f"sqlite:///{old}")
    backups.restore(f"sqlite:///{old}", file, replace=True)
    backups.restore(f"sqlite:///{old}", file, replace=True)
    assert {one.name for one in tmp_path.glob("old.db.before*")} == {
        "old.db.before-restore-1",
        "old.db.before-restore-2",
    }


def test_a_file_in_use_is_not_pulled_away(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "friday.db"
    backups.backup(store.url, file, made_at=MADE)
    store.write(put("t-1"))
    with pytest.raises(UsageError, match="in use; stop the server first"):
        backups.restore(store.url, file, replace=True)
    store.write(put("t-2"))
    with store.read() as connection:
        assert connection.execute(sa.text("SELECT count(*) FROM plant_settings")).scalar_one() == 2


def test_nothing_is_overwritten_by_a_backup(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "friday.db"
    file.write_text("notes")
    with pytest.raises(UsageError, match="nothing is overwritten"):
        backups.backup(store.url, file, made_at=MADE)
    assert file.read_text() == "notes"


def test_a_damaged_backup_is_refused_and_the_database_stays(store: Store, tmp_path: Path) -> None:
    for i in range(2000):
        store.write(put(f"t-{i:04}"))
    file = tmp_path / "friday.db"
    backups.backup(store.url, file, made_at=MADE)
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) // 2] + b"\0" * 4096 + whole[len(whole) // 2 + 4096 :])
    target = f"sqlite:///{tmp_path / 'target.db'}"
    with pytest.raises(RingtellError, match="changed or damaged"):
        backups.restore(target, file, replace=False)
    backups.sheet_file(file).unlink()
    with pytest.raises(RingtellError, match=r"damaged|cannot be read"):
        backups.restore(target, file, replace=False)
    assert not (tmp_path / "target.db").exists()
    assert not (tmp_path / "target.db.part").exists()


def test_rows_missing_from_a_backup_are_noticed(store: Store, tmp_path: Path) -> None:
    """A sheet that belongs to the file, but a file that lost rows before it was digested."""
    store.write(put("t-1"))
    file = tmp_path / "friday.db"
    sheet = backups.backup(store.url, file, made_at=MADE)
    told = json.loads(sheet.file_text)
    told["rows"]["plant_settings"] = 2
    backups.sheet_file(file).write_text(json.dumps(told))
    with pytest.raises(RingtellError, match="plant_settings 1 instead of 2"):
        backups.restore(f"sqlite:///{tmp_path / 'target.db'}", file, replace=False)
    assert not (tmp_path / "target.db").exists()


def test_a_backup_of_a_newer_version_is_refused(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "friday.db"
    backups.backup(store.url, file, made_at=MADE)
    newer = sqlite3.connect(file)
    newer.execute("UPDATE alembic_version SET version_num = 'from_the_future'")
    newer.commit()
    newer.close()
    backups.sheet_file(file).unlink()
    with pytest.raises(RingtellError, match="unknown to this version"):
        backups.restore(f"sqlite:///{tmp_path / 'target.db'}", file, replace=False)


def test_a_file_of_the_other_kind_is_named(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no backup at all")
    with pytest.raises(UsageError, match="no SQLite database"):
        backups.restore(f"sqlite:///{tmp_path / 'target.db'}", file, replace=False)
    with pytest.raises(UsageError, match="no dump made by ringtell"):
        backups.restore("postgresql://nobody@/nowhere", file, replace=False)


def test_writing_goes_on_while_a_backup_is_made(any_store: Store, tmp_path: Path) -> None:
    """Whatever was committed before is in the copy, and no write waits for it."""
    filler = "x" * 20_000
    rows = [{"name": f"f-{i}", "value": filler} for i in range(400)]
    fill = sa.text("INSERT INTO plant_settings (name, value) VALUES (:name, :value)")
    any_store.write(lambda connection: connection.execute(fill, rows))
    stop = threading.Event()
    waits: list[float] = []

    def keep_writing() -> None:
        while not stop.is_set():
            began = time.monotonic()
            any_store.write(put(f"t-{len(waits):05}"))
            waits.append(time.monotonic() - began)

    writer = threading.Thread(target=keep_writing)
    writer.start()
    try:
        while len(waits) < 20:
            time.sleep(0.001)
        before = len(waits)
        sheet = backups.backup(any_store.url, tmp_path / "live.backup", made_at=MADE)
        during = len(waits) - before
    finally:
        stop.set()
        writer.join(20)
    assert during > 0
    assert sheet.rows["plant_settings"] >= 400 + before
    assert max(waits) < 5.0


def test_a_database_and_its_backup_are_their_owners_alone(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'own.db'}"
    upgrade(url)
    store = Store(url)
    store.write(put("one"))
    backups.backup(url, tmp_path / "own.backup", made_at=MADE)
    modes = {file.name: file.stat().st_mode & 0o777 for file in tmp_path.iterdir()}
    store.close()
    assert {"own.db", "own.db-wal", "own.backup"} <= set(modes)
    open_to_others = {name for name, mode in modes.items() if mode & 0o077}
    assert open_to_others <= {"own.backup.counts.json"}
