"""Whatever arrives: a foreseen error or every row accounted for; the two paths of reading agree."""

import gzip
import json
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import example, given, settings
from hypothesis import strategies as st

from server.contract import QUALITIES, QUANTITY, SHOT_COLUMNS, SHOT_NUMBERS, UNITS
from server.errors import RingtellError
from server.ingest import csv_body, json_body
from server.ingest.bounds import convert, read_units
from server.ingest.json_body import Around
from server.ingest.rows import check_rows
from server.ingest.table_cells import Reading
from server.ingest.table_columns import read_chunk_fast
from server.ingest.table_sources import Source
from server.ingest.tables import row_of_cells
from server.ingest.wire import ReadBatch, shot_line
from server.tabular.local_time import LocalClock
from tests.ingest.bodies import CSV, JSON, NDJSON, RECEIVED_MS, read, shot, value

AROUND = Around({"press": "P07"}, units={}, received_ms=RECEIVED_MS, max_rows=1000)

numbers = st.one_of(
    st.none(),
    st.floats(-30, 6000).map(lambda v: round(v, 2)),
    st.floats(),
    st.integers(-(10**25), 10**25),
    st.sampled_from([0, -0.0, 655.3, 655.36, 1e308, 80]),
)
anything = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=8,
)
times = st.one_of(
    st.datetimes().map(lambda t: t.isoformat() + "Z"),
    st.sampled_from(
        ["2026-04-01T06:00:00.5+02:00", "2027-01-01T00:00:00Z", "2016-12-31T23:59:60Z", "2026-04-01T06:00:00"]
    ),
    st.text(max_size=30),
)
good_times = st.integers(0, 10**6).map(
    lambda s: f"2026-04-{1 + s // 86400:02d}T{s // 3600 % 24:02d}:{s // 60 % 60:02d}:{s % 60:02d}Z"
)
good_numbers = st.floats(0, 49).map(lambda v: round(v, 3))
codes = st.text(st.characters(codec="utf-8"), max_size=6)


def sometimes(field: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.one_of(st.none(), field)


@st.composite
def good_shots(draw: st.DrawFn) -> dict[str, Any]:
    """Shots with nothing wrong in them, with any of the optional fields."""
    fields = shot(
        counter=draw(st.integers(0, (1 << 63) - 1)),
        at=draw(good_times),
        shot_size_mm=draw(good_numbers),
        cushion_mm=draw(good_numbers),
    )
    for name in draw(st.lists(st.sampled_from(SHOT_NUMBERS), max_size=6)):
        fields[name] = draw(good_numbers)
    optional = {
        "press": st.sampled_from(["P1", "P2", "Süd 3"]),
        "mold": st.sampled_from(["M-1", "e\u0301"]),
        "setup": st.sampled_from(["S1", " S2 "]),
        "setpoints": st.dictionaries(st.sampled_from(["a", "b"]), st.integers(0, 3)),
        "quality": st.sampled_from(QUALITIES),
        "lot": st.sampled_from(["", "L1", "a\u0308"]),
        "box": st.text(st.characters(categories=["L", "N", "P"]), max_size=5),
        "extra": st.dictionaries(st.sampled_from(["x", "y"]), good_numbers),
        "zone_temps_c": st.lists(sometimes(good_numbers), max_size=3),
    }
    for name, strategy in optional.items():
        if draw(st.booleans()):
            fields[name] = draw(strategy)
    return fields


@st.composite
def odd_shots(draw: st.DrawFn) -> Any:
    """A good shot with up to three fields replaced by something odd, or no shot at all."""
    if draw(st.integers(0, 15)) == 0:
        return draw(anything)
    fields = draw(good_shots())
    for name in draw(
        st.lists(st.sampled_from(["counter", "at", "press", "mold", *SHOT_COLUMNS, "own"]), max_size=3)
    ):
        fields[name] = draw(times if name == "at" else numbers if name in SHOT_NUMBERS else anything)
    return fields


def accounted(batch: ReadBatch) -> None:
    """Each row is stored or kept apart, once, with a reason a person can read."""
    assert sorted([s.row for s in batch.shots] + [r.row for r in batch.rejected]) == list(
        range(batch.received)
    )
    for apart in batch.rejected:
        assert apart.code
        assert apart.message
        for text in (apart.field, apart.message, apart.raw, apart.press or ""):
            text.encode()
            assert "\x00" not in text
    for taken in batch.shots:
        assert len(taken.values) == len(SHOT_COLUMNS)
        assert all(v is None or isinstance(v, float) for v in taken.values[: len(SHOT_NUMBERS)])
        json.loads(shot_line(taken))


@settings(max_examples=120, deadline=None)
@given(
    body=st.one_of(st.binary(max_size=200), anything.map(lambda a: json.dumps(a).encode())),
    content_type=st.sampled_from(
        [JSON, NDJSON, CSV, "text/csv; charset=latin-1", "text/csv; charset=cp1252"]
    ),
    packed=st.sampled_from([None, "gzip", "cut"]),
)
@example(body=b'{"shots":[{"counter":"\xff"}]}', content_type=JSON, packed=None)
@example(body=b'{"shots":[{"press":"\\ud800"}]}', content_type=JSON, packed=None)
@example(body=b'press,at\n"\x00,1', content_type=CSV, packed=None)
@example(body=b"press,at\r1,2\r", content_type=CSV, packed=None)
def test_any_bytes_give_a_foreseen_error_or_all_rows(
    body: bytes, content_type: str, packed: str | None
) -> None:
    if packed is not None:
        body = gzip.compress(body)[: None if packed == "gzip" else -3]
    try:
        batch = read(body, content_type, encoding="gzip" if packed else None)
    except RingtellError:
        return
    accounted(batch)


@settings(max_examples=120, deadline=None)
@given(rows=st.lists(odd_shots(), max_size=5), head=st.sampled_from(["P07", None]))
def test_odd_rows_are_all_accounted_for_in_every_form(rows: list[Any], head: str | None) -> None:
    whole = read({"press": head, "shots": rows})
    assert whole.received == len(rows)
    accounted(whole)
    lines = "\n".join(json.dumps(row) for row in rows)
    by_line = read(lines, NDJSON, query={"press": head} if head else {})
    accounted(by_line)
    assert by_line.shots == whole.shots
    assert [(r.row, r.code) for r in by_line.rejected if r.code != "bad_json"] == [
        (r.row, r.code) for r in whole.rejected
    ]


@settings(max_examples=120, deadline=None)
@given(rows=st.lists(odd_shots(), min_size=1, max_size=4))
def test_the_fast_path_takes_nothing_the_careful_one_would_not(rows: list[Any]) -> None:
    body = json.dumps({"press": "P07", "lot": "L0", "shots": rows}).encode()
    fast = json_body.read_json_fast(body, AROUND)
    careful = json_body.read_json_carefully(body, AROUND)
    assert fast is None or fast == careful
    loose = json_body.read_json_loosely(body, AROUND)
    assert loose is None or loose == careful
    lines = "\n".join(json.dumps(row) for row in rows).encode()
    fast = json_body.read_ndjson_fast(lines, AROUND)
    assert fast is None or fast == json_body.read_ndjson_carefully(lines, AROUND)


@settings(max_examples=100, deadline=None)
@given(
    rows=st.lists(good_shots(), min_size=1, max_size=4),
    own=st.lists(sometimes(st.integers() | good_numbers), min_size=4),
)
def test_numbers_of_the_senders_own_take_a_fast_path_too(rows: list[Any], own: list[Any]) -> None:
    for row, number in zip(rows, own, strict=False):
        row["own"] = number
    body = json.dumps({"press": "P07", "shots": rows}).encode()
    careful = json_body.read_json_carefully(body, AROUND)
    assert not careful.rejected
    assert json_body.read_json_fast(body, AROUND) == careful


@settings(max_examples=100, deadline=None)
@given(rows=st.lists(good_shots(), min_size=1, max_size=4))
def test_good_rows_take_the_fast_path_and_come_out_the_same(rows: list[Any]) -> None:
    around = Around({}, units={"length": "cm", "temperature": "K"}, received_ms=RECEIVED_MS, max_rows=9)
    body = json.dumps(
        {"press": "P0", "mold": "M-0", "setpoints": {"c": 1}, "lot": "L0", "shots": rows}
    ).encode()
    careful = json_body.read_json_carefully(body, around)
    assert not careful.rejected
    assert json_body.read_json_fast(body, around) == careful
    assert json_body.read_json_loosely(body, around) == careful


cells = st.one_of(
    st.sampled_from(
        ["", " ", "80", "6.02", " 7 ", "1e2", "nan", "1_0", "-0", "x", "655.3", "12.0", '"6"', "٣"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters=",\n\r"), max_size=5),
)


@settings(max_examples=100, deadline=None)
@given(
    names=st.lists(
        st.sampled_from(
            ["shot_size_mm", "cushion_mm", "fill_time_s", "press", "lot", "quality", "extra", "own"]
        ),
        unique=True,
    ),
    rows=st.lists(st.lists(cells, max_size=9), max_size=4),
    end=st.sampled_from(["\n", "\r\n"]),
    number=st.sampled_from(["1", "1", "1", "", "-1", "1.0", "1_0", "x"]),
    at=st.sampled_from(
        ["2026-04-01T06:00:00Z", "2026-04-01T06:00:00Z", "", " ", "x", "2030-04-01T06:00:00Z"]
    ),
)
def test_both_paths_read_the_same_from_a_table(
    names: list[str], rows: list[list[str]], end: str, number: str, at: str
) -> None:
    lines = [
        ["counter", "at", *names],
        *([number, at, *row] for row in rows),
    ]
    text = end.join(",".join(line) for line in lines)
    fast = csv_body.read_csv_fast(text, AROUND)
    careful = csv_body.read_csv_carefully(text, AROUND)
    accounted(careful)
    assert fast is None or fast == careful


@settings(max_examples=100, deadline=None)
@given(rows=st.lists(good_shots(), min_size=1, max_size=4))
def test_a_table_gives_the_same_shots_as_json(rows: list[dict[str, Any]]) -> None:
    names = ["press", "counter", "at", "lot", *SHOT_NUMBERS]
    table = [",".join(names), *(",".join(str(row.get(n, "")) for n in names) for row in rows)]
    from_table = read("\n".join(table), CSV, query={"press": "P07"})
    from_json = read({"press": "P07", "shots": [{n: r[n] for n in names if n in r} for r in rows]})
    assert from_table.shots == from_json.shots


@settings(max_examples=100, deadline=None)
@given(rows=st.lists(good_shots(), min_size=1, max_size=3))
def test_shots_written_as_lines_read_as_themselves(rows: list[Any]) -> None:
    batch = read({"press": "P07", "mold": "M-1", "units": {"length": "cm"}, "shots": rows})
    again = read("\n".join(map(shot_line, batch.shots)), NDJSON).shots
    assert [s[1:] for s in again] == [s[1:] for s in batch.shots]


@settings(max_examples=100, deadline=None)
@given(
    field=st.sampled_from(sorted(set(QUANTITY) & set(SHOT_NUMBERS) - {"injection_speed_mm_s"})),
    stored=st.floats(1, 400),
    at=st.data(),
)
def test_every_unit_comes_back_to_the_stored_value(field: str, stored: float, at: st.DataObject) -> None:
    quantity = QUANTITY[field]
    unit = at.draw(st.sampled_from(sorted(UNITS[quantity])))
    factor, offset = UNITS[quantity][unit]
    sent = (stored - offset) / factor
    back = convert(sent, read_units({quantity: unit}).of(field))
    assert abs(back - stored) < 1e-9
    row = shot(**{field: sent})
    batch = read({"press": "P", "units": {quantity: unit}, "shots": [row]})
    if batch.shots:  # the other lengths of the row may be too long in this unit
        assert value(batch.shots[0], field) == back


@settings(max_examples=120, deadline=None)
@given(
    names=st.lists(
        st.sampled_from(["shot_size_mm", "cushion_mm", "fill_time_s", "mold", "lot", "setpoints"]),
        unique=True,
    ),
    rows=st.lists(
        st.lists(
            cells | st.none() | st.floats() | st.integers() | st.booleans() | st.just("6,5"), max_size=7
        ),
        max_size=4,
    ),
    comma=st.booleans(),
)
def test_both_paths_read_the_same_from_a_file(names: list[str], rows: list[list[Any]], comma: bool) -> None:
    header = ("counter", "at", *names)
    width = len(header)
    chunk = [([n, "2026-04-01 06:00", *row] + [None] * width)[:width] for n, row in enumerate(rows)]
    source = Source(names=header, rows=iter(()))
    reading = Reading(LocalClock(zone=ZoneInfo("UTC")), decimal_comma=comma)
    places = list(enumerate(header))
    head = AROUND.head({}, None)
    careful = check_rows([row_of_cells(row, places, source, reading) for row in chunk], head, RECEIVED_MS)
    fast = read_chunk_fast(chunk, places, reading, head, RECEIVED_MS)
    assert fast is None or fast == careful
