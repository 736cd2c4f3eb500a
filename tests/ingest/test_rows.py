"""What a single shot may hold, and what keeps it apart."""

import json
from typing import Any

import pytest

from server.clock import as_text
from server.contract import SHOT_COLUMNS, SHOT_NUMBERS
from server.ingest.bounds import RANGES
from tests.ingest.bodies import RECEIVED_MS, read, read_one, reject_one, shot, value


def test_a_shot_becomes_a_row_of_the_columns_in_order() -> None:
    read_shot = read_one(
        peak_pressure_bar=1000, quality="good", box="B1", lot="A1", zone_temps_c=[200, 210.5]
    )
    kept = {n: v for n, v in zip(SHOT_COLUMNS, read_shot.values, strict=True) if v is not None}
    assert kept == {
        "shot_size_mm": 80.0,
        "cushion_mm": 6.02,
        "peak_pressure_bar": 1000.0,
        "quality": "good",
        "box": "B1",
        "lot": "A1",
        "zone_temps_c": "[200.0,210.5]",
    }
    assert (read_shot.row, read_shot.counter, as_text(read_shot.at_ms)) == (0, 7, "2026-04-01T06:00:00.000Z")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-04-01T05:00:00+02:00", "2026-04-01T03:00:00.000Z"),
        ("2026-04-01T05:00:00.1239999999z", "2026-04-01T05:00:00.123Z"),
        ("2026-04-01t05:00:00.5-00:30", "2026-04-01T05:30:00.500Z"),
        ("2026-04-01 05:00:00Z", "2026-04-01T05:00:00.000Z"),
        ("2024-02-29T23:59:59.999Z", "2024-02-29T23:59:59.999Z"),
    ],
)
def test_times_are_kept_in_utc_rounded_down_to_the_millisecond(text: str, utc: str) -> None:
    assert as_text(read_one(at=text).at_ms) == utc


@pytest.mark.parametrize(
    ("at", "code"),
    [
        ("yesterday", "bad_time"),
        ("2026-04-01", "bad_time"),
        ("2026-02-30T06:00:00Z", "bad_time"),
        ("2026-04-01T06:61:00Z", "bad_time"),
        ("20260401T060000Z", "bad_time"),
        ("2026-W14-3T06:00:00Z", "bad_time"),
        ("2026-04-01T06:00:00+02:75", "bad_time"),
        ("2026-04-01T06:00:00", "no_offset"),
        ("2026-04-01T06:00", "no_offset"),
        ("2016-12-31T23:59:60Z", "leap_second"),
        ("2026-04-01T24:00:00Z", "hour_24"),
        ("1970-01-01T00:00:12Z", "clock_not_set"),
        ("9999-12-31T23:59:59-23:00", "clock_not_set"),
        (1775023200, "bad_time"),
        ("", "missing"),
        (None, "missing"),
    ],
)
def test_a_time_that_names_no_moment_is_kept_apart(at: Any, code: str) -> None:
    apart = reject_one(at=at)
    assert (apart.field, apart.code, apart.replayable) == ("at", code, False)


def test_a_shot_ten_minutes_ahead_is_taken_and_one_a_millisecond_more_can_be_replayed() -> None:
    assert read_one(at=as_text(RECEIVED_MS + 600_000)).at_ms == RECEIVED_MS + 600_000
    head = {"press": "P07", "mold": "M-1", "lot": "L1", "units": {"length": "in"}}
    ahead = shot(at=as_text(RECEIVED_MS + 600_001), shot_size_mm=3.0, cushion_mm=0.2)
    (apart,) = read({**head, "shots": [ahead]}).rejected
    assert (apart.code, apart.replayable, apart.at_ms) == ("in_the_future", True, RECEIVED_MS + 600_001)
    line = json.loads(apart.raw)
    assert (line["press"], line["mold"], line["lot"]) == ("P07", "M-1", "L1")
    assert line["shot_size_mm"] == pytest.approx(76.2, abs=1e-12)


@pytest.mark.parametrize(
    ("field", "sent", "code"),
    [
        ("counter", -1, "out_of_range"),
        ("counter", 1 << 63, "out_of_range"),
        ("counter", 12.5, "not_an_integer"),
        ("counter", True, "not_an_integer"),
        ("counter", "12", "not_an_integer"),
        ("counter", None, "missing"),
        ("shot_size_mm", None, "missing"),
        ("cushion_mm", None, "missing"),
        ("cushion_mm", "thick", "not_a_number"),
        ("cushion_mm", True, "not_a_number"),
        ("cushion_mm", [6.0], "not_a_number"),
        ("cushion_mm", 655.31, "wrapped_negative"),
        ("minimum_position_mm", 655.35, "wrapped_negative"),
        ("cushion_cm3", 655.35, "wrapped_negative"),
        ("cushion_mm", -20.5, "out_of_range"),
        ("melt_temp_c", -300, "out_of_range"),
        ("fill_time_s", -0.1, "out_of_range"),
        ("quality", "fine", "unknown_value"),
        ("quality", 3, "unknown_value"),
        ("box", "x" * 81, "too_long"),
        ("serial", "a\x00b", "control_character"),
        ("lot", 1.5, "not_text"),
        ("press", "a/b", "bad_code"),
        ("press", "a\\b", "bad_code"),
        ("press", "P\u202e70", "hidden_character"),
        ("mold", "M-1\u200b", "hidden_character"),
        ("press", "..", "bad_code"),
        ("press", " P07", "bad_code"),
        ("press", "x" * 41, "too_long"),
        ("mold", "M\n1", "control_character"),
        ("mold", "M\ud800", "control_character"),
        ("setpoints", [1], "not_an_object"),
        ("setpoints", {"a": {"b": {"c": {"d": {"e": {"f": 1}}}}}}, "too_deep"),
        ("zone_temps_c", 200, "not_a_list"),
        ("zone_temps_c", ["hot"], "not_a_number"),
        ("zone_temps_c", [1.0] * 65, "too_many"),
        ("extra", [1], "not_an_object"),
        ("extra", {f"k{i}": i for i in range(65)}, "too_many"),
        ("extra", {"": 1}, "bad_name"),
        ("operator", "Ann", "unknown_field"),
        ("units", {"length": "in"}, "unknown_field"),
    ],
)
def test_a_value_that_cannot_be_keeps_its_row_apart(field: str, sent: Any, code: str) -> None:
    apart = reject_one(**{field: sent})
    assert (apart.field, apart.code) == (field, code)
    assert field in apart.message
    assert apart.raw


@pytest.mark.parametrize("field", SHOT_NUMBERS)
def test_each_number_is_taken_at_its_bounds_and_not_beyond(field: str) -> None:
    low, high, _ = RANGES[field]
    for bound in (low, high):
        assert value(read_one(**{field: bound}), field) == bound
    for beyond in (low - 0.5, high + 0.5):
        assert reject_one(**{field: beyond}).code == "out_of_range"


def test_a_large_cushion_in_cm3_is_wrapped_only_where_it_exceeds_what_was_metered() -> None:
    metered = read_one(shot_size_mm=None, cushion_mm=None, shot_size_cm3=4000, cushion_cm3=655.31)
    assert value(metered, "cushion_cm3") == 655.31
    apart = reject_one(shot_size_mm=None, cushion_mm=None, shot_size_cm3=60, cushion_cm3=655.31)
    assert apart.code == "wrapped_negative"
    assert "-0.05" in apart.message


def test_a_message_names_field_value_bounds_and_unit() -> None:
    message = reject_one(cushion_mm=-25).message
    assert "cushion_mm is -25 mm" in message
    assert "from -20 to 5000 mm" in message


def test_a_cushion_slightly_below_zero_is_taken_and_missing_is_not_zero() -> None:
    read_shot = read_one(cushion_mm=-0.4)
    assert value(read_shot, "cushion_mm") == -0.4
    assert value(read_shot, "decompression_mm") is None


def test_whole_numbers_written_with_a_point_are_counters() -> None:
    assert read_one(counter=12.0).counter == 12
    assert read_one(counter=(1 << 63) - 1).counter == (1 << 63) - 1


def test_codes_are_kept_in_nfc_and_anything_else_is_fine() -> None:
    assert read_one(press="Q 01 a\u0308+b").label.press == "Q 01 ä+b"
    assert read_one(press="№7 (左)", mold=113).label[:2] == ("№7 (左)", "113")


def test_numbers_of_the_senders_own_are_kept_as_extra() -> None:
    read_shot = read_one(mold_temp_c=45, extra={"vent_bar": 2.5, "off": None})
    assert value(read_shot, "extra") == '{"mold_temp_c":45.0,"vent_bar":2.5}'


def test_setpoints_are_canonical_so_that_equal_ones_are_equal_text() -> None:
    one = read_one(setpoints={"hold_bar": 520, "fast": True, "profile": [10, 20.0], "none": None})
    other = read_one(setpoints={"profile": [10.0, 20], "fast": True, "hold_bar": 520.0})
    assert (
        one.label.setpoints == other.label.setpoints == '{"fast":true,"hold_bar":520.0,"profile":[10.0,20.0]}'
    )
    assert read_one(setpoints={}).label.setpoints is None


def curve(**changes: Any) -> dict[str, Any]:
    return {"t_s": [0, 0.1], "position_mm": [80, 70], "pressure_bar": [0, 500]} | changes


def test_a_curve_is_kept_as_canonical_json() -> None:
    kept = value(read_one(curve=curve()), "curve")
    assert kept == '{"position_mm":[80.0,70.0],"pressure_bar":[0.0,500.0],"t_s":[0.0,0.1]}'


@pytest.mark.parametrize(
    "bad",
    [
        curve(t_s=[0.1, 0.1]),
        curve(t_s=[0]),
        curve(flow=[1, 2]),
        curve(position_mm="none"),
        {"position_mm": [1.0]},
        {"t_s": list(range(201))},
        [1, 2],
    ],
)
def test_a_curve_whose_lists_do_not_match_is_kept_apart(bad: Any) -> None:
    apart = reject_one(curve=bad)
    assert (apart.field, apart.code) == ("curve", "bad_curve")


def test_equal_values_have_equal_bits() -> None:
    for sent in (-0.0, 0, 0.0):
        assert str(value(read_one(drift_mm=sent), "drift_mm")) == "0.0"
        assert value(read_one(extra={"a": sent}), "extra") == '{"a":0.0}'
