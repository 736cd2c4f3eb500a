"""What a Parquet file unpacks to is what its pages say, whatever its footer says."""

import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import InvalidError, TooLargeError
from server.ingest.compact_structs import read_struct
from server.ingest.parquet_pages import largest_group
from server.ingest.table_sources import ROW_GROUP_MAX, open_table


def written(rows: int, compression: str, *, dictionary: bool) -> bytes:
    rng = np.random.default_rng(2)
    table = pa.table(
        {
            "counter": np.arange(rows),
            "lot": [f"L{n // 100}" for n in range(rows)],
            "cushion_mm": rng.normal(6, 0.1, rows),
            "quality": [None if n % 3 else "good" for n in range(rows)],
        }
    )
    out = io.BytesIO()
    pq.write_table(table, out, compression=compression, use_dictionary=dictionary, row_group_size=3_000)
    return out.getvalue()


@pytest.mark.parametrize("compression", ["none", "snappy", "gzip", "zstd"])
@pytest.mark.parametrize("dictionary", [True, False])
def test_headers_say_what_an_honest_footer_says(tmp_path: Path, compression: str, dictionary: bool) -> None:
    path = tmp_path / "week.parquet"
    path.write_bytes(written(7_000, compression, dictionary=dictionary))
    meta = pq.read_metadata(path)
    footer = max(meta.row_group(i).total_byte_size for i in range(meta.num_row_groups))
    # The footer counts the headers themselves as well: some dozens of bytes a page.
    pages = largest_group(path)
    assert 0.9 * footer < pages <= footer


def varint(value: int) -> bytes:
    out = b""
    while True:
        byte, value = value & 127, value >> 7
        out += bytes([byte | (128 if value else 0)])
        if not value:
            return out


def test_a_page_that_claims_more_than_a_log_holds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "lie.parquet"
    out = io.BytesIO()
    pq.write_table(pa.table({"counter": np.zeros(1_000)}), out, compression="snappy", use_dictionary=False)
    raw = out.getvalue()
    path.write_bytes(raw)
    begin = pq.read_metadata(path).row_group(0).column(0).data_page_offset
    # Field 1 (type), then field 2: the size unpacked, as a zigzag number.
    assert raw[begin] == raw[begin + 2] == 0x15
    end = begin + 3
    while raw[end] & 128:
        end += 1
    path.write_bytes(raw[: begin + 3] + varint(2 * (ROW_GROUP_MAX + 1)) + raw[end + 1 :])
    assert pq.read_metadata(path).row_group(0).total_byte_size < 10_000
    with pytest.raises(TooLargeError, match="row group of"):
        open_table(path, wanted=lambda name: name == "counter")


def test_a_header_that_is_none_is_told(tmp_path: Path) -> None:
    path = tmp_path / "broken.parquet"
    raw = bytearray(written(100, "snappy", dictionary=False))
    path.write_bytes(raw)
    begin = pq.read_metadata(path).row_group(0).column(0).data_page_offset
    raw[begin : begin + 8] = b"\xff" * 8
    path.write_bytes(raw)
    with pytest.raises(InvalidError, match="is no Parquet file"):
        open_table(path, wanted=lambda name: name == "counter")


@given(st.binary(max_size=200))
def test_any_bytes_are_numbers_or_broken(data: bytes) -> None:
    try:
        _, length = read_struct(data)
    except (IndexError, ValueError):
        return
    assert length <= len(data)


def test_one_wrong_byte_in_a_footer_is_refused_and_ends_no_process(tmp_path: Path) -> None:
    # Found by changing single bytes: asked for the column, the library ended the whole server.
    path = tmp_path / "bent.parquet"
    pq.write_table(pa.table({"counter": [1, 2, 3], "lot": ["a", "b", "a"]}), path)
    data = path.read_bytes()
    chance = np.random.default_rng(3)
    refused = 0
    for place in (202, 202, 216, *chance.integers(4, len(data), 60)):
        path.write_bytes(data[:place] + bytes([(data[place] + 7) % 256]) + data[place + 1 :])
        try:
            list(open_table(path, wanted=lambda _name: True).rows)
        except (InvalidError, TooLargeError):
            refused += 1
    for place, byte in ((202, 41), (216, 22), (202, 21)):
        path.write_bytes(data[:place] + bytes([byte]) + data[place + 1 :])
        with pytest.raises(InvalidError):
            list(open_table(path, wanted=lambda _name: True).rows)
    assert refused > 20


def test_a_size_said_again_in_another_type_does_not_hide_the_first() -> None:
    # Field 2 as an i32 of 5, then field 2 again as an i64 of 1, which the reader of the file passes over.
    with pytest.raises(ValueError, match="said twice"):
        read_struct(bytes((0x25, 10, 0x06, 4, 2, 0)))


def test_rows_that_cost_nothing_to_write_are_no_log(tmp_path: Path) -> None:
    path = tmp_path / "nothing.parquet"
    pq.write_table(pa.table({"counter": pa.nulls(3_000_000, pa.int64())}), path, row_group_size=3_000_000)
    with pytest.raises(TooLargeError, match="3,000,000 rows in"):
        open_table(path, wanted=lambda _name: True)
