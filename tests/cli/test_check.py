"""`ringtell db check`: silent on a sound database, and names each thing that was tampered with."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.care import check
from server.cli import main
from server.store.database import Store
from server.store.engine import upgrade
from tests.evaluate.history import SHOTS, Bringing, record_of, shots_of

#: Another signal's quantile sketch in the place of one's own.
SPREAD = (
    "UPDATE rollups SET sketch = (SELECT sketch FROM rollups WHERE signal = 'fill_time_s' LIMIT 1)"
    " WHERE grain ="
)


@pytest.fixture(scope="module")
def evaluated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A press evaluated through a restart, a baseline, a bottoming stretch."""
    file = tmp_path_factory.mktemp("evaluated") / "plant.db"
    upgrade(f"sqlite:///{file}")
    store = Store(f"sqlite:///{file}")
    shots = shots_of("P07")
    press = Bringing(store, "P07", record_of(shots))
    press.bring(shots)
    press.approve(shots)
    press.settle()
    store.close()
    return file


@pytest.fixture
def evaluated(evaluated_file: Path, tmp_path: Path) -> Iterator[Store]:
    file = tmp_path / "plant.db"
    file.write_bytes(evaluated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    yield store
    store.close()


def tamper(store: Store, statement: str) -> None:
    changed = store.write(lambda connection: connection.exec_driver_sql(statement).rowcount)
    assert changed > 0


def test_a_sound_database_has_no_faults_and_every_press_its_line(evaluated: Store) -> None:
    report = check(evaluated)
    assert report.faults == ()
    assert len(report.lines) == 1
    assert report.lines[0].startswith(f"P07: {SHOTS} shots, 0 waiting for evaluation")
    assert " 0 checkpoints" not in report.lines[0]
    assert " 0 summaries" not in report.lines[0]


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE rollups SET mean = mean + 0.01 WHERE grain = 600 AND signal = 'cushion_mm'", "ten minutes"),
        ("UPDATE rollups SET n = n + 1 WHERE grain = 600 AND signal = 'swept_mm'", "ten minutes"),
        ("DELETE FROM rollups WHERE grain = 600 AND signal = 'fill_time_s'", "ten minutes"),
        ("UPDATE rollups SET high = high + 1 WHERE grain = 3600", "the 3600 s"),
        ("UPDATE rollups SET m2 = m2 + 1 WHERE grain = 86400", "the 86400 s"),
        (f"{SPREAD} 600 AND signal = 'cushion_mm'", "the spread kept of the ten minutes"),
        (f"{SPREAD} 3600 AND signal = 'cushion_mm' AND sketch IS NOT NULL", "the spread kept of the 3600 s"),
        ("UPDATE checkpoints SET state = x'00'", "cannot be read"),
        ("UPDATE findings SET press_id = 99", "findings holds rows of presses [99]"),
        ("UPDATE shots SET cushion_mm = cushion_mm + 0.5 WHERE counter = 100", "ten minutes"),
    ],
)
def test_each_thing_tampered_with_is_named(evaluated: Store, statement: str, said: str) -> None:
    tamper(evaluated, statement)
    faults = check(evaluated, sample=1000).faults
    assert any(said in fault for fault in faults), faults


def test_what_still_waits_is_not_held_against_anybody(evaluated: Store) -> None:
    late = shots_of("P07", count=SHOTS + 5)[SHOTS:]
    document = record_of(shots_of("P07"))
    Bringing(evaluated, "P07", document).bring(late)
    report = check(evaluated)
    assert report.faults == ()
    assert "5 waiting" in report.lines[0]


def test_torn_pages_of_the_file_are_noticed_in_one_line(
    evaluated: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    evaluated.close()
    file, torn = tmp_path / "plant.db", tmp_path / "torn.db"
    data = bytearray(file.read_bytes())
    for page in range(len(data) // 4096 * 2 // 3, len(data) // 4096, 7):
        data[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    torn.write_bytes(bytes(data))
    monkeypatch.setenv("RINGTELL_DATABASE_URL", f"sqlite:///{torn}")
    assert main(["db", "check"]) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "damaged" in said


def test_a_fault_ends_with_exit_code_1_and_one_line(
    evaluated: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", evaluated.url)
    assert main(["db", "check"]) == 0
    assert "nothing amiss" in capsys.readouterr().out
    tamper(evaluated, "UPDATE rollups SET high = high + 1 WHERE grain = 86400")
    assert main(["db", "check"]) == 1
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "P07" in captured.err
    assert "nothing amiss" not in captured.out


def test_backup_and_restore_from_the_command_line(
    evaluated: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RINGTELL_DATABASE_URL", evaluated.url)
    backup = tmp_path / "friday.db"
    assert main(["db", "backup", str(backup)]) == 0
    assert f"{SHOTS} shots" in capsys.readouterr().out
    monkeypatch.setenv("RINGTELL_DATABASE_URL", f"sqlite:///{tmp_path / 'new.db'}")
    assert main(["db", "restore", str(backup)]) == 0
    assert "every count is that of the sheet" in capsys.readouterr().out
    assert main(["db", "restore", str(backup)]) == 2
    assert "add --replace" in capsys.readouterr().err
    assert main(["db", "restore", str(backup), "--replace"]) == 0
