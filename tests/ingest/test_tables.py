"""Tables on disk: what each format gives, mappings, times without an offset, and flat memory."""

import datetime as dt
import tracemalloc
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.clock import as_text
from server.errors import InvalidError, NotFoundError, RingtellError
from server.ingest.batch import ReadBatch
from server.ingest.tables import read_heading, read_table
from tests.ingest.bodies import RECEIVED_MS, value

HEADER = ("Cycle", "Time", "Size", "Cushion [mm]", "Note")
MAPPING = {"Cycle": "counter", "Time": "at", "Size": "shot_size_mm", "Cushion [mm]": "cushion_mm"}
PRESS = {"press": "P07", "mold": "M-1"}


def text_file(
    path: Path, rows: Sequence[Sequence[Any]], *, delimiter: str = ",", encoding: str = "utf-8"
) -> Path:
    path.write_text("\n".join(delimiter.join(map(str, row)) for row in rows) + "\n", encoding=encoding)
    return path


def workbook(path: Path, rows: Sequence[Sequence[Any]], *, title: str = "Log") -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    book.save(path)
    return path


def read(path: Path, **how: Any) -> ReadBatch:
    """A file that fits into one batch."""
    (batch,) = read_table(path, received_ms=RECEIVED_MS, **({"defaults": PRESS} | how))
    return batch


ROWS = [HEADER, (1, "2026-04-01T06:00:00Z", 80, 6.02, "a"), (2, "2026-04-01T06:00:20Z", 80.1, 6, "b")]


@pytest.mark.parametrize(
    ("name", "delimiter", "encoding"),
    [
        ("log.csv", ",", "utf-8"),
        ("log.csv", ";", "utf-8-sig"),
        ("log.tsv", "\t", "utf-16"),
        ("LOG.TXT", "|", "cp1252"),
    ],
)
def test_text_is_read_in_any_delimiter_and_encoding(
    tmp_path: Path, name: str, delimiter: str, encoding: str
) -> None:
    rows = [*ROWS, (3, "2026-04-01T06:00:40Z", 80, 6, "für")]
    batch = read(text_file(tmp_path / name, rows, delimiter=delimiter, encoding=encoding), mapping=MAPPING)
    assert not batch.rejected
    assert [s.counter for s in batch.shots] == [1, 2, 3]
    assert batch.shots[0].label[:2] == ("P07", "M-1")
    assert [value(s, "cushion_mm") for s in batch.shots] == [6.02, 6.0, 6.0]


def test_a_workbook_and_a_parquet_file_give_the_same_shots(tmp_path: Path) -> None:
    times = [dt.datetime(2026, 4, 1, 6, 0, s, 123_000) for s in (0, 20)]  # noqa: DTZ001 - as spreadsheets keep them
    rows = [HEADER, (1, times[0], 80, 6.02, None), (2, times[1], 80.1, 6, "b")]
    book = workbook(tmp_path / "log.xlsx", rows)
    columns = {name: [row[i] for row in rows[1:]] for i, name in enumerate(HEADER)}
    columns["Time"] = pa.array([t.replace(microsecond=123_999) for t in times], pa.timestamp("ns"))
    table = tmp_path / "log.parquet"
    pq.write_table(pa.table(columns), table)
    how = {"mapping": MAPPING, "time_zone": "Europe/Berlin"}
    from_book, from_table = read(book, **how), read(table, **how)
    assert from_book.shots == from_table.shots
    assert as_text(from_book.shots[0].at_ms) == "2026-04-01T04:00:00.123Z"


def test_typed_columns_of_parquet_keep_lists_and_missing_numbers(tmp_path: Path) -> None:
    at = dt.datetime(2026, 4, 1, 6, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    table = pa.table(
        {
            "counter": pa.array([1], pa.int32()),
            "at": pa.array([at], pa.timestamp("ms", tz="Europe/Berlin")),
            "shot_size_mm": pa.array([80], pa.float32()),
            "cushion_mm": pa.array([6], pa.decimal128(5, 2)),
            "fill_time_s": [float("nan")],
            "zone_temps_c": [[200.0, None]],
            "lot": pa.array(["A1"]).dictionary_encode(),
            "box": [12.0],
        }
    )
    pq.write_table(table, tmp_path / "t.parquet")
    (shot,) = read(tmp_path / "t.parquet").shots
    assert as_text(shot.at_ms) == "2026-04-01T04:00:00.000Z"
    assert (value(shot, "cushion_mm"), value(shot, "fill_time_s")) == (6.0, None)
    assert (value(shot, "zone_temps_c"), value(shot, "lot"), value(shot, "box")) == (
        "[200.0,null]",
        "A1",
        "12",
    )


def test_titles_above_the_header_are_passed_over(tmp_path: Path) -> None:
    rows = [("Press 7, export",), ("",), *ROWS]
    for path in (text_file(tmp_path / "t.csv", rows, delimiter=";"), workbook(tmp_path / "t.xlsx", rows)):
        assert len(read(path, mapping=MAPPING).shots) == 2


def test_a_header_whose_names_run_over_lines_is_one(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        'Log of "P07"\ncounter;at;"Shot size\n[mm]";"Cushion\r\n[mm]"\n1;2026-04-01T06:00:00Z;80;6\n',
        newline="",
    )
    mapping = {"Shot size [mm]": "shot_size_mm", "Cushion [mm]": "cushion_mm"}
    (shot,) = read(path, mapping=mapping).shots
    assert (shot.counter, value(shot, "shot_size_mm"), value(shot, "cushion_mm")) == (1, 80.0, 6.0)


def test_decimal_commas_are_found_out_and_can_be_named(tmp_path: Path) -> None:
    rows = [
        HEADER,
        (1, "2026-04-01T06:00:00Z", "80,25", "6,02", "1.5"),
        (2, "2026-04-01T06:00:20Z", "80", "6,1", ""),
    ]
    path = text_file(tmp_path / "t.csv", rows, delimiter=";")
    assert [value(s, "cushion_mm") for s in read(path, mapping=MAPPING).shots] == [6.02, 6.1]
    refused = read(path, mapping=MAPPING, decimal_comma=False).rejected
    assert [(r.row, r.field, r.code) for r in refused] == [
        (0, "shot_size_mm", "not_a_number"),
        (1, "cushion_mm", "not_a_number"),
    ]


def test_units_extra_numbers_and_rejected_rows_with_their_line(tmp_path: Path) -> None:
    rows = [
        ("counter", "at", "Size", "cushion_mm", "Vent", "lot"),
        (1, "2026-04-01T06:00:00Z", 3.0, 0.2, 2.5, "L1"),
        (2, "2026-04-01T06:00:20Z", "big", 0.2, 2.5, "L1"),
        (3, "2026-04-01T06:00:20Z"),
    ]
    mapping = {"Size": "shot_size_mm", "Vent": "extra.vent_bar"}
    batch = read(text_file(tmp_path / "t.csv", rows), mapping=mapping, units={"length": "in"})
    assert value(batch.shots[0], "shot_size_mm") == pytest.approx(76.2, abs=1e-12)
    assert value(batch.shots[0], "extra") == '{"vent_bar":2.5}'
    assert [(r.row, r.field, r.code) for r in batch.rejected] == [
        (1, "shot_size_mm", "not_a_number"),
        (2, "shot_size_mm", "missing"),
    ]
    assert batch.rejected[0].raw == "2,2026-04-01T06:00:20Z,big,0.2,2.5,L1"


@pytest.mark.parametrize(
    ("cell", "how", "expected"),
    [
        ("2026-04-01 06:00:00", {"time_zone": "Europe/Berlin"}, "2026-04-01T04:00:00.000Z"),
        ("2026-04-01 06:00", {"time_zone": "UTC"}, "2026-04-01T06:00:00.000Z"),
        ("2026-04-01T06:00:00.5-01:00", {"time_zone": "Europe/Berlin"}, "2026-04-01T07:00:00.500Z"),
        (
            "01.04.2026 06:00:00",
            {"time_zone": "Europe/Berlin", "time_format": "%d.%m.%Y %H:%M:%S"},
            "2026-04-01T04:00:00.000Z",
        ),
        ("2026-04-01 06:00:00", {}, "no_offset"),
        ("01.04.2026 06:00:00", {"time_zone": "Europe/Berlin"}, "2026-04-01T04:00:00.000Z"),
        ("01/04/2026 06:00:00", {"time_zone": "UTC"}, "date_order"),
        ("01/04/2026 06:00", {"time_zone": "UTC", "date_order": "month_first"}, "2026-01-04T06:00:00.000Z"),
        ("01/04/2026 06:00", {"time_zone": "UTC", "date_order": "day_first"}, "2026-04-01T06:00:00.000Z"),
        ("2026-04-01 06:00:00", {"time_format": "%d.%m.%Y"}, "bad_time"),
        ("2026-04-31 06:00:00", {"time_zone": "UTC"}, "bad_time"),
        ("2026-03-29 02:30:00", {"time_zone": "Europe/Berlin"}, "no_such_time"),
        ("", {"time_zone": "UTC"}, "missing"),
    ],
)
def test_times_of_a_table(tmp_path: Path, cell: str, how: dict[str, Any], expected: str) -> None:
    path = text_file(tmp_path / "t.csv", [("counter", "at", "shot_size_mm", "cushion_mm"), (1, cell, 80, 6)])
    batch = read(path, **how)
    got = [as_text(s.at_ms) for s in batch.shots] + [r.code for r in batch.rejected]
    assert got == [expected]


def test_date_and_time_of_two_columns_are_joined(tmp_path: Path) -> None:
    header = ("counter", "Day", "Hour", "shot_size_mm", "cushion_mm")
    mapping = {"Day": "at", "Hour": "at"}
    text = text_file(tmp_path / "t.csv", [header, (1, "2026-04-01", "06:00:01", 80, 6)])
    book = workbook(tmp_path / "t.xlsx", [header, (1, dt.datetime(2026, 4, 1), dt.time(6, 0, 1), 80, 6)])  # noqa: DTZ001 - likewise
    for path in (text, book):
        (shot,) = read(path, mapping=mapping, time_zone="UTC").shots
        assert as_text(shot.at_ms) == "2026-04-01T06:00:01.000Z"


def test_rows_count_through_all_batches(tmp_path: Path) -> None:
    rows = [("counter", "at", "shot_size_mm", "cushion_mm")]
    rows += [(str(n), "2026-04-01T06:00:00Z", "80", "x" if n == 7 else "6") for n in range(10)]
    path = text_file(tmp_path / "t.csv", rows)
    batches = list(read_table(path, received_ms=RECEIVED_MS, defaults=PRESS, chunk_rows=4))
    assert [b.received for b in batches] == [4, 4, 2]
    assert [s.row for b in batches for s in b.shots] == [0, 1, 2, 3, 4, 5, 6, 8, 9]
    assert [r.row for b in batches for r in b.rejected] == [7]


def test_the_heading_says_what_is_read_and_what_is_passed_over(tmp_path: Path) -> None:
    path = text_file(tmp_path / "t.csv", [("counter", "Time", "cushion_mm", "Note"), (1, "", "", "")])
    heading = read_heading(path, mapping={"Time": "at"})
    assert dict(heading.fields) == {"counter": "counter", "Time": "at", "cushion_mm": "cushion_mm"}
    assert heading.passed_over == ("Note",)


@pytest.mark.parametrize(
    ("header", "how", "message"),
    [
        ("counter,at", {"mapping": {"x": "cushon_mm"}}, "no field of a shot"),
        ("counter,at", {"mapping": {"x": "extra."}}, "no field of a shot"),
        ("counter,a,b", {"mapping": {"a": "lot", "b": "lot"}}, "all mapped to lot"),
        ("counter,counter,at", {}, "twice"),
        ("counter,Time", {}, "no column holds at"),
        ("cushion_mm,at", {}, "no column holds counter"),
        ("counter,at", {"defaults": {}}, "--press"),
        ("a,b", {}, "map columns"),
        ("counter,at", {"units": {"length": "yd"}}, "known are mm"),
        ("counter,at", {"defaults": {"press": "a/b"}}, "cannot be taken"),
        ("counter,at", {"time_zone": "Mars/Base"}, "Europe/Berlin"),
    ],
)
def test_what_is_wrong_with_the_file_is_said_at_once(
    tmp_path: Path, header: str, how: dict[str, Any], message: str
) -> None:
    path = tmp_path / "t.csv"
    path.write_text(header + "\n")
    with pytest.raises(InvalidError, match=message):
        read_table(path, received_ms=RECEIVED_MS, **({"defaults": PRESS} | how))


def test_files_that_are_no_tables_are_refused(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError):
        read(tmp_path / "none.csv")
    for name in ("a.xlsx", "a.parquet", "a.pdf", "a.csv"):
        path = tmp_path / name
        path.write_bytes(b"\x00\x01no table")
        with pytest.raises(InvalidError):
            read(path)
    book = workbook(tmp_path / "b.xlsx", ROWS)
    with pytest.raises(InvalidError, match="it has Log"):
        read(book, mapping=MAPPING, sheet="Data")
    assert len(read(book, mapping=MAPPING, sheet="Log").shots) == 2


def test_memory_stays_flat_however_long_the_file(tmp_path: Path) -> None:
    def peak(count: int) -> int:
        rows: list[Sequence[Any]] = [("counter", "at", "shot_size_mm", "cushion_mm")]
        rows += [(n, "2026-04-01T06:00:00Z", 80, 6) for n in range(count)]
        path = text_file(tmp_path / "long.csv", rows)
        del rows
        tracemalloc.start()
        read_rows = sum(
            b.received for b in read_table(path, received_ms=RECEIVED_MS, defaults=PRESS, chunk_rows=500)
        )
        high = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert read_rows == count
        return high

    peak(1000)  # first use loads what is loaded once
    assert peak(8000) < 1.5 * peak(2000)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(suffix=st.sampled_from([".xlsx", ".parquet", ".csv"]), at=st.data())
def test_a_damaged_file_gives_rows_or_a_foreseen_error(
    tmp_path: Path, whole_files: dict[str, bytes], suffix: str, at: st.DataObject
) -> None:
    damaged = bytearray(whole_files[suffix])
    for _ in range(at.draw(st.integers(1, 6))):
        damaged[at.draw(st.integers(0, len(damaged) - 1))] = at.draw(st.integers(0, 255))
    path = tmp_path / f"damaged{suffix}"
    path.write_bytes(damaged[: at.draw(st.integers(len(damaged) // 2, len(damaged)))])
    try:
        batches = list(read_table(path, received_ms=RECEIVED_MS, defaults=PRESS, mapping=MAPPING))
    except RingtellError:
        return  # foreseen: the message says so, and nothing else may be raised
    for batch in batches:
        assert batch.received == len(batch.shots) + len(batch.rejected)


@pytest.fixture(scope="module")
def whole_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    columns = {name: [row[i] for row in ROWS[1:]] for i, name in enumerate(HEADER)}
    pq.write_table(pa.table(columns), folder / "log.parquet")
    paths = [workbook(folder / "log.xlsx", ROWS), text_file(folder / "log.csv", ROWS), folder / "log.parquet"]
    return {path.suffix: path.read_bytes() for path in paths}
