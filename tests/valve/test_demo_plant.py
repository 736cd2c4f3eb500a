"""The invented plant: size, calendar, stories, and that live shots go on where history ended."""

import itertools
import time
from collections import Counter

import numpy as np
import pytest

from server.contract import EVENT_KINDS, ROLES, SHOT_NUMBERS, VALVE_STYLES
from server.demo_plant import LiveShots, PressHistory, plant_scenario, press_history
from server.errors import NotFoundError
from server.valve.press_model import EFFECTS

UNTIL = 1_790_000_000_000
SCENARIO = plant_scenario()
DAY = 86_400_000


@pytest.fixture(scope="module")
def histories() -> dict[str, PressHistory]:
    began = time.process_time()
    found = {one.press: press_history(SCENARIO, one, until_ms=UNTIL) for one in SCENARIO.presses}
    assert time.process_time() - began < 6
    return found


def test_the_plant_is_large_enough(histories: dict[str, PressHistory]) -> None:
    assert len(SCENARIO.presses) >= 12
    assert len({one.mold for one in SCENARIO.presses}) >= 6
    assert sum(len(h.columns["at_ms"]) for h in histories.values()) >= 150_000
    for history in histories.values():
        at = history.columns["at_ms"]
        assert at[-1] - at[0] >= 60 * DAY
        assert (np.diff(at) > 0).all()
        assert at[-1] <= UNTIL


def test_a_press_runs_no_longer_than_stated(histories: dict[str, PressHistory]) -> None:
    for press in SCENARIO.presses:
        at = histories[press.press].columns["at_ms"]
        longest = max(Counter(((UNTIL - at) // DAY).tolist()).values())
        assert longest * press.model.process.cycle_time_s / 3600 <= press.hours_a_day * 1.02
        days = len({int(x) for x in (UNTIL - at) // DAY})
        assert days <= 61 * 5 / 7 + 2


def test_the_words_of_the_contract_are_used() -> None:
    for person in SCENARIO.people:
        assert person.mail.endswith(".example")
        assert person.role in ROLES
    for press in SCENARIO.presses:
        assert press.valve_style in VALVE_STYLES
        assert set(press.plan["reports"]) <= set(SHOT_NUMBERS)
        assert {effect["kind"] for effect in press.plan["story"]} <= set(EFFECTS)


def test_what_a_press_sends_is_complete(histories: dict[str, PressHistory]) -> None:
    for press in SCENARIO.presses:
        history = histories[press.press]
        assert set(history.columns) == {"at_ms", "counter", "lot", "box", *press.plan["reports"]}
        assert {event.kind for event in history.events} <= set(EVENT_KINDS)
        cushion = history.columns["cushion_mm"]
        assert 3 < np.median(cushion) < 10, press.press
        record = (history.columns["at_ms"] >= history.baseline_from_ms) & (
            history.columns["at_ms"] <= history.baseline_to_ms
        )
        assert record.sum() == 600
        assert not history.truth["leaking"][record].any()


def test_stories_leave_their_trace(histories: dict[str, PressHistory]) -> None:
    def swept(press: str, lo: float, hi: float) -> float:
        columns = histories[press].columns
        age = (UNTIL - columns["at_ms"]) / DAY
        part = (age <= 60 - lo) & (age > 60 - hi)
        return float(np.median((columns["shot_size_mm"] - columns["cushion_mm"])[part]))

    assert swept("P07", 58, 61) - swept("P07", 0, 30) > 2.0
    assert abs(swept("P01", 50, 61) - swept("P01", 0, 10)) < 0.3
    assert swept("P06", 32, 34) - swept("P06", 0, 10) > 1.0
    assert abs(swept("P06", 50, 61) - swept("P06", 0, 10)) < 0.1
    assert histories["P11"].truth["late"][-2000:].mean() == pytest.approx(0.07, abs=0.02)
    assert [one.to_ms is None for one in histories["P06"].valves] == [False, True]
    top_up = next(event for event in histories["P07"].events if event.kind == "top_up")
    at = histories["P07"].columns["at_ms"]
    size = histories["P07"].columns["shot_size_mm"]
    first = int(np.searchsorted(at, top_up.at_ms))
    assert size[first : first + 50].mean() - size[first - 50 : first].mean() == pytest.approx(1.4, abs=0.1)


def test_boxes_and_lots_cover_every_shot_in_order(histories: dict[str, PressHistory]) -> None:
    for history in histories.values():
        boxes = history.boxes
        assert boxes[0].from_ms == history.columns["at_ms"][0]
        assert boxes[-1].to_ms == history.columns["at_ms"][-1]
        assert all(a.to_ms < b.from_ms for a, b in itertools.pairwise(boxes))
        assert len({box.box for box in boxes}) == len(boxes)
        assert set(history.columns["lot"]) == {lot.lot for lot in history.lots}


def test_the_same_moment_gives_the_same_history(histories: dict[str, PressHistory]) -> None:
    again = press_history(SCENARIO, SCENARIO.press("P07"), until_ms=UNTIL)
    for name, column in again.columns.items():
        assert (column == histories["P07"].columns[name]).all()


def test_live_shots_go_on_where_history_ended(histories: dict[str, PressHistory]) -> None:
    press = SCENARIO.press("P11")
    live = LiveShots(SCENARIO, press, until_ms=UNTIL)
    assert live.due(UNTIL) == []
    rows = live.due(UNTIL + 3_600_000)
    assert len(rows) == pytest.approx(3600 / 46, abs=4)
    last = histories["P11"].columns
    assert int(rows[0]["counter"]) > int(last["counter"][-1])
    assert int(rows[0]["at_ms"]) > int(last["at_ms"][-1])
    assert set(rows[0]) == set(last)
    assert type(rows[0]["at_ms"]) is int
    assert live.due(UNTIL + 3_600_000) == []
    live.skip(after_ms=UNTIL + 2 * 3_600_000)
    assert all(int(row["at_ms"]) > UNTIL + 2 * 3_600_000 for row in live.due(UNTIL + 3 * 3_600_000))


def test_a_silent_press_stays_silent(histories: dict[str, PressHistory]) -> None:
    assert UNTIL - histories["P09"].columns["at_ms"][-1] >= 25 * 60_000
    assert LiveShots(SCENARIO, SCENARIO.press("P09"), until_ms=UNTIL).due(UNTIL + DAY) == []


def test_an_unknown_press_is_named() -> None:
    with pytest.raises(NotFoundError):
        SCENARIO.press("P99")
    with pytest.raises(NotFoundError):
        SCENARIO.mold("M-0")
