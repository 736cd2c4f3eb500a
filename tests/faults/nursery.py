"""Starts servers by forking: the programs are read once, so that a hundred kills take minutes, not hours.

`python -m tests.faults.nursery` reads one JSON object a line: `{"do": "start", "argv": […], "env": {…},
"log": FILE, "clock": FILE or null, "tune": {"module:name": value}}` answers the new process's id,
`{"do": "wait", "pid": n}` its exit code (negative: the signal). A started process is its own group and
runs `ringtell` with those words, nothing else: same code, same signals, same files.
"""

import functools
import importlib
import json
import os
import sys
from pathlib import Path
from typing import Any

#: Read before the first fork.
PROGRAMS = (
    "server.cli", "server.cli_commands", "server.cli_database", "server.app", "server.serving",
    "uvicorn.main", "uvicorn.loops.uvloop", "uvicorn.protocols.http.httptools_impl", "uvicorn.lifespan.on",
    "alembic.command", "sqlalchemy.dialects.sqlite", "sqlalchemy.dialects.postgresql", "scipy.stats",
)  # fmt: skip


def serve_births() -> None:
    """Answer one line after another until standard input ends."""
    for name in PROGRAMS:
        importlib.import_module(name)
    for line in sys.stdin:
        wish = json.loads(line)
        answer = _start(wish) if wish["do"] == "start" else _wait(wish["pid"])
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()


def _wait(pid: int) -> int:
    _, status = os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status)


def _start(wish: dict[str, Any]) -> int:
    pid = os.fork()
    if pid:
        return pid
    code = 1
    try:
        code = _live(wish)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _live(wish: dict[str, Any]) -> int:
    os.setsid()
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
