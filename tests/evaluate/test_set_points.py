"""Set-points in the shots: their changes become events, and a mold that comes back is compared rightly."""

import dataclasses
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from server.clock import as_text
from server.contract import SHOT_COLUMNS
from server.evaluate.context import SETTING_CHANGE, Watch
from server.evaluate.press import evaluate_press
from server.ingest.batch import ReadShot
from server.ingest.labels import Label
from server.landing import land
from server.notify.held_back import held_back_by
from server.record.baselines import capture_baseline
from server.record.cases import open_one
from server.store.cases import actions_of, open_case
from server.store.database import Store
from server.store.plant import need_press
from server.store.records import Event, add_event, events_of
from server.store.reported import BY_SHOTS
from tests.evaluate.history import START_MS, Bringing, shots_of
from tests.notify.plants import MORNING, press_named, scratch

CYCLE = 20_000


def reported(store: Store, press_id: int) -> list[Event]:
    with store.read() as connection:
        return [one for one in events_of(connection, press_id) if one.author == BY_SHOTS]


def test_a_change_of_set_points_in_the_shots_is_recorded_as_an_event(store: Store) -> None:
    bringing = Bringing(store, "P-1", {})
    shots = shots_of("P-1")
    bringing.bring(shots)
    bringing.settle()
    (event,) = reported(store, bringing.press_id)
    assert (event.kind, event.setting, event.from_value, event.to_value) == ("setting", "hold", "1", "2")
    assert event.at_ms == shots[240].at_ms


def test_evaluated_again_it_stays_the_same_event_and_goes_when_a_late_shot_undoes_it(store: Store) -> None:
    bringing = Bringing(store, "P-1", {})
    shots = shots_of("P-1", count=300)
    bringing.bring(shots)
    bringing.settle()
    before = reported(store, bringing.press_id)
    store.write(lambda c: add_event(c, dataclasses.replace(before[0], author="eda", kind="note", note="x")))
    # The same set-points earlier already: the change happened before this shot.
    late = shots[230]
    label = Label(*late.label[:4], '{"hold":2}')
    bringing.bring([ReadShot(0, label, late.at_ms + 5, 9_999, late.values)])
    bringing.settle(piece=100)
    after = reported(store, bringing.press_id)
    assert before[0] in after
    # Once up, once down again, and up as before.
    assert [(one.from_value, one.to_value) for one in after] == [("1", "2"), ("2", "1"), ("1", "2")]


def visit(mold: str, hold: int, *, start: int, count: int, first: int) -> list[ReadShot]:
    chance = np.random.default_rng(first)
    label = Label("P-1", mold, "PP", None, f'{{"hold":{hold}}}')
    shots = []
    for i in range(count):
        size = 80 + chance.normal(0, 0.04)
        given: dict[str, Any] = {"shot_size_mm": round(size, 2), "cycle_time_s": 20.0, "fill_time_s": 1.4}
        given["cushion_mm"] = round(size - 74 + chance.normal(0, 0.05), 2)
        values = tuple(given.get(name) for name in SHOT_COLUMNS)
        shots.append(ReadShot(i, label, start + i * CYCLE, first + i, values))
    return shots


@pytest.mark.parametrize(("hold", "known"), [(1, False), (2, True)])
def test_a_mold_that_comes_back_is_compared_with_the_settings_of_its_record(
    store: Store, hold: int, known: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    bringing = Bringing(store, "P-1", {})
    a = visit("M-A", 1, start=START_MS, count=200, first=1)
    b = visit("M-B", 7, start=a[-1].at_ms + CYCLE, count=60, first=1_001)
    back = visit("M-A", hold, start=b[-1].at_ms + CYCLE, count=60, first=2_001)
    bringing.bring(a)

    def record(connection: sa.Connection) -> None:
        body = {"mold": "M-A", "last_shots": 200, "approve": True}
        now_ms = a[-1].at_ms + 1
        capture_baseline(connection, need_press(connection, "P-1"), body, who="eda", now_ms=now_ms)

    store.write(record)
    seen: list[bool] = []
    from server.evaluate import advance

    real = advance._changes

    def watched(carry: Any, shots: Any, context: Any, watch: Watch | None) -> Any:
        found = real(carry, shots, context, watch)
        if watch is not None and int(shots["at_ms"][0]) == back[0].at_ms:
            seen.append(bool((found[0] == SETTING_CHANGE).any()))
        return found

    monkeypatch.setattr(advance, "_changes", watched)
    bringing.bring([*b, *back])
    bringing.settle()
    # Against the set-points of mold B, which ran in between, both would be a change.
    assert seen == [known]
    with store.read() as connection:
        state = connection.execute(sa.text("SELECT baseline_no, mold FROM press_states")).one()
    assert tuple(state) == (1, "M-A")
    assert reported(store, bringing.press_id) == []


def test_an_open_case_takes_up_a_change_the_press_reports(store: Store) -> None:
    bringing = Bringing(store, "P-1", {})
    shots = shots_of("P-1", count=300)

    def suspect(connection: sa.Connection) -> None:
        press, now_ms = need_press(connection, "P-1"), shots[-1].at_ms
        body = {"about": "thin cushion", "since": as_text(shots[100].at_ms)}
        open_one(connection, press, body, onset_ms=None, who="eda", now_ms=now_ms)

    store.write(suspect)
    bringing.bring(shots)
    with store.read() as connection:
        found = evaluate_press(connection, bringing.press_id)
    assert found is not None
    for _ in range(2):
        store.write(lambda connection: land(connection, found, now_ms=shots[-1].at_ms))
    with store.read() as connection:
        case = open_case(connection, bringing.press_id)
        assert case is not None
        (action,) = actions_of(connection, case)
    assert (action.kind, action.who, action.what) == ("setting", BY_SHOTS, "hold 1 → 2")


@pytest.mark.parametrize(("author", "held"), [("eda", "study"), (BY_SHOTS, "")])
def test_settings_changed_by_people_are_a_trial_and_what_the_press_reports_holds_nothing_back(
    author: str, held: str
) -> None:
    with scratch() as connection:
        press = press_named(connection)
        for minute in (0, 10):
            at_ms = MORNING + minute * 60_000
            said = ("setting", "hold", "1", "2", "", "", author)
            add_event(connection, Event(press.press_id, at_ms, 0, *said, MORNING))
        state = {"evaluated_ms": MORNING + 20 * 60_000, "watching": "{}"}
        assert held_back_by(connection, press, state) == held
