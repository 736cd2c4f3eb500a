"""Keys and the audit trail from the command line: made, listed, handed over, revoked, anchored, checked."""

import sqlite3
from pathlib import Path

import pytest

from server.cli import main


@pytest.fixture(autouse=True)
def _own_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", f"sqlite:///{tmp_path / 'plant.db'}")
    monkeypatch.delenv("RINGTELL_AUDIT_KEY", raising=False)
    monkeypatch.delenv("RINGTELL_AUDIT_KEY_FILE", raising=False)


def test_a_key_from_its_making_to_its_end(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["key", "create", "--press", "P07"]) == 0
    token = capsys.readouterr().out.strip()
    assert main(["key", "rotate", "1", "--overlap-hours", "1"]) == 0
    successor = capsys.readouterr().out.strip()
    assert successor.startswith("rtk_")
    assert successor != token
    assert main(["key", "revoke", "2"]) == 0
    assert main(["key", "list"]) == 0
    listed = capsys.readouterr().out
    assert "ends " in listed
    assert "revoked " in listed
    assert token not in listed
    assert main(["key", "revoke", "2"]) == 1


def test_the_trail_is_anchored_and_an_edit_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for press in ("P07", "P08", "P09"):
        assert main(["key", "create", "--press", press]) == 0
    anchors = tmp_path / "anchors.json"
    assert main(["db", "anchors", str(anchors)]) == 0
    assert main(["db", "new-audit-key"]) == 0
    assert main(["key", "create", "--press", "P10"]) == 0
    assert main(["db", "check", "--anchors", str(anchors)]) == 0
    assert "5 sealed rows in 1 chains" in capsys.readouterr().out
    with sqlite3.connect(tmp_path / "plant.db") as connection:
        connection.execute("UPDATE audit SET who = 'nobody' WHERE seq = 2")
    connection.close()
    assert main(["db", "check"]) == 1
    assert "audit trail of the plant, place 2" in capsys.readouterr().err
