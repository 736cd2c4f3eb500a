"""The other end of the nursery: servers that start in a moment, to be killed at another."""

import contextlib
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

from tests.processes import CHECKOUT, environment, free_port

READY_WITHIN_S = 90.0


class Nursery:
    """One process that has read the programs and forks them."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.nursery"],
            env=environment({**CHECKOUT, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, **wish: Any) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(wish) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def end(self) -> None:
        self._process.communicate("", timeout=30)


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
                if httpx.get(f"{self.address}/healthz", timeout=5, trust_env=False).status_code == 200:
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

    def wait(self) -> int:
        """Until it has ended by itself; the exit code."""
        assert self.pid is not None
        pid, self.pid = self.pid, None
        return self._nursery.ask(do="wait", pid=pid)


def run_to_end(nursery: Nursery, argv: Sequence[str], *, folder: Path, settings: Mapping[str, str]) -> int:
    """One command from begin to end; its exit code."""
    born = Born(nursery, folder=folder, settings=settings)
    born.run(*argv)
    return born.wait()
