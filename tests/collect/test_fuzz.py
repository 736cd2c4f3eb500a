"""Whatever a press or a broker sends: a shot, or a reason; nothing else, and nothing lost."""

import datetime as dt
import json
from typing import Any

import msgspec
from asyncua import ua
from hypothesis import given, settings
from hypothesis import strategies as st

from server.collect import opcua_names as names
from server.collect.mqtt_mapping import read_mapping
from server.collect.mqtt_message import UnreadableMessageError, read_message
from server.collect.opcua_cycle import (
    CycleOptions,
    Key,
    Reading,
    UnreadableCycleError,
    as_code,
    as_label,
    read_cycle,
)
from server.collect.opcua_events import Clause, EventLayout
from server.collect.opcua_space import as_unit
from server.collect.opcua_subscribe import plans, readings_of
from server.collect.opcua_units import unit_of
from server.contract import CODE_LENGTH_MAX
from server.errors import UsageError
from server.ingest.wire import read_body
from tests.collect.shots import START_MS

anything = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30), st.binary(max_size=10),
    st.lists(st.one_of(st.none(), st.text(max_size=5), st.floats()), max_size=4), st.datetimes(),
    st.datetimes(timezones=st.just(dt.UTC)),
)  # fmt: skip
numbers = st.one_of(st.floats(), st.floats(min_value=0, max_value=3000), st.integers(0, 10**6))
units = st.builds(unit_of, st.sampled_from([5066068, 4804168, 4410705, 4342098, 4408652, -1]), st.none())
keys = st.builds(
    Key,
    st.sampled_from(["cycle", "unit", "barrel", "mould"]),
    st.integers(0, 3),
    st.integers(0, 4),
    st.sampled_from([*names.UNIT_FIELDS, *names.CYCLE_FIELDS, names.ZONE_FIELD, "Time", "Strange"]),
)
readings = st.dictionaries(
    keys, st.builds(Reading, st.one_of(anything, numbers), units, st.text(max_size=5)), max_size=25
)
options = st.builds(
    CycleOptions,
    pressure_basis=st.sampled_from(["specific", "hydraulic"]),
    assume=st.sampled_from(["", "metric", "us"]),
    unit=st.sampled_from([None, 1, 2]),
    screw_diameter_mm=st.sampled_from([None, 45.0]),
)
good = {
    Key("cycle", 0, 0, "JobCycleCounter"): Reading(7),
    Key("cycle", 0, 0, "Time"): Reading(dt.datetime(2026, 4, 1, 6, tzinfo=dt.UTC)),
}


def taken_by_the_server(shot: dict[str, Any]) -> None:
    """The line is a row to the server: a shot, or one it keeps apart with a reason."""
    batch = read_body(
        msgspec.json.encode(shot), content_type="application/x-ndjson", content_encoding=None, query={},
        received_ms=START_MS, max_bytes=1 << 30, max_expanded_bytes=1 << 30, max_rows=10,
    )  # fmt: skip
    assert len(batch.shots) + len(batch.rejected) == 1


def said(known: bool, reason: str) -> None:
    """A code that is known, and a reason of a length one reads."""
    assert known
    assert 0 < len(reason) < 600


@settings(max_examples=200, deadline=None)
@given(readings, options)
def test_any_event_is_a_shot_or_a_reason(given_: dict[Key, Reading], chosen: CycleOptions) -> None:
    try:
        cycle = read_cycle(given_, press="P07", labels={}, options=chosen)
    except UnreadableCycleError as error:
        said(error.code in ("no_counter", "no_time"), error.reason)
        return
    taken_by_the_server(cycle.shot)


@settings(max_examples=200, deadline=None)
@given(readings, options)
def test_strange_values_beside_counter_and_time_cost_their_field_not_the_shot(
    given_: dict[Key, Reading], chosen: CycleOptions
) -> None:
    cycle = read_cycle({**given_, **good}, press="P07", labels={}, options=chosen)
    assert cycle.at_ms == 1_775_023_200_000
    for field, value in cycle.shot.items():
        if field.endswith(("_mm", "_cm3", "_bar", "_s", "_rpm")):
            assert isinstance(value, float | int)
            assert abs(value) < float("inf")
    taken_by_the_server(cycle.shot)


@settings(max_examples=200, deadline=None)
@given(st.lists(anything, max_size=12), st.integers(), st.text(max_size=10))
def test_fields_of_any_kind_are_read(values: list[Any], number: int, shown: str) -> None:
    declared = as_unit(ua.EUInformation(UnitId=ua.Int32(-1), DisplayName=ua.LocalizedText(shown)))
    path = (ua.QualifiedName("CushionVolume", ua.UInt16(2)),)
    clause = Clause(Key("unit", 1, 0, "CushionVolume"), path, ua.NodeId(), declared)
    for plan in plans(EventLayout(frozenset(), (), (clause,))):
        found = readings_of(plan, values)
        assert set(found) <= {key for key, _, _ in plan.wanted}
    assert as_unit(number).unit is None


@given(anything)
def test_any_name_of_a_mold_is_a_code(value: Any) -> None:
    code = as_code(value)
    assert len(code) <= CODE_LENGTH_MAX
    assert code == code.strip()
    assert not set(code) & set("/\\\x00\n")
    assert as_label("mold", [value]) == as_label("mold", [value]).strip()


leaves = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False), st.text(max_size=20))
documents = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(["counter", "at", "cushion_mm", "shot_size_mm", "press", "values", "zone_temps_c",
                             "quality", "mold", "setpoints", "curve", "x"]),
            inner, max_size=6,
        ),
    ),
    max_leaves=20,
)  # fmt: skip
MAPPINGS = [
    read_mapping({"topic": "plant/{press}/shot", "units": {"length": "in"}}),
    read_mapping({"topic": "#", "fields": {"counter": "values.0", "at": "at", "cushion_mm": "values.x"},
                  "extra": {"x": "x"}, "constants": {"press": "P07"}}),
]  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(documents.map(lambda one: json.dumps(one).encode()), st.binary(max_size=60)),
    st.text(max_size=30),
    st.sampled_from(MAPPINGS),
)
def test_any_message_is_a_shot_or_a_reason(payload: bytes, topic: str, mapping: Any) -> None:
    try:
        shot = read_message(topic, payload, mapping)
    except UnreadableMessageError as error:
        said(bool(error.code), error.reason)
        return
    taken_by_the_server(shot)


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["topic", "time_zone", "fields", "units", "presses", "quality", "extra", "x"]),
        st.one_of(documents, st.just("plant/{press}/shot"), st.dictionaries(st.text(max_size=8), leaves)),
    )
)
def test_any_mapping_is_one_or_a_usage_error(document: dict[str, Any]) -> None:
    try:
        mapping = read_mapping(document)
    except UsageError as error:
        said(True, error.message)
        return
    assert mapping.filter
