"""Bodies as a whole: forms, units, compression, bounds."""

import gzip
import json
import zlib
from typing import Any

import pytest

from server.errors import BadBodyError, TooLargeError, UnknownMediaError
from server.ingest.wire import shot_line
from tests.ingest.bodies import CSV, JSON, NDJSON, read, shot, value

TABLE = "press,mold,counter,at,shot_size_mm,cushion_mm\n"
LINE = "P07,M-1,{},2026-04-01T06:00:00Z,80.0,6.02\n"


def test_good_rows_are_taken_beside_bad_ones_which_keep_their_text() -> None:
    batch = read({"press": "P07", "shots": [shot(), shot(cushion_mm="thick"), 5, shot(counter=8)]})
    assert batch.received == 4
    assert [s.row for s in batch.shots] == [0, 3]
    assert [(r.row, r.code) for r in batch.rejected] == [(1, "not_a_number"), (2, "not_an_object")]
    assert json.loads(batch.rejected[0].raw)["cushion_mm"] == "thick"
    assert batch.rejected[0].press == "P07"


def test_a_batch_of_one_context_has_one_label_object() -> None:
    batch = read({"press": "P07", "mold": "M-1", "shots": [shot(counter=n) for n in range(3)]})
    assert len({id(s.label) for s in batch.shots}) == 1
    mixed = read({"mold": "M-1", "shots": [shot(counter=n, press=f"P{n % 2}") for n in range(6)]})
    assert len({id(s.label) for s in mixed.shots}) == 2
    assert [s.label.press for s in mixed.shots] == ["P0", "P1"] * 3


def test_what_a_shot_names_goes_before_the_batch_and_that_before_the_query() -> None:
    body = {"mold": "M-2", "lot": "L2", "shots": [shot(), shot(mold="M-3", lot="L3", press="P08")]}
    first, second = read(body, query={"press": "P07", "mold": "M-1", "material": "PP-DEMO"}).shots
    assert first.label[:3] == ("P07", "M-2", "PP-DEMO")
    assert second.label[:3] == ("P08", "M-3", "PP-DEMO")
    assert (value(first, "lot"), value(second, "lot")) == ("L2", "L3")


def test_a_row_without_a_press_says_how_to_name_it() -> None:
    (apart,) = read({"shots": [shot()]}).rejected
    assert (apart.field, apart.code, apart.press) == ("press", "missing", None)
    assert "?press=" in apart.message


@pytest.mark.parametrize("content_type", [JSON, CSV])
def test_inches_and_psi_are_kept_as_millimetres_and_bar(content_type: str) -> None:
    row = {"counter": 1, "at": "2026-04-01T05:00:00+02:00", "shot_size_mm": 3.15, "cushion_mm": 0.236}
    row |= {"peak_pressure_bar": 14504, "injection_speed_mm_s": 2, "fill_time_s": 1.5}
    if content_type == JSON:
        batch = read({"press": "P", "units": {"length": "in", "pressure": "psi"}, "shots": [row]})
    else:
        table = ",".join(row) + "\n" + ",".join(map(str, row.values()))
        batch = read(table, CSV, query={"press": "P", "length": "in", "pressure": "psi"})
    kept = batch.shots[0]
    assert value(kept, "cushion_mm") == pytest.approx(5.9944, abs=1e-12)
    assert value(kept, "peak_pressure_bar") == pytest.approx(1000.0156, abs=1e-4)
    assert value(kept, "injection_speed_mm_s") == pytest.approx(50.8, abs=1e-12)
    assert value(kept, "fill_time_s") == 1.5


def test_temperatures_convert_with_their_offset_also_in_lists() -> None:
    row = shot(melt_temp_c=392, zone_temps_c=[32, None, 212])
    kept = read({"press": "P", "units": {"temperature": "degF"}, "shots": [row]}).shots[0]
    assert value(kept, "melt_temp_c") == pytest.approx(200.0, abs=1e-12)
    low, none, high = json.loads(value(kept, "zone_temps_c"))
    assert (low, none, high) == (pytest.approx(0.0, abs=1e-12), None, pytest.approx(100.0, abs=1e-12))


def test_curves_follow_the_units() -> None:
    row = shot(curve={"t_s": [0, 1], "position_mm": [1, 2], "pressure_bar": [10, 20]})
    units = {"length": "cm", "pressure": "MPa"}
    kept = json.loads(value(read({"press": "P", "units": units, "shots": [row]}).shots[0], "curve"))
    assert kept == {"t_s": [0, 1], "position_mm": [10, 20], "pressure_bar": [100, 200]}


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_tables_with_any_delimiter_line_end_and_byte_order_mark(delimiter: str, end: str, mark: str) -> None:
    table = mark + (TABLE + LINE.format(1) + LINE.format(2)).replace(",", delimiter).replace("\n", end)
    batch = read(table, CSV)
    assert [s.counter for s in batch.shots] == [1, 2]
    assert batch.shots[0].label[:2] == ("P07", "M-1")


def test_a_table_may_quote_leave_out_and_bring_its_own_numbers() -> None:
    table = 'press,counter,at,shot_size_mm,cushion_mm,lot,"own",note,curve\n'
    table += 'P07,1.0,2026-04-01T06:00:00Z, 80 ,6,"a,b",5,,"{""t_s"":[0,1]}"\n'
    table += "P07,2,2026-04-01T06:00:20Z,80,6\n"
    table += "\n"
    table += "P07,3,2026-04-01T06:00:40Z,80,6,,,text,\n"
    table += "P07,4,2026-04-01T06:00:40Z,80,6,,,,,,7\n"
    batch = read(table, CSV)
    assert batch.received == 4
    first = batch.shots[0]
    assert (value(first, "lot"), value(first, "extra")) == ("a,b", '{"own":5.0}')
    assert value(first, "curve") == '{"t_s":[0.0,1.0]}'
    assert [(r.row, r.field, r.code) for r in batch.rejected] == [
        (2, "note", "unknown_field"),
        (3, "", "bad_line"),
    ]


@pytest.mark.parametrize("cell", ["nan", "inf", "1_0", "٣", "6,02 mm", "0x10"])
def test_cells_only_python_takes_for_numbers_are_refused(cell: str) -> None:
    batch = read(TABLE.replace(",", ";") + f"P07;M-1;1;2026-04-01T06:00:00Z;80;{cell}\n", CSV)
    assert [(r.field, r.code) for r in batch.rejected] == [("cushion_mm", "not_a_number")]


def test_latin_tables_say_so_in_their_content_type() -> None:
    table = (TABLE + LINE.format(1).replace("P07", "Süd 7")).encode("latin-1")
    assert read(table, "text/csv; charset=ISO-8859-1").shots[0].label.press == "Süd 7"
    with pytest.raises(BadBodyError, match="UTF-8"):
        read(table, CSV)


def test_lines_are_shots_and_broken_lines_are_kept_apart() -> None:
    lines = [json.dumps(shot(press="P07", counter=n)) for n in range(3)]
    batch = read(f"{lines[0]}\r\n\n{{broken\n{lines[1]} {lines[2]}\n{lines[2]}", NDJSON)
    assert [s.counter for s in batch.shots] == [0, 2]
    assert [(r.row, r.code, r.raw[:7]) for r in batch.rejected] == [
        (1, "bad_json", "{broken"),
        (2, "bad_json", lines[1][:7]),
    ]


def test_a_not_a_number_in_json_costs_its_own_row_only() -> None:
    body = json.dumps({"press": "P07", "shots": [shot(fill_time_s=float("nan")), shot()]})
    assert "NaN" in body
    batch = read(body)
    assert [(r.row, r.field, r.code) for r in batch.rejected] == [(0, "fill_time_s", "not_finite")]
    assert [s.row for s in batch.shots] == [1]


def test_no_shots_are_no_fault() -> None:
    assert read({"press": "P07", "shots": []}).received == 0
    assert read("", NDJSON).received == 0
    assert read(TABLE, CSV).received == 0


@pytest.mark.parametrize(
    ("body", "content_type", "query", "field"),
    [
        ("{", JSON, {}, None),
        ("", JSON, {}, None),
        ("[]", JSON, {}, None),
        ("{}", JSON, {}, "shots"),
        ('{"shots":null}', JSON, {}, "shots"),
        ('{"shots":{}}', JSON, {}, "shots"),
        ('{"shots":[],"unit":{}}', JSON, {}, "unit"),
        ('{"shots":[],"units":["mm"]}', JSON, {}, "units"),
        ('{"shots":[],"units":{"length":"furlong"}}', JSON, {}, "units"),
        ('{"shots":[],"units":{"width":"mm"}}', JSON, {}, "units"),
        ('{"shots":[],"press":"a/b"}', JSON, {}, "press"),
        ('{"shots":[],"setpoints":[]}', JSON, {}, "setpoints"),
        ("[" * 20_000, JSON, {}, None),
        ('{"shots":[],"lot":%s}' % ("9" * 5000), JSON, {}, "lot"),
        ("", NDJSON, {"lenght": "in"}, "lenght"),
        ("", NDJSON, {"length": "inch"}, "units"),
        ("", CSV, {}, None),
        ("a,b\n1,2\n", CSV, {}, None),
        ("press,press\n", CSV, {}, None),
        ("press,,at\n", CSV, {}, None),
        ("press" + "," * 70_000, CSV, {}, None),
        (b"\xff\xfe{}", JSON, {}, None),
    ],
)
def test_a_body_that_cannot_be_read_says_what_is_wrong(
    body: Any, content_type: str, query: dict[str, str], field: str | None
) -> None:
    with pytest.raises(BadBodyError) as caught:
        read(body, content_type, query=query)
    assert caught.value.status == 422
    assert caught.value.field == field
    assert len(caught.value.message) > 20


@pytest.mark.parametrize(
    ("content_type", "encoding"),
    [
        ("image/png", None),
        ("", None),
        ("application/json; charset=utf-16", None),
        (JSON, "br"),
        (JSON, "deflate"),
        (JSON, "gzip, gzip"),
    ],
)
def test_a_form_not_taken_is_415(content_type: str, encoding: str | None) -> None:
    with pytest.raises(UnknownMediaError):
        read({"shots": []}, content_type, encoding=encoding)


def test_content_types_are_read_with_parameters_and_in_any_case() -> None:
    assert read({"shots": []}, 'Application/JSON; charset="UTF-8"').received == 0


def test_gzip_is_expanded_up_to_the_bound_only() -> None:
    body = json.dumps({"press": "P07", "shots": [shot()]}).encode()
    packed = gzip.compress(body)
    assert len(read(packed, encoding="gzip").shots) == 1
    assert len(read(packed, encoding="gzip", max_expanded_bytes=len(body)).shots) == 1
    with pytest.raises(TooLargeError):
        read(packed, encoding="GZIP", max_expanded_bytes=len(body) - 1)
    bomb = gzip.compress(bytes(1 << 26))
    with pytest.raises(TooLargeError):
        read(bomb, encoding="gzip")


@pytest.mark.parametrize("cut", [1, 9, 10, 15, -9, -4, -1])
def test_a_gzip_stream_cut_short_is_422(cut: int) -> None:
    packed = gzip.compress(json.dumps({"press": "P07", "shots": [shot()]}).encode())
    with pytest.raises(BadBodyError):
        read(packed[:cut], encoding="gzip")
    with pytest.raises(BadBodyError):
        read(zlib.compress(b"{}"), encoding="gzip")


@pytest.mark.parametrize("good", [True, False])
def test_too_large_is_413_in_bytes_and_in_rows(good: bool) -> None:
    rows = [shot(counter=n, cushion_mm=6.0 if good else "x") for n in range(4)]
    lines = "\n".join(json.dumps(r) for r in rows)
    table = TABLE + "".join(LINE.format(n if good else "x") for n in range(4))
    for body, content_type in (({"press": "P", "shots": rows}, JSON), (lines, NDJSON), (table, CSV)):
        assert read(body, content_type, max_rows=4).received == 4
        with pytest.raises(TooLargeError):
            read(body, content_type, max_rows=3)
    with pytest.raises(TooLargeError):
        read(lines, NDJSON, max_bytes=len(lines) - 1)


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        ('{"shots":[' + "0," * 2000 + "0]}", JSON),
        ('{"shots":[{"counter":1,"deep":[' + "{}," * 60_000 + "0]}]}", JSON),
        ("\n" * 4000, NDJSON),
        (TABLE + "\n" * 4000, CSV),
        (TABLE + "," * (1 + (1 << 20)), CSV),
    ],
)
def test_a_body_that_would_only_fill_memory_is_413(body: str, content_type: str) -> None:
    with pytest.raises(TooLargeError):
        read(body, content_type, max_bytes=1 << 21)


def test_a_shot_written_as_a_line_reads_as_itself() -> None:
    first = read(
        {
            "press": "Q 01 ä+b",
            "mold": "M-1",
            "setup": "S2",
            "lot": "L1",
            "setpoints": {"hold_bar": 520, "profile": [1, 2]},
            "units": {"length": "in"},
            "shots": [
                shot(shot_size_mm=3.1, cushion_mm=0.2, own=4, curve={"t_s": [0, 1]}, zone_temps_c=[1, None])
            ],
        }
    ).shots[0]
    assert read(shot_line(first), NDJSON).shots == [first]
