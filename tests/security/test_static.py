"""What a reader of the source finds: the scanner's list is empty but for what was looked at."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

#: Found by the scanner and looked at. B608: names of our own tables and columns, never what was sent.
#: B704: pieces of drawings, and texts of our own catalogue; values are escaped where they are put in.
LOOKED_AT = {
    ("server/collect/spool.py", "B608"),
    ("server/routes/pages.py", "B704"),
    ("server/show/alarm_proof.py", "B704"),
    ("server/show/svg.py", "B704"),
    ("server/store/backup.py", "B608"),
    ("server/store/bulk.py", "B608"),
    ("server/store/clocks.py", "B608"),
    ("server/store/coarse_months.py", "B608"),
    ("server/store/evaluation.py", "B608"),
    ("server/store/imports.py", "B608"),
    ("server/store/intake.py", "B608"),
    ("server/store/months.py", "B608"),
    ("server/store/shots.py", "B608"),
}


def scanned(*targets: Path) -> set[tuple[str, str]]:
    if importlib.util.find_spec("bandit") is None:
        pytest.skip("bandit is not installed")
    command = [sys.executable, "-m", "bandit", "-q", "-ll", "-f", "json", "-r", *map(str, targets)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    found = json.loads(done.stdout)["results"]
    return {(Path(one["filename"]).resolve().as_posix(), one["test_id"]) for one in found}


def test_the_scanner_finds_nothing_new_in_the_server() -> None:
    found = {(Path(file).relative_to(ROOT).as_posix(), rule) for file, rule in scanned(ROOT / "server")}
    assert found - LOOKED_AT == set()


def test_the_scanner_would_notice(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("import subprocess\n\n\ndef run(word):\n    subprocess.call(word, shell=True)\n")
    assert {rule for _, rule in scanned(bad)} == {"B602"}
