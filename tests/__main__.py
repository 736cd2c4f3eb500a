"""`python -m tests`: everything that must hold, in order; pytest last, so that its line closes.

Arguments go to pytest. The exit code is 0 only when every check passed.
"""

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

#: Each is run by this very interpreter, whatever PATH says; import-linter has no `-m` of its own.
CHECKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("style", ("-m", "ruff", "check", ".")),
    ("imports", ("-c", "from importlinter.cli import lint_imports_command as lint; lint()")),
    ("types", ("-m", "mypy")),
    ("dependencies", ("-m", "tests.dependencies")),
    # Twice as many processes as the smallest machine has cores: many tests wait for servers they started.
    # Files stay whole, in the order of `tests/conftest.py`.
    ("tests", ("-m", "pytest", "-n", "4", "--dist", "loadfile", "--no-loadscope-reorder")),
)


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def surroundings() -> dict[str, str]:
    """This environment, but what is compiled is kept: the tests start some two hundred of our programs."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def main(arguments: Sequence[str]) -> int:
    failed = []
    for name, words in CHECKS:
        say(f"=== {name}")
        started = time.monotonic()
        more = list(arguments) if name == "tests" else []
        command = [sys.executable, *words, *more]
        code = subprocess.run(command, cwd=ROOT, env=surroundings(), check=False).returncode
        if code:
            failed.append(name)
        if name != "tests":
            say(f"    {name} {'FAILED' if code else 'passed'} in {time.monotonic() - started:.0f} s")
    if failed:
        say(f"=== failed: {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
