"""The press page's chart: one time axis, plain lines, limits with their value, bars and verticals."""

import json
import math
from itertools import pairwise
from typing import Any

import numpy as np

from server.show.build_figure import merged_bars, thinned
from server.show.figures import EventMark, FindingBar, SignalLimits, Trace, Window, press_figure
from server.words.times import Zone
from server.words.units import Units

START = 1_795_008_120_000
WINDOW = Window(START, START + 100_000)
AT = [START + i * 1_000 for i in range(100)]


def figure(**more: Any) -> dict[str, Any]:
    traces = [
        Trace("swept_mm", at_ms=AT, mean=[74.0 + 0.01 * i for i in range(100)]),
        Trace("cushion_mm", at_ms=AT, mean=[6.0] * 50 + [math.nan] + [6.0] * 49),
    ]
    limits = {"swept_mm": SignalLimits(74.0, 73.85, 74.15)}
    given: dict[str, Any] = {"window": WINDOW, "limits": limits} | more
    return press_figure(traces, **given)


def test_signals_stand_one_below_the_other_on_one_time_axis() -> None:
    layout = figure()["layout"]
    upper, lower = layout["yaxis"]["domain"], layout["yaxis2"]["domain"]
    assert upper[0] > lower[1]
    assert [name for name in layout if name.startswith("xaxis")] == ["xaxis"]


def test_lines_carry_no_marks() -> None:
    assert {line["mode"] for line in figure()["data"]} == {"lines"}
    assert not any("marker" in line for line in figure()["data"])


def test_what_is_missing_is_a_gap_in_valid_json() -> None:
    made = json.loads(json.dumps(figure(), allow_nan=False))
    assert made["data"][1]["y"][50] is None
    assert made["data"][1]["connectgaps"] is False


def test_signals_with_the_same_times_share_them() -> None:
    made = figure()
    assert len(made["times"]) == 1
    assert {line["x"] for line in made["data"]} == {0}


def test_limits_are_hairlines_with_their_value_and_the_middle_is_dashed() -> None:
    made = figure()["layout"]
    dashed = [one for one in made["shapes"] if one.get("line", {}).get("dash") == "dash"]
    hairs = [one for one in made["shapes"] if one.get("line", {}).get("color") == "--hairline"]
    assert [one["y0"] for one in dashed] == [74.0]
    assert sorted(one["y0"] for one in hairs) == [73.85, 74.15]
    assert {"73.85", "74.15"} <= {note["text"] for note in made["annotations"]}


def test_a_finding_is_a_bar_under_the_stretch_it_covers() -> None:
    bar = FindingBar("cushion_mm", "one_side", START + 20_000, START + 60_000)
    shapes = [one for one in figure(findings=[bar])["layout"]["shapes"] if one["type"] == "rect"]
    assert len(shapes) == 1
    assert shapes[0]["yref"] == "y2 domain"
    assert shapes[0]["y1"] < 0
    assert shapes[0]["x0"].endswith("13:22:20.000")


def test_a_single_shot_found_is_wide_enough_to_see() -> None:
    bar = FindingBar("cushion_mm", "beyond_limit", START + 20_000, START + 20_000)
    shape = next(one for one in figure(findings=[bar])["layout"]["shapes"] if one["type"] == "rect")
    assert shape["x1"] > shape["x0"]


def test_events_are_named_verticals_and_names_never_overlap() -> None:
    marks = [EventMark(START + 1_000 * i, "lot B4") for i in range(100)]
    made = figure(events=marks)["layout"]
    lines = [one for one in made["shapes"] if one.get("yref") == "paper"]
    names = [note for note in made["annotations"] if note["text"] == "lot B4"]
    assert len(lines) == 100
    assert 3 <= len(names) <= 15


def test_times_are_the_plants_own() -> None:
    made = figure(zone=Zone("Europe/Berlin"))
    assert made["times"][0][0] == "2026-11-18 14:22:00.000"
    assert made["layout"]["meta"]["zone"] == "Europe/Berlin"


def test_values_limits_and_unit_follow_the_plants_units() -> None:
    made = figure(units=Units(length="in"))
    assert made["data"][0]["y"][0] == round(74.0 / 25.4, 6)
    assert "in" in made["layout"]["annotations"][0]["text"]


def test_the_figure_names_colours_and_holds_none() -> None:
    text = json.dumps(figure(events=[EventMark(START + 5, "lot")]))
    assert "#" not in text
    assert "--ink" in text


def test_no_traces_give_an_empty_figure() -> None:
    made = press_figure([], window=WINDOW, limits={})
    assert made["data"] == []
    json.dumps(made, allow_nan=False)


def test_thinning_keeps_the_shot_that_fell_out() -> None:
    values = np.full(10_000, 6.0)
    values[7_321] = 1.2
    trace = thinned("cushion_mm", np.arange(10_000, dtype=np.int64), values, points=300)
    assert len(trace.mean) == 300
    assert min(trace.low) == 1.2
    assert max(trace.high) == 6.0


def test_few_values_are_not_thinned() -> None:
    trace = thinned("cushion_mm", np.arange(500, dtype=np.int64), np.ones(500), points=300)
    assert len(trace.mean) == 500
    assert trace.low == ()


def test_a_stretch_without_values_stays_a_gap_when_thinned() -> None:
    values = np.ones(9_000)
    values[3_000:6_000] = np.nan
    trace = thinned("cushion_mm", np.arange(9_000, dtype=np.int64), values, points=90)
    assert sum(math.isnan(value) for value in trace.mean) == 30
    assert sum(math.isnan(value) for value in trace.low) == 30


def test_a_pause_of_the_press_is_a_gap_and_no_slope() -> None:
    day = 86_400_000
    at = np.concatenate([np.arange(100) * 20_000, day + np.arange(100) * 20_000])
    few = thinned("swept_mm", at, np.ones(200), points=300)
    many = thinned("swept_mm", at, np.ones(200), points=20)
    for trace in (few, many):
        gaps = [i for i, value in enumerate(trace.mean) if math.isnan(value)]
        assert len(gaps) == 1
        assert trace.at_ms[gaps[0]] == 99 * 20_000 + 1
        assert trace.at_ms[gaps[0] + 1] == day
    assert list(few.at_ms) == sorted(few.at_ms)


def test_a_thinned_line_has_a_band_of_extremes() -> None:
    trace = Trace("swept_mm", at_ms=AT, mean=[1.0] * 100, low=[0.5] * 100, high=[1.5] * 100)
    made = press_figure([trace], window=WINDOW, limits={})
    band, line = made["data"]
    assert band["fill"] == "toself"
    assert "fill" not in line
    assert band["y"] == [0.5] * 100 + [1.5] * 100 + [None]


def test_the_band_of_extremes_never_spans_a_gap() -> None:
    low = [0.5] * 40 + [math.nan] + [0.5] * 59
    trace = Trace("swept_mm", at_ms=AT, mean=low, low=low, high=[1.5] * 100)
    made = press_figure([trace], window=WINDOW, limits={})
    band = made["data"][0]
    times = made["times"][band["x"]]
    assert [i for i, at in enumerate(times) if at is None] == [80, 199]
    assert times[0] == times[79]


def test_bars_that_touch_become_one() -> None:
    bars = [FindingBar("swept_mm", "one_side", START + i * 1_000, START + i * 1_000 + 900) for i in range(50)]
    bars.append(FindingBar("cushion_mm", "one_side", START, START + 5))
    wide = merged_bars(bars, window=Window(START, START + 1_000_000))
    assert [(bar.signal, bar.from_ms) for bar in wide] == [("cushion_mm", START), ("swept_mm", START)]
    near = merged_bars(bars, window=Window(START, START + 1_000))
    assert len(near) == 51
    assert all(a.to_ms < b.from_ms for a, b in pairwise(near[1:]))
