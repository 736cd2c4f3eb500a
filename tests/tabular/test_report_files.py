"""EUROMAP 63 reports: units from the GETID file, wrapped headers, commas in brackets."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tabular.report_files import (
    ReportLines,
    header_tokens,
    is_getid,
    read_columns,
    read_getid,
    records_of,
    split_record,
    time_of,
    values_of,
)

GETID = """DATE,A,8,0,0,"","date";
ActCntCyc,N,8,0,0,"","cycles";
ActStrCsh[1],N,8,2,0,"in","cushion stroke";
ActStrPlst[1],N,8,2,0,"mm","shot, stroke";
ActTimFill[1],N,6,2,0,"ms","fill time";
ActPrsMachSpecMax,N,6,1,0,"psi","peak";
ActTmpBrlZn[1,1],N,5,1,0,"F","zone";
ActXyzDcmpStr[1],N,6,2,0,"mm","suck-back";
@Own,N,6,2,0,"furlong","own";
"""
HEADER = "DATE,TIME,ActCntCyc,ActStrCsh[1],ActStrPlst[1],ActTimFill[1],\n"
HEADER += "ActPrsMachSpecMax,ActTmpBrlZn[1,1],ActTmpBrlZn[1,3],SetDescMld,@Own"
RECORD = '20260401,06:00:00,120010,0.25,80.50,1250,14503.77,482.0,500.0,"M-113, left",7'


def test_a_record_is_read_in_the_units_of_the_getid_file() -> None:
    (record,) = records_of([*HEADER.split("\n"), RECORD])
    fields = values_of(record, read_columns(record.names, read_getid(GETID)))
    assert time_of(record) == "20260401 06:00:00"
    assert fields["counter"] == 120010
    assert fields["mold"] == "M-113, left"
    assert fields["cushion_mm"] == pytest.approx(6.35)
    assert fields["shot_size_mm"] == 80.5
    assert fields["fill_time_s"] == pytest.approx(1.25)
    assert fields["peak_pressure_bar"] == pytest.approx(1000.0, rel=1e-5)
    assert fields["zone_temps_c"] == [pytest.approx(250.0), None, pytest.approx(260.0)]


def test_the_decompression_token_is_taken_where_the_getid_file_says_it_is_a_length() -> None:
    names = ["DATE", "ActXyzDcmpStr[1]", "ActOtherDcmp[1]"]
    assert [c.field for c in read_columns(names, read_getid(GETID))] == ["decompression_mm"]
    assert read_columns(names, {}) == []


def test_hydraulic_and_specific_pressure_are_never_mixed() -> None:
    both = ["ActPrsMachHydMax", "ActPrsXfrHyd[1]", "ActPrsMachSpecMax"]
    assert [c.token for c in read_columns(both, {})] == ["ActPrsMachSpecMax"]
    assert {c.field for c in read_columns(both[:2], {})} == {"peak_pressure_bar", "transfer_pressure_bar"}


def test_another_injection_unit_is_another_column() -> None:
    names = ["ActStrCsh[1]", "ActStrCsh[2]"]
    assert [c.index for c in read_columns(names, {}, injection_unit=2)] == [1]


NAMES = ["DATE", "TIME", "ActCntCyc", "ActTmpBrlZn[1,1]", "ActTmpBrlZn[1,2]", "ActStrCsh[1]", "ActVolCsh[1]"]


@given(st.lists(st.integers(1, len(",".join(NAMES)) - 1), max_size=4, unique=True))
def test_a_header_wrapped_anywhere_gives_the_same_names(breaks: list[int]) -> None:
    text = ",".join(NAMES)
    edges = [0, *sorted(breaks), len(text)]
    lines = [text[a:b] for a, b in itertools.pairwise(edges)]
    assert header_tokens(lines, len(NAMES)) == NAMES


def test_a_header_wrapped_between_names_without_a_comma_is_settled_by_the_first_record() -> None:
    assert header_tokens(["DATE,TIME", "ActCntCyc"], 3) == ["DATE", "TIME", "ActCntCyc"]
    assert header_tokens(["DATE,TIME,ActCnt", "Cyc"], 3) == ["DATE", "TIME", "ActCntCyc"]


def test_a_bad_line_right_behind_the_header_is_a_record_and_no_part_of_it() -> None:
    bad = "off,off,120009,,,,,,,," + '""'
    records = list(records_of([*HEADER.split("\n"), bad, RECORD]))
    assert [record.raw for record in records] == [bad, RECORD]
    assert records[0].names == records[1].names == tuple(split_record(HEADER.replace("\n", "")))


def test_a_second_header_begins_a_new_report() -> None:
    lines = ["DATE,ActCntCyc", "20260401,1", "", "DATE,COUNT,ActCntCyc", "20260401,1,2", "\x1a"]
    assert [len(record.names) for record in records_of(lines)] == [2, 3]


def test_only_the_header_has_to_be_kept_to_go_on_later() -> None:
    first = ReportLines()
    assert [first.take(line) for line in HEADER.split("\n")] == [None, None]
    one = first.take(RECORD)
    again = ReportLines(first.header_lines, line=first.line).take(RECORD)
    assert one is not None
    assert again is not None
    assert (one.names, one.line + 1) == (again.names, again.line)


def test_a_getid_file_is_told_from_a_report() -> None:
    assert is_getid(GETID)
    assert not is_getid(HEADER)
    assert read_getid(GETID)["@Own"].unit is None


@given(st.lists(st.text(max_size=60), max_size=12), st.text(max_size=200))
def test_any_text_gives_records_or_none(lines: list[str], getid: str) -> None:
    tokens = read_getid(getid)
    for record in records_of(lines):
        values_of(record, read_columns(record.names, tokens))
        time_of(record)


@given(st.text(alphabet='a1,"[] ', max_size=40))
def test_splitting_loses_no_character_but_edge_spaces(line: str) -> None:
    assert ",".join(split_record(line)).replace(" ", "") == line.replace(" ", "")
