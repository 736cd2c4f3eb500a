"""Starts servers by forking: the programs are read once, so that a hundred kills take minutes, not hours.

`python -m tests.faults.nursery` reads one JSON object a line: `{"do": "start", "argv": […], "env": {…},
"log": FILE, "clock": FILE or null, "tune": {"module:name": value}}` answers the new process's id,
`{"do": "wait", "pid": n, "within_s": s}` its exit code (negative: the signal), or `STILL_THERE`. Each wish
has a number, said before its answer. A started process is its own group and runs `ringtell` with those words,
nothing else: same code, same signals, same files. When standard input ends, whatever still runs is killed.
SIGUSR1 has it say where it stands.
"""

import contextlib
import faulthandler
import functools
import importlib
import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

#: The word that leaves them for each process to read by itself.
BARE = "bare"
#: The answer to a wait that was too short; no exit code, and no signal has this number.
STILL_THERE = -1_000

#: Read before the first fork.
PROGRAMS = (
    "server.cli", "server.cli_commands", "server.cli_database", "server.app", "server.serving",
    "uvicorn.main", "uvicorn.loops.uvloop", "uvicorn.protocols.http.httptools_impl", "uvicorn.lifespan.on",
    "alembic.command", "sqlalchemy.dialects.sqlite", "sqlalchemy.dialects.postgresql", "scipy.stats",
)  # fmt: skip


def serve_births() -> None:
    """Answer one line after another until standard input ends."""
    faulthandler.register(signal.SIGUSR1)
    for name in PROGRAMS if sys.argv[1:] != [BARE] else ():
        importlib.import_module(name)
    alive: set[int] = set()
    ended: dict[int, int] = {}
    for line in sys.stdin:
        wish = json.loads(line)
        if wish["do"] == "start":
            alive.add(answer := _start(wish))
        elif (answer := ended.get(wish["pid"], STILL_THERE)) == STILL_THERE:
            answer = _wait(wish["pid"], wish["within_s"])
            if answer != STILL_THERE:
                alive.discard(wish["pid"])
                ended[wish["pid"]] = answer
        sys.stdout.write(f"{wish['number']} {answer}\n")
        sys.stdout.flush()
    for pid in alive:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(pid, signal.SIGKILL)


def _wait(pid: int, within_s: float) -> int:
    """Bounded: a wait without an end would not hear that nobody asks any more."""
    until = time.monotonic() + within_s
    while True:
        ended, status = os.waitpid(pid, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            return STILL_THERE
        time.sleep(0.002)


def _start(wish: dict[str, Any]) -> int:
    pid = os.fork()
    if pid:
        # Here too: its id may be used to kill the group before it came to do so itself.
        with contextlib.suppress(OSError):
            os.setpgid(pid, pid)
        return pid
    code = 1
    try:
        code = _live(wish)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _live(wish: dict[str, Any]) -> int:
    # The group is its own already, or is made here: whichever comes first.
    with contextlib.suppress(OSError):
        os.setpgid(0, 0)
    log = os.open(wish["log"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for target, source in ((0, nothing), (1, log), (2, log)):
        os.dup2(source, target)
    for name in [name for name in os.environ if name.startswith("RINGTELL_")]:
        del os.environ[name]
    os.environ.update(wish["env"])
    os.chdir(wish["folder"])
    for place, value in wish["tune"].items():
        module, _, attribute = place.partition(":")
        setattr(importlib.import_module(module), attribute, value)
    if wish["clock"]:
        _shift_clock(Path(wish["clock"]))
    from server.cli import main

    try:
        return main(wish["argv"])
    except SystemExit as end:
        return int(end.code or 0)


def _shift_clock(file: Path) -> None:
    """The clock the server reads runs as many seconds ahead as the file says, now and at any later look."""
    from server import app, cli_commands, clock

    true = clock.now_ms

    def shifted() -> int:
        return true() + int(float(file.read_text() or "0") * 1000)

    build = app.build_objects
    for module, name, other in (
        (clock, "now_ms", shifted),
        (cli_commands, "build_objects", functools.partial(build, now_ms=shifted)),
    ):
        setattr(module, name, other)


if __name__ == "__main__":
    serve_births()
