"""`ringtell import`: looking, mappings from files, what is asked, exit codes, one line of error."""

import csv
import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from server.cli import main
from server.store.database import Store
from server.store.imports import newest_imports
from server.store.plant import need_press
from server.store.shots import count_shots, read_columns

HEADER = "Schuss;Zeit;Dosierweg [mm];Polster;Spritzdruck [bar]\n"
ROWS = "".join(
    f"{i};13.04.2026 06:{i // 3:02}:{i % 3 * 20:02};80,{i % 5};0,2{i % 7};1000,5\n" for i in range(1, 90)
)


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    url = f"sqlite:///{tmp_path}/plant.db"
    monkeypatch.setenv("RINGTELL_DATABASE_URL", url)
    monkeypatch.setenv("RINGTELL_CHILD_PROCESS", "0")
    return url


@pytest.fixture
def week(tmp_path: Path) -> Path:
    path = tmp_path / "week.csv"
    path.write_text(HEADER + ROWS, encoding="cp1252")
    return path


def test_looking_stores_nothing_and_says_what_the_file_holds(
    database: str, week: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["import", str(week), "--look"]) == 0
    said = capsys.readouterr().out
    assert "decimal commas" in said
    assert "shot_size_mm [mm]" in said
    assert "asked: Whose time is it?" in said
    assert "flagged: cushion_mm lies at 0.2" in said
    assert not (tmp_path / "plant.db").exists()


def test_what_the_file_leaves_open_is_asked_in_one_line(
    database: str, week: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words, asked in (
        (["import", str(week)], "--press P07"),
        (["import", str(week), "--press", "P07"], "--time-zone Europe/Berlin"),
    ):
        assert main(words) == 2
        error = capsys.readouterr().err
        assert error.count("\n") == 1
        assert asked in error


def test_a_file_is_stored_as_told_and_again_with_the_mapping_saved(
    database: str, week: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mapping = tmp_path / "line3.json"
    told = ["--press", "P07", "--time-zone", "Europe/Berlin", "--column-unit", "Polster=in"]
    assert main(["import", str(week), *told, "--save-mapping", str(mapping)]) == 0
    assert "89 stored" in capsys.readouterr().out
    assert json.loads(mapping.read_text(encoding="utf-8"))["column_units"]["Polster"] == "in"
    assert main(["import", str(week), "--mapping", str(mapping)]) == 0
    assert "89 duplicate" in capsys.readouterr().out
    store = Store(database)
    with store.read() as connection:
        press = need_press(connection, "P07")
        cushions = read_columns(connection, press.press_id, names=("cushion_mm",), limit=1)["cushion_mm"]
        assert count_shots(connection) == 89
        assert [(one.state, one.stored, one.who) for one in newest_imports(connection, limit=5)] == [
            ("done", 0, "command line"), ("done", 89, "command line"),
        ]  # fmt: skip
    store.close()
    assert cushions[0] == pytest.approx(0.21 * 25.4)


def test_refused_rows_go_to_a_file_with_line_and_reason(
    database: str, week: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    week.write_text(HEADER + ROWS + "90;tomorrow;80,1;6;1000\n91;13.04.2026 07:00:00;x;6;1000\n")
    target = tmp_path / "refused.csv"
    words = ["import", str(week), "--press", "P07", "--time-zone", "UTC", "--rejected", str(target)]
    assert main(words) == 0
    assert "2 rejected" in capsys.readouterr().out
    with target.open(encoding="utf-8", newline="") as file:
        found = [(row["row"], row["field"], row["code"], row["raw"][:3]) for row in csv.DictReader(file)]
    assert found == [("89", "at", "bad_time", "90;"), ("90", "shot_size_mm", "not_a_number", "91;")]


def test_a_report_file_takes_its_units_from_the_getid_file(
    database: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report, getid = tmp_path / "shots.dat", tmp_path / "GETID.TXT"
    report.write_text(
        "DATE,TIME,ActCntCyc,ActStrCsh[1],ActStrPlst[1],\nActTmpBrlZn[1,1]\n"
        "20260401,06:00:00,1,0.25,3.15,482.0\n20260401,06:00:20,2,0.25,3.15,482.0\n20260401,06:0"
    )
    getid.write_text('ActStrCsh[1],N,8,2,0,"in","c";\nActStrPlst[1],N,8,2,0,"in","s";\n'
                     'ActTmpBrlZn[1,1],N,5,1,0,"F","z";\n')  # fmt: skip
    words = ["import", str(report), "--press", "P07", "--time-zone", "UTC", "--getid", str(getid)]
    assert main(words) == 0
    assert "2 stored" in capsys.readouterr().out
    assert "half written" in (tmp_path / "shots.dat.rejected.csv").read_text(encoding="utf-8")
    store = Store(database)
    with store.read() as connection:
        press = need_press(connection, "P07")
        names = ("cushion_mm", "shot_size_mm", "zone_temps_c")
        columns = read_columns(connection, press.press_id, names=names, limit=1)
    store.close()
    assert columns["cushion_mm"][0] == pytest.approx(6.35)
    assert json.loads(columns["zone_temps_c"][0]) == pytest.approx([250.0])


def test_a_parquet_file_and_options_for_it(
    database: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "week.parquet"
    table = {"Cycle": [1, 2], "at": ["2026-04-01T06:00:00Z", "2026-04-01T06:00:20Z"],
             "Size": [80.0, 80.1], "Cushion": [6.0, 655.31], "Load": [0.5, 0.6]}  # fmt: skip
    pq.write_table(pa.table(table), path)
    words = ["import", str(path), "--press", "P07", "--map", "Size=shot_size_mm", "--map", "Load=extra.load"]
    assert main([*words, "--unwrap"]) == 0
    assert "2 stored" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["none.csv"], 1, "no such file"),
        (["{week}", "--map", "x"], 2, "NAME=VALUE"),
        (["{week}", "--map", "Polster=cushon"], 2, "no field of a shot"),
        (["{week}", "--unit", "length=yd"], 2, "known are mm"),
        (["{week}", "--time-zone", "Mars/Base"], 2, "Europe/Berlin"),
        (["{week}", "--mapping", "{week}"], 2, "--save-mapping"),
        (["{week}", "--date-order", "backwards"], 2, "day_first"),
        (["{week}", "--encoding", "ebcdic"], 2, "known are utf-8"),
        (["{week}", "--getid", "none.txt"], 1, "none.txt"),
    ],
)
def test_errors_are_one_line_with_the_way_out(
    database: str, week: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, says: str
) -> None:
    assert main(["import", *(word.format(week=week) for word in words)]) == code
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert says in error
