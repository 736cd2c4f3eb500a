"""What a look at a file finds, asks and flags; and what no file may do to the server."""

import contextlib
import datetime as dt
import json
import resource
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.errors import InvalidError, RingtellError, TooLargeError
from server.ingest import table_sources
from server.ingest.survey import Survey, planned, survey
from server.ingest.table_plan import Plan, plan_of
from server.ingest.tables import open_planned, read_table
from server.maths.results import Undetermined
from server.valve.log_checks import ConstantSum
from tests.imports.plant import NOW_MS, kept, rows, table

PRESS = Plan(defaults={"press": "P07"}, time_zone="UTC")


def look(path: Path, **how: Any) -> Survey:
    return survey(path, Plan(**{"defaults": {"press": "P07"}, "time_zone": "UTC"} | how), received_ms=NOW_MS)


def codes(found: Survey) -> tuple[set[str], set[str]]:
    return {one.code for one in found.questions}, {one.code for one in found.flags}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("mark", [";", "\t"])
def test_encoding_delimiter_and_decimals_are_found(tmp_path: Path, encoding: str, mark: str) -> None:
    header = ("Schuss", "Zeit", "Dosierweg [mm]", "Massepolster [mm]", "Öltemperatur [°C]")
    made = [(i, f"13.04.2026 06:00:{i:02}", "80,1", f"6,0{i % 9}", "44,5") for i in range(40)]
    content = table(made, header=header, mark=mark).decode()
    found = look(kept(tmp_path / "week.csv", content.encode(encoding)))
    assert (found.delimiter, found.decimal_comma, found.dates.order) == (mark, True, "day_first")
    assert [one.field for one in found.columns] == [
        "counter", "at", "shot_size_mm", "cushion_mm", "oil_temp_c",
    ]  # fmt: skip
    assert codes(found) == (set(), set())
    assert len(found.shots) == 12


@pytest.mark.parametrize("kind", ["xlsx", "parquet"])
def test_typed_times_without_an_offset_are_asked_about(tmp_path: Path, kind: str) -> None:
    times = [dt.datetime.fromisoformat("2026-04-01T06:00") + dt.timedelta(seconds=20 * i) for i in range(20)]
    path = tmp_path / f"week.{kind}"
    if kind == "xlsx":
        book = openpyxl.Workbook()
        sheet = book.active
        assert sheet is not None
        sheet.append(["Cycle", "Time", "Shot size", "Cushion"])
        for i, time in enumerate(times):
            sheet.append([i, time, 80.1, 6.0 + i / 100])
        book.save(path)
    else:
        columns = {"Cycle": range(20), "Time": times, "Shot size": [80.1] * 20, "Cushion": [6.0] * 20}
        pq.write_table(pa.table({name: list(column) for name, column in columns.items()}), path)
    assert codes(look(path, time_zone=None))[0] == {"time_zone"}
    assert codes(look(path))[0] == set()
    (batch,) = open_planned(path, planned(look(path), PRESS), received_ms=NOW_MS).batches
    assert (len(batch.shots), batch.rejected) == (20, [])


def test_a_parquet_file_with_an_offset_needs_no_zone(tmp_path: Path) -> None:
    times = pa.array([dt.datetime(2026, 4, 1, 6, tzinfo=dt.UTC)] * 3, pa.timestamp("us", tz="UTC"))
    path = tmp_path / "week.parquet"
    columns = {"Cycle": [1, 2, 3], "Time": times, "Dose": [80.0] * 3, "Cushion": [6.0] * 3}
    pq.write_table(pa.table(columns), path)
    assert codes(look(path, time_zone=None))[0] == set()


def test_an_injected_volume_is_passed_over_and_said_to_be_one(tmp_path: Path) -> None:
    chance = np.random.default_rng(1)
    cushion = np.round(12 + 0.1 * chance.standard_normal(300), 2)
    injected = np.round(160 - cushion + 0.005 * chance.standard_normal(300), 2)
    made = [(i, f"2026-04-01 06:{i // 60:02}:{i % 60:02}", injected[i], cushion[i]) for i in range(300)]
    for name, questions in (("Injected volume [cm3]", {"column"}), ("Shot volume [cm3]", {"injected"})):
        header = ("Cycle", "Time", name, "Cushion volume [cm3]")
        found = look(kept(tmp_path / "week.csv", table(made, header=header)))
        ((column, test),) = found.sums
        assert isinstance(test, ConstantSum)
        assert (column, test.injected) == (name, True)
        assert codes(found)[0] == questions


def test_a_long_file_is_looked_at_all_over(tmp_path: Path) -> None:
    made = rows(4000)
    # Only far from the start a day above 12 tells which comes first.
    cells = [(*row[:1], f"0{1 + i // 1500}/04/2026 06:00:00", *row[2:]) for i, row in enumerate(made)]
    cells += [(5000 + i, "23/04/2026 06:00:00", *made[i][2:]) for i in range(2000)]
    found = look(kept(tmp_path / "week.csv", table(cells)))
    assert found.dates.order == "day_first"
    assert found.rows_total is None
    assert found.rows_looked_at > 3500


def test_a_cushion_in_inches_and_an_uncertain_name_are_flagged(tmp_path: Path) -> None:
    made = [(i, f"2026-04-01 06:00:{i % 60:02}", 80.0, 0.2 + i % 5 / 100) for i in range(60)]
    header = ("Cycle", "Time", "Shot size [mm]", "Melt cushion position monitor")
    found = look(kept(tmp_path / "week.csv", table(made, header=header)))
    assert {"unit", "unsure"} <= codes(found)[1]


def test_the_plan_of_a_look_reads_the_file_as_it_was_shown(tmp_path: Path) -> None:
    path = kept(tmp_path / "week.csv", table(rows(100)))
    found = look(path)
    (batch,) = open_planned(path, planned(found, PRESS), received_ms=NOW_MS).batches
    assert batch.shots[:12] == list(found.shots)


def test_a_column_of_its_own_and_zones_are_kept(tmp_path: Path) -> None:
    header = ("counter", "at", "shot_size_mm", "cushion_mm", "Zone 1", "Zone 2", "Clamp")
    made = [(i, "2026-04-01T06:00:00Z", 80, 6, 482, "n/a", 1.5) for i in range(3)]
    path = kept(tmp_path / "week.csv", table(made, header=header))
    mapping = {"Zone 1": "zone_temps_c.1", "Zone 2": "zone_temps_c.2", "Clamp": "extra.clamp"}
    (batch,) = read_table(path, received_ms=NOW_MS, mapping=mapping, column_units={"Zone 1": "degF"},
                          defaults={"press": "P07"})  # fmt: skip
    zones, _curve, extra = batch.shots[0].values[-3:]
    assert json.loads(zones) == [pytest.approx(250.0), None]
    assert extra == '{"clamp":1.5}'


# --- what no file may do ----------------------------------------------------------------------


def test_a_workbook_that_unpacks_to_too_much_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"\0" * (60 << 20))
    with pytest.raises(TooLargeError, match="packed too closely"):
        look(path)
    monkeypatch.setattr(table_sources, "UNPACKED_MAX", 1 << 20)
    with pytest.raises(TooLargeError, match="unpacks to more than"):
        look(path)
    monkeypatch.setattr(table_sources, "UNPACKED_MAX", 1 << 40)
    monkeypatch.setattr(table_sources, "TEXTS_MAX", 10)
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("xl/sharedStrings.xml", b"x" * 11)
    with pytest.raises(TooLargeError, match="of text"):
        look(path)


def test_a_row_group_larger_than_memory_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "week.parquet"
    pq.write_table(pa.table({"Cycle": list(range(1000))}), path)
    monkeypatch.setattr(table_sources, "ROW_GROUP_MAX", 100)
    with pytest.raises(TooLargeError, match="row group"):
        look(path)


def test_a_text_said_a_million_times_is_refused_before_it_is_written_out(tmp_path: Path) -> None:
    path = tmp_path / "bomb.parquet"
    rows = 20_000
    note = pa.DictionaryArray.from_arrays(pa.array([0] * rows, pa.int32()), pa.array(["x" * 1_000_000]))
    table = pa.table({"press": ["P07"] * rows, "counter": list(range(rows)), "lot": note})
    pq.write_table(table, path)
    assert path.stat().st_size < 2 << 20
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(TooLargeError, match="MB of text"):
        look(path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb < 400 << 10


def test_texts_in_a_dictionary_are_read_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "shift.parquet"
    pq.write_table(pa.table({"lot": ["A1", None, "A1", "", "B2"]}), path)
    source = table_sources.open_table(path, wanted=lambda _name: True)
    assert [row[0] for row in source.rows] == ["A1", None, "A1", "", "B2"]


def test_more_columns_than_a_log_has_are_refused(tmp_path: Path) -> None:
    header = ["counter", *(f"c{i}" for i in range(500))]
    with pytest.raises(InvalidError, match="at most 400"):
        look(kept(tmp_path / "week.csv", table([], header=header)))


def test_a_cell_without_end_costs_its_line_only(tmp_path: Path) -> None:
    good = ",".join(map(str, rows(1)[0]))
    huge = "x" * 200_000
    path = kept(tmp_path / "week.csv", table(rows(3)) + f"{huge},1\n{good}\n".encode())
    plan = planned(look(path), PRESS)
    (batch,) = open_planned(path, plan, received_ms=NOW_MS).batches
    assert batch.received == len(batch.shots) + len(batch.rejected)
    assert "bad_line" in {row.code for row in batch.rejected}
    assert len(batch.shots) >= 3


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.binary(max_size=400) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "ignore")),
    suffix=st.sampled_from([".csv", ".tsv", ".dat", ".xlsx", ".parquet"]),
    header=st.booleans(),
)
def test_any_bytes_are_surveyed_or_refused_with_a_reason(
    tmp_path: Path, content: bytes, suffix: str, header: bool
) -> None:
    report = b"DATE,TIME,ActCntCyc,ActStrCsh[1],ActStrPlst[1]\n"
    start = report if suffix == ".dat" else b"counter,at,Cushion\n"
    path = kept(tmp_path / f"any{suffix}", start + content if header else content)
    with contextlib.suppress(RingtellError):  # anything else is a fault of ours
        found = look(path)
        for batch in open_planned(path, planned(found, PRESS), received_ms=NOW_MS).batches:
            assert batch.received == len(batch.shots) + len(batch.rejected)


_TEXT = st.text(max_size=4)


@given(
    st.dictionaries(
        st.sampled_from(["mapping", "units", "unwrap", "sheet", "cavities", "x"]),
        st.none() | st.booleans() | _TEXT | st.dictionaries(_TEXT, _TEXT | st.integers()),
    )
)
def test_any_options_make_a_plan_or_are_refused(document: dict[str, Any]) -> None:
    with contextlib.suppress(InvalidError):
        assert isinstance(plan_of(document), Plan)


def test_what_cannot_be_told_has_its_reason(tmp_path: Path) -> None:
    found = look(kept(tmp_path / "week.csv", table(rows(5))))
    assert isinstance(found.dose_lag, Undetermined)
    assert "30 differences" in found.dose_lag.reason
