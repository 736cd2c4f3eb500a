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
from server.ingest.parquet_pages import BrokenPageError, _Compact, largest_group
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
    pages = largest_group(path, meta)
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
    reader = _Compact(data)
    try:
        found = reader.numbers()
    except BrokenPageError:
        return
    assert reader.at <= len(data)
    assert all(isinstance(value, int) for value in found.values())
