"""README.md and DEVELOPERS.md hold what is so: commands, settings and paths are compared with the code."""

import dataclasses
import os
import re
import subprocess
import tomllib

import pytest

from server.cli import parser
from server.settings import Settings
from tests.architecture.modules import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
#: Paths as DEVELOPERS.md shortens them within the server.
WITHIN = ("", "server/", "server/evaluate/", "server/store/", "server/collect/", "tests/")


def test_two_commands_install_and_run() -> None:
    commands = re.findall(r"^python3 -m venv .*$", README, re.M)
    assert len(commands) == 2
    assert commands[0].endswith(".venv/bin/ringtell demo")
    assert commands[1].endswith(".venv/bin/python -m tests")


def test_continuous_integration_runs_the_command_of_the_readme() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    text = script.read_text(encoding="utf-8")
    pattern = re.search(r"grep -E '([^']+)' README\.md", text)
    assert pattern
    assert len(re.findall(pattern[1], README, re.M)) == 1
    subprocess.run(["bash", "-n", str(script)], check=True)


@pytest.mark.parametrize("field", dataclasses.fields(Settings), ids=lambda field: field.name)
def test_every_setting_stands_in_the_readme(field: "dataclasses.Field[object]") -> None:
    assert f"`RINGTELL_{field.name.upper()}`" in README


def test_the_readme_names_no_setting_that_does_not_exist() -> None:
    named = set(re.findall(r"`RINGTELL_([A-Z_]+)`", README))
    # Read beside the settings, so that no object holds a key of the audit trail: `store/seals.py`.
    beside = {"AUDIT_KEY", "AUDIT_KEY_FILE"}
    assert named <= {field.name.upper() for field in dataclasses.fields(Settings)} | beside


def test_commands_in_the_documents_exist() -> None:
    known = set(re.findall(r"^    (\w+) ", parser().format_help(), re.M))
    assert known >= {"demo", "serve"}
    used = set(re.findall(r"(?:^|/|`)ringtell (\w+)", README + DEVELOPERS, re.M))
    assert used
    assert used <= known


def test_files_named_in_the_developers_page_exist() -> None:
    named = set(re.findall(r"`([\w/]+\.(?:py|js|json|toml|md)|[\w/]+/)(?::[^`]*)?`", DEVELOPERS))
    assert len(named) > 30
    # What the wheel holds and a checkout does not.
    named -= {"server/_outside/"}
    assert [name for name in sorted(named) if not any((ROOT / one / name).exists() for one in WITHIN)] == []


def test_the_image_is_built_from_everything_the_wheel_carries() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    carried = settings["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    dockerfile = (ROOT / ".docker" / "Dockerfile").read_text(encoding="utf-8")
    assert set(carried) <= set(re.findall(r"^COPY (\w+) \1$", dockerfile, re.M))
