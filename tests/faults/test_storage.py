"""The disk full, the database held by another program or gone: said, nothing lost, over by itself."""

import contextlib
import os
import resource
import sqlite3
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.faults.births import Born, Nursery
from tests.faults.conftest import IN_ITSELF
from tests.faults.plant import Plant, Press, wait_for
from tests.postgresql import MissingPostgresqlError, PostgresqlServer

Plants = Callable[..., Plant]


def fill_until_refused(plant: Plant, press: Press, *, batch: int = 200) -> str:
    """Send until the server says there is no room; what it says. Everything before is acknowledged."""
    sender = plant.sender()
    for _ in range(400):
        answer = sender.send(press.shots(batch))
        assert answer is not None
        if answer.status_code != 200:
            assert answer.status_code == 507, answer.text
            assert int(answer.headers["Retry-After"]) >= 1
            told = answer.json()
            assert told["code"] == "storage_full"
            return str(told["detail"])
    raise AssertionError("the disk never was full")


def assert_it_comes_back(plant: Plant, press: Press) -> None:
    """Without a restart: stored, evaluated, ready."""
    plant.sender().send_until_answered(press.shots(20))
    plant.wait_until_evaluated(press.code, within_s=120)
    wait_for(plant.ready, what="ready again")
    plant.check_ledger()


def test_a_limit_on_the_file_is_a_full_disk_and_ends_with_it(plant: Plant) -> None:
    assert isinstance(plant.served, Born)
    assert plant.served.pid is not None
    pid = plant.served.pid
    press = Press("P01", shots=100_000, seed=4, cycle_s=5.0)
    plant.sender().send_until_answered(press.shots(50))
    size = max(one.stat().st_size for one in plant.folder.glob("plant.db*"))
    _, hard = resource.prlimit(pid, resource.RLIMIT_FSIZE)
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (size + 200_000, hard))
    said = fill_until_refused(plant, press)
    assert "nothing of this request was stored" in said
    assert plant.ask("/healthz") == {"status": "ok"}
    assert plant.ask("/api/v1/presses")["items"]
    plant.check_ledger()
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (hard, hard))
    assert_it_comes_back(plant, press)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of a few megabytes, where one may be mounted."""
    place = tmp_path / "disk"
    place.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=6m", "ringtell-test", str(place)]
    done = subprocess.run(words, capture_output=True, check=False)
    if done.returncode:
        pytest.skip("no file system may be mounted here: run as root to try a disk that is really full")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_file_system_loses_nothing_and_ends_with_room(plants: Plants, small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"\0" * 2_000_000)
    plant = plants(data=small_disk)
    plant.served.start()
    press = Press("P01", shots=100_000, seed=5, cycle_s=5.0)
    fill_until_refused(plant, press)
    plant.check_ledger()
    ballast.unlink()
    assert_it_comes_back(plant, press)


def test_a_database_held_by_another_program_is_told_and_waited_for(plants: Plants) -> None:
    plant = plants(tune={"server.store.engine:LOCKED_WITHIN_S": 1})
    plant.served.start()
    press = Press("P01", shots=2_000, seed=6)
    plant.sender().send_until_answered(press.shots(20))
    with contextlib.closing(sqlite3.connect(plant.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        answer = plant.sender().send(press.shots(5))
        assert answer is not None
        assert answer.status_code == 503
        assert int(answer.headers["Retry-After"]) >= 1
        assert "nothing was stored" in answer.json()["detail"]
        # Reading goes on meanwhile.
        assert plant.ask("/api/v1/presses")["items"][0]["press"] == "P01"
        other.execute("ROLLBACK")
    assert_it_comes_back(plant, press)


def test_postgresql_stopped_and_started_again(nursery: Nursery, tmp_path: Path) -> None:
    try:
        server = PostgresqlServer()
    except MissingPostgresqlError as missing:
        pytest.skip(str(missing))
    url = server.url(server.new_database())
    plant = Plant(tmp_path, url=url, settings=IN_ITSELF, nursery=nursery)
    press = Press("P01", shots=2_000, seed=7)
    try:
        plant.served.start()
        plant.sender().send_until_answered(press.shots(40))
        server.halt()
        assert plant.ask("/healthz") == {"status": "ok"}
        assert not plant.ready()
        answer = plant.sender().send(press.shots(5))
        assert answer is not None
        assert answer.status_code == 503, answer.text
        assert int(answer.headers["Retry-After"]) >= 1
        server.resume()
        plant.sender().send_until_answered(press.shots(20))
        plant.wait_until_evaluated("P01", within_s=120)
        wait_for(plant.ready, what="ready again")
        shots = plant.ask("/api/v1/presses/P01/shots?limit=1000")["items"]
        there = {("P01", one["at"], one["counter"]) for one in shots}
        assert len(shots) == len(there)
        assert plant.ledger.acknowledged <= there
    finally:
        plant.end()
        server.stop()


def test_the_evaluating_process_may_be_killed_alone(plants: Plants) -> None:
    """Whatever ends the child (memory, an operator): the server makes another one and goes on."""
    plant = plants(settings={"RINGTELL_CHILD_PROCESS": "1"})
    plant.served.start()
    press = Press("P01", shots=2_000, seed=8)
    plant.sender().send_until_answered(press.shots(20))
    plant.wait_until_evaluated("P01", within_s=120)
    assert isinstance(plant.served, Born)
    children = _children(plant.served.pid)
    assert children
    for pid in children:
        os.kill(pid, 9)
    threading.Event().wait(0.2)
    plant.sender().send_until_answered(press.shots(20))
    plant.wait_until_evaluated("P01", within_s=120)
    assert plant.ask("/api/v1/presses/P01")["press"] == "P01"
    plant.check_ledger()


def _children(parent: int | None) -> list[int]:
    """Children started by any thread of a process."""
    found: list[int] = []
    for task in Path(f"/proc/{parent}/task").iterdir():
        found += [int(pid) for pid in (task / "children").read_text().split()]
    return found
