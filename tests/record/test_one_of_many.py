"""The same act sent by several at once, on either database: it counts once, the others are told so."""

from collections.abc import Callable, Hashable

import pytest
import sqlalchemy as sa

from server.errors import ConflictError
from server.record import baselines, cases, photos, setting_trials, sheets, spares, studies
from server.store import sheets as kept
from server.store.audit import PLANT, audit_of
from server.store.database import Store
from server.store.plant import need_press, put_mold, put_press
from server.store.records import Baseline, add_baseline, baseline_by_no, list_studies
from server.store.valve_life import spare_by_no
from tests.at_once import all_at_once
from tests.record.asking import NOW

MANY = 8
CAUTIONS = list(studies.CAUTIONS["short-shot"])


@pytest.fixture
def sheet_no(any_store: Store) -> int:
    """A short-shot sheet with five weights on P07."""

    def job(c: sa.Connection) -> int:
        put_mold(c, "M-113", {}, now_ms=NOW)
        put_press(c, "P07", {}, now_ms=NOW)
        asked = {"kind": "short-shot", "confirmed": CAUTIONS, "mold": "M-113"}
        press = need_press(c, "P07")
        number = sheets.open_sheet(c, press, asked, who="eda", now_ms=NOW).sheet_no
        weights = {"values": [41.8, 41.6, 41.9, 41.7, 41.8]}
        sheets.add_readings(c, press, number, weights, who="eda", now_ms=NOW)
        return number

    return any_store.write(job)


def came_of(store: Store, act: Callable[[sa.Connection, int], Hashable]) -> dict[Hashable, int]:
    """How often each answer came, of acts that begin together; a refusal is an answer."""

    def run(number: int) -> Hashable:
        try:
            return store.write(lambda c: act(c, number))
        except ConflictError:
            return "conflict"

    return dict(all_at_once(run, many=MANY))


def test_a_sheet_is_kept_once(any_store: Store, sheet_no: int) -> None:
    def keep(c: sa.Connection, number: int) -> Hashable:
        press = need_press(c, "P07")
        return sheets.close_sheet(c, press, sheet_no, {}, who=f"p{number}", now_ms=NOW)[0].state

    assert came_of(any_store, keep) == {"kept": 1, "conflict": MANY - 1}
    with any_store.read() as c:
        found = list_studies(c, press_id=need_press(c, "P07").press_id, kind="short-shot", limit=99)
    assert len(found) == 1


def test_a_reading_sent_by_many_at_once_counts_once(any_store: Store, sheet_no: int) -> None:
    def weigh(c: sa.Connection, number: int) -> Hashable:
        sent = {"value": 41.7, "mark": "w1"}
        added = sheets.add_readings(c, need_press(c, "P07"), sheet_no, sent, who=f"p{number}", now_ms=NOW)
        return added[0].reading_no

    assert came_of(any_store, weigh) == {6: MANY}


def test_what_is_kept_holds_every_reading_that_was_taken(any_store: Store, sheet_no: int) -> None:
    def weigh_or_keep(c: sa.Connection, number: int) -> Hashable:
        press = need_press(c, "P07")
        if number == MANY // 2:
            return sheets.close_sheet(c, press, sheet_no, {}, who="eda", now_ms=NOW)[0].state
        sent = {"value": 41.7, "mark": f"w{number}"}
        sheets.add_readings(c, press, sheet_no, sent, who="eda", now_ms=NOW)
        return "added"

    came = came_of(any_store, weigh_or_keep)
    assert came["kept"] == 1
    with any_store.read() as c:
        (found,) = list_studies(c, press_id=need_press(c, "P07").press_id, kind="short-shot", limit=9)
    assert len(found[1].asked["weights_g"]) == 5 + came.get("added", 0)


def test_a_study_takes_no_more_photos_than_it_may(any_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "PHOTOS_MAX", 3)

    def begin(c: sa.Connection) -> int:
        put_press(c, "P07", {}, now_ms=NOW)
        body = {"press": "P07", "verdict": "worn", "confirmed": ["lock_out"]}
        return studies.keep_study(c, "inspection", body, who="eda", now_ms=NOW).study_no

    number = any_store.write(begin)

    def add(c: sa.Connection, _: int) -> Hashable:
        press = need_press(c, "P07")
        photos.add_photo(c, press, number, (b"jpeg", 1, 1), caption="", who="eda", now_ms=NOW)
        return "added"

    assert came_of(any_store, add) == {"added": 3, "conflict": MANY - 3}
    with any_store.read() as c:
        assert len(kept.photos_of(c, need_press(c, "P07").press_id, number)) == 3


def test_who_approved_a_record_first_has_approved_it_and_retired_stays_retired(any_store: Store) -> None:
    def begin(c: sa.Connection) -> int:
        put_press(c, "P07", {}, now_ms=NOW)
        draft = Baseline(
            press_id=need_press(c, "P07").press_id, baseline_no=0, mold="M-113", material="", setup=None,
            from_ms=1, to_ms=NOW, shots=300, state="draft", signals={}, note="", captured_by="eda",
            captured_ms=NOW,
        )  # fmt: skip
        return add_baseline(c, draft).baseline_no

    number = any_store.write(begin)

    def approve(c: sa.Connection, caller: int) -> Hashable:
        press = need_press(c, "P07")
        if caller == MANY - 1:
            return baselines.retire(c, press, number, who="mara", now_ms=NOW).state
        return baselines.approve(c, press, number, who=f"p{caller}", now_ms=NOW).approved_by

    came = came_of(any_store, approve)
    names = {name for name in came if str(name).startswith("p")}
    with any_store.read() as c:
        press_id = need_press(c, "P07").press_id
        found = baseline_by_no(c, press_id, number)
        done = [row.action for row in audit_of(c, press_id)]
    assert found is not None
    assert (found.state, len(names)) == ("retired", done.count("baseline_approved"))
    assert len(names) <= 1


def test_two_who_change_a_spare_at_once_keep_what_each_said(any_store: Store) -> None:
    shelf = {"part_number": "R-45", "on_hand": 0}
    number = any_store.write(lambda c: spares.put_on_shelf(c, shelf, who="eda", now_ms=NOW)).spare_no

    def change(c: sa.Connection, caller: int) -> Hashable:
        body = {"on_hand": 7} if caller % 2 else {"place": "shelf 4"}
        spares.change(c, number, body, who=f"p{caller}", now_ms=NOW)
        return "changed"

    assert came_of(any_store, change) == {"changed": MANY}
    with any_store.read() as c:
        found = spare_by_no(c, number)
        rows = [row for row in audit_of(c, PLANT) if row.action == "spare_changed"]
    assert found is not None
    assert (found.on_hand, found.place) == (7, "shelf 4")
    assert len(rows) == MANY


def test_one_case_and_one_trial_are_opened(any_store: Store) -> None:
    any_store.write(lambda c: put_press(c, "P07", {}, now_ms=NOW))

    def suspect(c: sa.Connection, number: int) -> Hashable:
        body = {"about": "scatter"}
        press = need_press(c, "P07")
        return cases.open_one(c, press, body, onset_ms=None, who=f"p{number}", now_ms=NOW).case_no

    def plan(c: sa.Connection, number: int) -> Hashable:
        body = {"setting": "back pressure", "unit": "bar", "levels": [60, 80], "today": "60"}
        return setting_trials.plan(c, need_press(c, "P07"), body, who=f"p{number}", now_ms=NOW).trial_no

    assert came_of(any_store, suspect) == {1: 1, "conflict": MANY - 1}
    assert came_of(any_store, plan) == {1: 1, "conflict": MANY - 1}
