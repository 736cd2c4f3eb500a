"""The kills' own tool: what it started ends with it, also where a test was broken off while it waited."""

import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.births import Born, Nursery
from tests.faults.nursery import BARE
from tests.faults.plant import wait_for


def runs(pid: int) -> bool:
    """Whether a process does anything; what is left of an ended one does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[tuple[Nursery, Born, int]]:
    """A server that comes up, its process id, and a nursery of this test alone."""
    nursery = Nursery(BARE)
    settings = {"RINGTELL_DATABASE_URL": f"sqlite:///{tmp_path / 'plant.db'}", "RINGTELL_NO_LOGIN": "1"}
    born = Born(nursery, folder=tmp_path, settings=settings)
    born.run("serve", "--port", str(born.port))
    assert born.pid is not None
    yield nursery, born, born.pid
    nursery.end()


def test_who_was_interrupted_while_waiting_can_still_kill_and_ask(begun: tuple[Nursery, Born, int]) -> None:
    _, born, pid = begun
    # A worker of a run in several processes ignores it otherwise.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        threading.Timer(0.2, os.kill, (os.getpid(), signal.SIGINT)).start()
        with pytest.raises(KeyboardInterrupt):
            born.wait()
    finally:
        signal.signal(signal.SIGINT, before)
    assert born.pid == pid
    born.kill()
    assert not runs(pid)
    # The answer to the interrupted question is not taken for that to the next.
    born.run("--help")
    assert born.pid not in (None, pid)
    assert born.wait() == 0


def test_a_wait_has_an_end_and_what_runs_ends_with_the_nursery(begun: tuple[Nursery, Born, int]) -> None:
    nursery, born, pid = begun
    with pytest.raises(AssertionError, match="has not ended within"):
        born.wait(within_s=0.1)
    assert runs(pid)
    nursery.end()
    wait_for(lambda: not runs(pid), what="what was started has ended")
