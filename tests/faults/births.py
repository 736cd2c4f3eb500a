"""The other end of the nursery: servers that start in a moment, to be killed at another."""

import contextlib
import itertools
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import httpx

from tests.faults.nursery import STILL_THERE
from tests.processes import CHECKOUT, TLS, environment, free_port

READY_WITHIN_S = 90.0
#: A stop waits for nothing long; a migration of the tests takes seconds.
ENDS_WITHIN_S = 90.0


class Nursery:
    """One process that has read the programs and forks them."""

    def __init__(self, *words: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.nursery", *words],
            env=environment({**CHECKOUT, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._numbers = itertools.count(1)

    def ask(self, **wish: Any) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        number = next(self._numbers)
        self._process.stdin.write(json.dumps({**wish, "number": number}) + "\n")
        self._process.stdin.flush()
        # The answer to a question somebody was interrupted in may come before ours.
        for line in self._process.stdout:
            told, answer = map(int, line.split())
            if told == number:
                return answer
        raise AssertionError("the nursery has ended")

    def end(self, within_s: float = 30.0) -> None:
        """Let it go, and with it whatever it started; where it does not end, it says where it stands."""
        if self._process.poll() is not None:
            return
        try:
            self._process.communicate("", timeout=within_s)
        except subprocess.TimeoutExpired:
            self._process.send_signal(signal.SIGUSR1)
            time.sleep(0.5)
            self._process.kill()
            self._process.communicate()
            raise


class Born:
    """Like `tests.processes.Served`, forked: `start`, `kill` and `stop` in turn, the database stays."""

    def __init__(
        self, nursery: Nursery, *, folder: Path, settings: Mapping[str, str], clock: Path | None = None,
        tune: Mapping[str, Any] | None = None,
    ) -> None:  # fmt: skip
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.log = folder / "server.log"
        self._nursery, self._folder, self._settings = nursery, folder, dict(settings)
        self._clock, self._tune = clock, dict(tune or {})
        self.pid: int | None = None

    def run(self, *argv: str) -> None:
        """Begin a command; it may be killed at any moment."""
        self.pid = self._nursery.ask(
            do="start", argv=list(argv), env=self._settings, log=str(self.log), folder=str(self._folder),
            clock=str(self._clock) if self._clock else None, tune=self._tune,
        )  # fmt: skip

    def start(self) -> None:
        self.run("serve", "--port", str(self.port))
        until = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < until:
            try:
                address = f"{self.address}/healthz"
                if httpx.get(address, timeout=5, trust_env=False, verify=TLS).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.02)
        said = self.log.read_text(errors="replace")
        self.kill()
        raise AssertionError(f"no answer at {self.address}; it said:\n{said[-4000:]}")

    def kill(self) -> None:
        """SIGKILL, children included."""
        if self.pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.pid, signal.SIGKILL)
            self.wait()

    def stop(self) -> int:
        """Ask it to end; the exit code."""
        assert self.pid is not None
        os.kill(self.pid, signal.SIGTERM)
        return self.wait()

    def wait(self, within_s: float = ENDS_WITHIN_S) -> int:
        """Until it has ended by itself; the exit code."""
        assert self.pid is not None
        # Its id is forgotten only after: whoever is interrupted here must still be able to kill it.
        code = self._nursery.ask(do="wait", pid=self.pid, within_s=within_s)
        assert code != STILL_THERE, f"process {self.pid} has not ended within {within_s} s"
        self.pid = None
        return code


def run_to_end(nursery: Nursery, argv: Sequence[str], *, folder: Path, settings: Mapping[str, str]) -> int:
    """One command from begin to end; its exit code."""
    born = Born(nursery, folder=folder, settings=settings)
    born.run(*argv)
    return born.wait()
