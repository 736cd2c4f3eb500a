"""Ringtell as others meet it: a command in a process of its own, spoken to over HTTP."""

import contextlib
import os
import random
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import httpx

#: A server is ready within seconds, the demo plant within 30 s; a busy machine takes its time.
READY_WITHIN_S = 150.0
#: Made once: otherwise each client of httpx reads the system's certificates, 19 ms, asked for or not.
TLS = ssl.create_default_context()
#: `python -m server` finds the checkout from any folder; an installed program must not.
CHECKOUT = {"PYTHONPATH": str(Path(__file__).resolve().parents[1])}


def free_port() -> int:
    """A port nobody listens on now, below those that outgoing connections of other tests take meanwhile."""
    while True:
        port = random.SystemRandom().randrange(10_000, 32_000)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


def environment(settings: Mapping[str, str]) -> dict[str, str]:
    """Ours without any RINGTELL_… variable, then `settings`."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("RINGTELL_")}
    return {**kept, "PYTHONUNBUFFERED": "1", **settings}


def run_command(
    *arguments: str, folder: Path, settings: Mapping[str, str], program: Sequence[str] = ()
) -> str:
    """What a `ringtell` command says; it must succeed."""
    done = subprocess.run(
        [*(program or (sys.executable, "-m", "server")), *arguments],
        cwd=folder,
        env=environment({**({} if program else CHECKOUT), **settings}),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, f"{arguments} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}"
    return done.stdout


class Served:
    """A server process; `start` and `kill` may be called in turn, the database stays."""

    def __init__(
        self, *arguments: str, folder: Path, settings: Mapping[str, str], program: Sequence[str] = ()
    ) -> None:
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.log = folder / "server.log"
        self._command = [*(program or (sys.executable, "-m", "server")), *arguments, "--port", str(self.port)]
        self._folder = folder
        self._environment = environment({**({} if program else CHECKOUT), **settings})
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        """The process while it runs."""
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start it and wait until it answers."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command,
                cwd=self._folder,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                # A group of its own, so that its children can be killed with it.
                start_new_session=True,
            )
        until = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < until:
            if self._process.poll() is not None:
                break
            try:
                address = f"{self.address}/healthz"
                if httpx.get(address, timeout=2, trust_env=False, verify=TLS).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.1)
        said = self.log.read_text(errors="replace")
        self.kill()
        raise AssertionError(f"no answer at {self.address} within {READY_WITHIN_S} s; it said:\n{said}")

    def kill(self) -> None:
        """What a power cut does to the process: SIGKILL, children included."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(20)
            self._process = None

    def stop(self) -> int:
        """Ask it to end; the exit code."""
        assert self._process is not None
        self._process.terminate()
        code = self._process.wait(30)
        self._process = None
        return code
