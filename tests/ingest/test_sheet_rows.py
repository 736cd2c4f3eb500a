"""Rows of a sheet are those openpyxl reads, cell for cell, whatever the cells hold."""

import datetime as dt
import io
import tracemalloc
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.xml.constants import SHEET_MAIN_NS

from server.errors import InvalidError, TooLargeError
from server.ingest.sheet_rows import CELL_TEXT_MAX, Workbook
from server.ingest.table_sources import open_table

STYLES = ("General", "0.00%", "yyyy-mm-dd hh:mm:ss", "dd/mm/yyyy", "h:mm:ss", "[h]:mm:ss", "#,##0.0")


def both(content: bytes) -> tuple[list[Any], list[Any]]:
    """A sheet's rows by openpyxl and by us."""
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    theirs = told_apart(list(row) for row in book.worksheets[0].iter_rows(values_only=True))
    book.close()
    ours = Workbook(io.BytesIO(content))
    (sheet,) = ours.sheets
    rows = told_apart(ours.rows(sheet, most=400))
    ours.close()
    return rows, theirs


def told_apart(rows: Iterable[list[Any]]) -> list[Any]:
    """With the type beside each value, without empty rows and without empty cells at the end of one."""
    found = []
    for row in rows:
        cells = [(type(cell), cell) for cell in row]
        while cells and cells[-1][1] is None:
            cells.pop()
        if cells:
            found.append(cells)
    return found


def saved(cells: list[list[Any]], styles: list[str], *, epoch_1904: bool = False) -> bytes:
    book = openpyxl.Workbook()
    if epoch_1904:
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    sheet: Any = book.active
    for r, row in enumerate(cells, start=1):
        for c, value in enumerate(row, start=1):
            if value is not None:
                cell = sheet.cell(r, c, value)
                if isinstance(value, int | float) and not isinstance(value, bool):
                    cell.number_format = styles[(r + c) % len(styles)]
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12).filter(
    lambda text: not text.startswith("=")
)
CELLS = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**6), 10**6), st.floats(-1e9, 1e9), st.floats(0, 60_000), TEXT,
    st.datetimes(dt.datetime(1900, 3, 1), dt.datetime(2200, 1, 1)),  # noqa: DTZ001 - as spreadsheets keep them
    st.times(), st.timedeltas(dt.timedelta(0), dt.timedelta(days=90)),
    st.sampled_from(["#DIV/0!", "#N/A", "#VALUE!"]),
)  # fmt: skip


@pytest.mark.filterwarnings("ignore:Cell .* is marked as a date")
@settings(max_examples=60, deadline=None)
@given(
    cells=st.lists(st.lists(CELLS, min_size=1, max_size=6), min_size=1, max_size=6),
    epoch_1904=st.booleans(),
)
def test_cells_are_those_openpyxl_reads(cells: list[list[Any]], epoch_1904: bool) -> None:
    ours, theirs = both(saved(cells, list(STYLES), epoch_1904=epoch_1904))
    assert ours == theirs


SHARED = (
    f'<sst xmlns="{SHEET_MAIN_NS}"><si><t>first</t></si><si><r><t>se</t></r><r><t>cond</t></r></si></sst>'
)
SHARED_TYPE = (
    '<Override PartName="/xl/sharedStrings.xml" ContentType="application/'
    'vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/>'
)


def sheet_of(rows: str, *, dimension: str = "A1:D9", before: str = "") -> bytes:
    """A workbook whose first sheet has these rows, written by hand as other programs write them."""
    book = openpyxl.Workbook()
    sheet: Any = book.active
    for i, code in enumerate(STYLES, start=1):
        sheet.cell(i, 1, 1.5).number_format = code
    out = io.BytesIO()
    book.save(out)
    named = io.BytesIO()
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(named, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            content = old.read(part)
            if part == "xl/worksheets/sheet1.xml":
                content = (
                    f'{before}<x:worksheet xmlns:x="{SHEET_MAIN_NS}"><x:dimension ref="{dimension}"/>'
                    f"<x:sheetData>{rows}</x:sheetData></x:worksheet>"
                ).encode()
            if part == "[Content_Types].xml":
                content = content.replace(b"</Types>", SHARED_TYPE.encode() + b"</Types>")
            new.writestr(part, content)
        new.writestr("xl/sharedStrings.xml", SHARED)
    return named.getvalue()


@pytest.mark.filterwarnings("ignore:Cell .* is marked as a date")
@pytest.mark.parametrize(
    "cell",
    [
        "<x:c/>", "<x:c><x:v/></x:c>", "<x:c><x:v>12</x:v></x:c>", "<x:c><x:v>1.2E-3</x:v></x:c>",
        '<x:c r="C1"><x:v>7</x:v></x:c><x:c><x:v>8</x:v></x:c>', '<x:c t="b"><x:v>0</x:v></x:c>',
        '<x:c t="e"><x:v>#DIV/0!</x:v></x:c>', '<x:c t="s"><x:v>0</x:v></x:c><x:c t="s"><x:v>1</x:v></x:c>',
        '<x:c t="str"><x:f>A1&amp;"x"</x:f><x:v>1x</x:v></x:c>', "<x:c><x:f>1+1</x:f><x:v>2</x:v></x:c>",
        '<x:c><x:f>1+1</x:f></x:c>', '<x:c t="d"><x:v>2026-04-01T06:00:00</x:v></x:c>',
        '<x:c t="inlineStr"><x:is><x:t> a &lt; b </x:t></x:is></x:c>', '<x:c t="inlineStr"><x:is/></x:c>',
        '<x:c t="inlineStr"/>', '<x:c t="inlineStr"><x:is><x:t/></x:is></x:c>',
        '<x:c t="inlineStr"><x:is><x:r><x:rPr><x:b/></x:rPr><x:t>bo</x:t></x:r>'
        "<x:r><x:t>ld</x:t></x:r></x:is></x:c>",
        '<x:c t="inlineStr"><x:is><x:t>漢</x:t><x:rPh sb="0" eb="1"><x:t>kan</x:t></x:rPh></x:is></x:c>',
        '<x:c t="inlineStr"><x:is><x:t><![CDATA[</x:c> & more]]></x:t></x:is></x:c>',
        *(f'<x:c s="{style}"><x:v>{value}</x:v></x:c>' for style in range(8)
          for value in ("0", "0.25", "59", "60", "45658.00023148148", "-3", "1e12")),
    ],
)  # fmt: skip
def test_cells_as_other_programs_write_them(cell: str) -> None:
    ours, theirs = both(sheet_of(f'<x:row r="1">{cell}</x:row><x:row>{cell}</x:row>', dimension="A1:D2"))
    assert ours == theirs


def opened(path: Path, content: bytes) -> list[list[Any]]:
    path.write_bytes(content)
    return [list(row) for row in open_table(path, wanted=lambda name: name == "counter").rows]


def cell_of(text: str) -> str:
    return f'<x:c t="inlineStr"><x:is><x:t>{escape(text)}</x:t></x:is></x:c>'


HEADER = f"<x:row>{cell_of('counter')}{cell_of('lot')}</x:row>"


def test_rows_beyond_the_end_a_sheet_claims_are_read(tmp_path: Path) -> None:
    rows = "".join(f"<x:row><x:c><x:v>{n}</x:v></x:c>{cell_of(f'L{n}')}</x:row>" for n in range(5))
    found = opened(tmp_path / "t.xlsx", sheet_of(HEADER + rows, dimension="A1"))
    assert found == [[n, f"L{n}"] for n in range(5)]


def test_the_end_a_sheet_claims_is_told_but_for_one_row(tmp_path: Path) -> None:
    for dimension, total in (("A1:B7", 7), ("A1", None), ("nonsense", None)):
        (tmp_path / "t.xlsx").write_bytes(sheet_of(HEADER, dimension=dimension))
        assert open_table(tmp_path / "t.xlsx", wanted=lambda name: name == "counter").total == total


def test_rows_of_uneven_length_keep_their_columns(tmp_path: Path) -> None:
    rows = '<x:row><x:c r="A2"><x:v>1</x:v></x:c></x:row><x:row r="9"><x:c r="B9"><x:v>2</x:v></x:c></x:row>'
    assert opened(tmp_path / "t.xlsx", sheet_of(HEADER + rows)) == [[1, None], [None, 2]]


def test_texts_that_grow_out_of_nothing_are_refused(tmp_path: Path) -> None:
    laughs = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>'
    with pytest.raises(InvalidError):
        opened(tmp_path / "t.xlsx", sheet_of(HEADER.replace("lot", "&b;"), before=laughs))
    long = sheet_of(HEADER + f"<x:row>{cell_of('x' * (CELL_TEXT_MAX + 1))}</x:row>")
    with pytest.raises(TooLargeError, match="a cell of row 2 holds more than"):
        opened(tmp_path / "t.xlsx", long)


def test_memory_stays_flat_however_long_the_sheet(tmp_path: Path) -> None:
    def peak(count: int) -> int:
        rows = "".join(f"<x:row><x:c><x:v>{n}</x:v></x:c>{cell_of('L')}</x:row>" for n in range(count))
        path = tmp_path / "t.xlsx"
        path.write_bytes(sheet_of(HEADER + rows))
        del rows
        tracemalloc.start()
        assert sum(1 for _ in open_table(path, wanted=lambda name: name == "counter").rows) == count
        high = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return high

    peak(100)  # first use loads what is loaded once
    assert peak(20_000) < 1.3 * peak(4_000)
