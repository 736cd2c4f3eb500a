"""Imports of several servers on one PostgreSQL: each is at its own, and takes over what is left for good."""

import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from server import import_holds as holding
from server.app import Objects, build_objects
from server.settings import Settings
from server.store import imports
from tests.imports.plant import NOW_MS


class Clock:
    def __init__(self) -> None:
        self.now_ms = NOW_MS

    def __call__(self) -> int:
        return self.now_ms


def server_of(url: str, folder: Path, clock: Clock) -> Objects:
    settings = Settings(database_url=url, import_folder=str(folder), no_login=True, child_process=False)
    return build_objects(settings, now_ms=clock)


def end(server: Objects) -> None:
    server.imports.close()
    server.pipeline.close()
    server.store.close()


def state_of(server: Objects, number: int) -> str:
    return server.imports.need(number).state


def wait_for(server: Objects, number: int, state: str) -> None:
    until = time.monotonic() + 15
    while state_of(server, number) != state:
        one = server.imports.need(number)
        assert time.monotonic() < until, f"{one.state}: {one.trouble}"
        time.sleep(0.02)


def left_running(server: Objects) -> int:
    """An import under way at this server: its file is there, its state says so."""
    number, path = server.imports.new_upload("week.csv", who="mara")
    text = "counter,at,shot_size_mm,cushion_mm\n" + "".join(
        f"{n},2026-11-01T06:{n:02d}:00Z,80.0,6.0\n" for n in range(1, 40)
    )
    path.write_text(text, encoding="utf-8")
    server.imports.uploaded(number, path.stat().st_size)
    options = {"defaults": {"press": "P01", "mold": "M-1"}}

    def run(connection: sa.Connection) -> None:
        imports.change_import(connection, number, state="running", options=options, started_ms=NOW_MS)

    server.store.write(run)
    return number


def test_what_another_server_is_at_stays_with_it_until_it_is_gone(
    postgresql_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(holding, "RENEW_EVERY_S", 0.05)
    clock = Clock()
    first, second = (server_of(postgresql_url, tmp_path, clock) for _ in range(2))
    number = left_running(first)
    second.imports.start()
    time.sleep(0.4)
    assert state_of(second, number) == "running"
    assert (tmp_path / f"{number}.csv").is_file()
    # The first says nothing any more: a while later its import is the second's.
    clock.now_ms += holding.HELD_MS + 1
    wait_for(second, number, "done")
    with second.store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM shots").scalar_one() == 39
    end(second)
    end(first)


def test_a_server_that_stops_leaves_its_imports_to_the_next_at_once(
    postgresql_url: str, tmp_path: Path
) -> None:
    clock = Clock()
    first = server_of(postgresql_url, tmp_path, clock)
    number = left_running(first)
    end(first)
    second = server_of(postgresql_url, tmp_path, clock)
    second.imports.start()
    wait_for(second, number, "done")
    end(second)


def test_a_file_that_lies_elsewhere_is_waited_for_before_the_import_has_failed(
    postgresql_url: str, tmp_path: Path
) -> None:
    clock = Clock()
    first = server_of(postgresql_url, tmp_path / "one", clock)
    number = left_running(first)
    end(first)
    for later_ms, state in ((60_000, "running"), (holding.MISSED_MS, "failed")):
        clock.now_ms += later_ms
        second = server_of(postgresql_url, tmp_path / "two", clock)
        second.imports.start()
        assert state_of(second, number) == state
        end(second)


def test_giving_up_reaches_the_server_that_is_at_it(
    postgresql_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(holding, "RENEW_EVERY_S", 0.05)
    clock = Clock()
    first, second = (server_of(postgresql_url, tmp_path, clock) for _ in range(2))
    first.imports.start()
    number = left_running(first)
    second.imports.cancel(number, who="noor")
    until = time.monotonic() + 10
    while number not in first.imports._cancelled:
        assert time.monotonic() < until
        time.sleep(0.02)
    end(first)
    end(second)
