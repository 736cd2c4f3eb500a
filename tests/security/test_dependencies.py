"""The audit of what Ringtell runs with: it fails on a known hole, and on nothing else."""

import importlib.util
import subprocess
from collections.abc import Mapping
from typing import Any

import pytest

from tests import dependencies
from tests.dependencies import asked, judged, main, required

#: As the tool writes it; names and ids invented.
HOLE = {"id": "PYSEC-0000-1", "fix_versions": ["1.2"], "aliases": [], "description": ""}
REPORT = {
    "dependencies": [
        {"name": "sound", "version": "1.0", "vulns": []},
        {"name": "leaky", "version": "1.1", "vulns": [HOLE]},
        {"name": "unheard", "skip_reason": "Dependency not found and could not be audited"},
    ],
    "fixes": [],
}


def test_everything_the_package_needs_is_asked_about() -> None:
    versions = required()
    # Direct needs, and what those need in turn.
    assert {"fastapi", "sqlalchemy", "argon2-cffi", "starlette", "anyio"} <= versions.keys()
    assert "bandit" not in versions
    assert "bandit" in required(extras=("test",))


def test_a_known_hole_is_named_with_the_version_that_mends_it() -> None:
    assert judged(REPORT) == (["leaky 1.1: PYSEC-0000-1, mended in 1.2"], 2, 1)


@pytest.mark.parametrize(
    ("report", "code", "said"),
    [
        (REPORT, 1, "known hole: leaky 1.1"),
        (None, 0, "the advisory service did not answer"),
        ({"dependencies": [REPORT["dependencies"][2]]}, 0, "0 packages audited, 0 known holes; nothing"),
        ({"dependencies": [REPORT["dependencies"][0]]}, 0, "1 packages audited, 0 known holes\n"),
    ],
)
def test_only_a_known_hole_fails(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    report: Mapping[str, Any] | None,
    code: int,
    said: str,
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: object())
    monkeypatch.setattr(dependencies, "asked", lambda _versions: report)
    assert main() == code
    assert said in capsys.readouterr().out


def test_a_tool_that_says_nothing_or_takes_too_long_is_no_report(monkeypatch: pytest.MonkeyPatch) -> None:
    def silent(*_words: Any, **_more: Any) -> subprocess.CompletedProcess[str]:
        return subprocess.CompletedProcess([], 1, stdout="", stderr="no route to host")

    def slow(*_words: Any, **_more: Any) -> subprocess.CompletedProcess[str]:
        raise subprocess.TimeoutExpired("pip_audit", 90)

    for run in (silent, slow):
        monkeypatch.setattr(subprocess, "run", run)
        assert asked({"sound": "1.0"}) is None


def test_a_hole_that_was_looked_at_does_not_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(dependencies.LOOKED_AT, "PYSEC-0000-1", "the part with the hole is not used")
    assert judged(REPORT)[0] == []
