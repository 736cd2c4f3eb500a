"""The command line: one line on standard error, the right exit code, help with an example."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from server.cli import STORIES, main
from server.cli_commands import STORIES as EFFECTS

COMMANDS = ["demo", "serve", "db", "import", "simulate", "evaluate", "key", "user"]


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_each_command_shows_an_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    assert "example:" in capsys.readouterr().out


@pytest.mark.parametrize("words", [["nonsense"], ["demo", "--port", "x"], ["db"], ["user", "add", "mara"]])
def test_wrong_usage_is_one_line_and_exit_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_what_is_loaded_is_not_looked_through_for_garbage_but_the_rest_is(tmp_path: Path) -> None:
    code = (
        "import gc, sys; from server.cli import main; main(['simulate', '--shots', '5', sys.argv[1]]);"
        " sys.exit(not (gc.isenabled() and gc.get_freeze_count() > 50_000))"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "shots.csv")]
    assert subprocess.run(command, stdout=subprocess.DEVNULL, check=False).returncode == 0


def test_every_story_has_its_effect() -> None:
    assert set(STORIES) == set(EFFECTS)


def test_simulated_shots_come_back_through_import(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", f"sqlite:///{tmp_path}/plant.db")
    monkeypatch.setenv("RINGTELL_CHILD_PROCESS", "0")
    shots = tmp_path / "shots.csv"
    assert main(["simulate", str(shots), "--shots", "300", "--story", "steady_leak", "--seed", "7"]) == 0
    assert (tmp_path / "shots.csv.truth.csv").exists()
    with shots.open("a", encoding="utf-8") as file:
        file.write("P01,M-1,yesterday" + "," * 20 + "\n")
    assert main(["import", str(shots)]) == 0
    said = capsys.readouterr().out
    assert "1 rejected" in said
    assert "yesterday" in (tmp_path / "shots.csv.rejected.csv").read_text(encoding="utf-8")
    assert main(["evaluate", "--rebuild"]) == 0
    assert main(["db", "check"]) == 0
    assert "nothing amiss" in capsys.readouterr().out
    assert main(["db", "backup", str(tmp_path / "copy.db")]) == 0
    assert main(["db", "backup", str(tmp_path / "copy.db")]) == 2


def test_people_and_keys_are_shown_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", f"sqlite:///{tmp_path}/plant.db")
    assert main(["user", "add", "mara", "--role", "plant_engineer"]) == 0
    assert json.loads(capsys.readouterr().out)["one_time_password"]
    assert main(["user", "add", "mara", "--role", "plant_engineer"]) == 1
    assert main(["key", "create", "--press", "P07"]) == 0
    assert len(capsys.readouterr().out.strip().splitlines()[-1]) > 40
