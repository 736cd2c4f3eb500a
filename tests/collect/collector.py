"""`ringtell collect …` in a process of its own, and a server beside it, as others meet them."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import httpx

from tests.processes import CHECKOUT, Served, environment


class Collector:
    """A collector process; `start` and `kill` may be called in turn, its spool stays."""

    def __init__(self, *arguments: str, folder: Path, settings: Mapping[str, str] | None = None) -> None:
        self.log = folder / "collector.log"
        self._command = [sys.executable, "-m", "server", "collect", *arguments]
        self._folder = folder
        self._environment = environment({**CHECKOUT, **(settings or {})})
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def runs(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command, cwd=self._folder, env=self._environment,
                stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip

    def kill(self) -> None:
        """SIGKILL, as a power cut does it."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(20)
            self._process = None

    def interrupt(self) -> int:
        """Ctrl-C; the exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGINT)
        code = self._process.wait(40)
        self._process = None
        return code

    def said(self) -> str:
        return self.log.read_text(errors="replace") if self.log.exists() else ""


def open_server(folder: Path) -> Served:
    """A server that takes whatever comes, in a folder of the test."""
    folder.mkdir(parents=True, exist_ok=True)
    return Served(
        "demo", "--empty", "--no-login", "--no-live", "--data", str(folder / "data"),
        folder=folder, settings={"RINGTELL_CHILD_PROCESS": "0"},
    )  # fmt: skip


def get(address: str, path: str) -> Any:
    return httpx.get(f"{address}/api/v1{path}", timeout=30).json()


def shots_of(address: str, press: str) -> list[dict[str, Any]]:
    """Every shot of a press, page by page."""
    shots: list[dict[str, Any]] = []
    cursor: str | None = ""
    while cursor is not None:
        page = get(address, f"/presses/{press}/shots?limit=10000" + (f"&cursor={cursor}" if cursor else ""))
        shots += page.get("items", [])
        cursor = page.get("next_cursor")
    return shots


def wait_for(condition: Callable[[], bool], *, within_s: float = 60.0, why: Callable[[], str] = str) -> None:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        try:
            if condition():
                return
        except (httpx.TransportError, KeyError):
            pass
        time.sleep(0.2)
    raise AssertionError(f"not within {within_s} s: {why()}")
