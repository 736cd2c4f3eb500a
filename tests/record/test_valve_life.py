"""The valve ledger: what became of valves, their lives as censored records, spares, materials, costs."""

import math
from typing import Any

import pytest
import sqlalchemy as sa

from server.clock import as_text
from server.contract import SHOT_COLUMNS
from server.derived.inspected import inspection_record
from server.derived.valve_choice import choice_now, choice_of, fitting_spares
from server.derived.valve_life import Life, group_of, life_groups
from server.errors import ConflictError, NotFoundError
from server.maths.life import WeibullLife
from server.maths.results import Undetermined
from server.record import cases, spares, valves
from server.record.settings import change_settings
from server.record.studies import keep_study
from server.show.build_cases import build_case
from server.show.frame import Actor
from server.show.plant_words import plant_at
from server.store.audit import PLANT, audit_of
from server.store.plant import Press, Setup, keep_setup, setup_digest
from server.store.records import Study, add_study
from server.store.shots import store_shots
from server.store.tables import press_states
from server.store.valve_life import all_spares, done_between, materials_between
from tests.notify.plants import MINUTE, MORNING, press_named, scratch
from tests.record.asking import NOW, refused


def made(c: sa.Connection, press: Press, *, start_ms: int, n: int, material: str = "PA-GF") -> None:
    """n shots, one a minute, 30 s of cycle, 1 s of fill and 5 s of hold each."""
    setup = setup_digest("M-1", material, "", "{}")
    keep_setup(c, Setup(press.press_id, setup, "M-1", material, "", "{}", start_ms))
    values: dict[str, Any] = {
        "shot_size_mm": 80.0, "cushion_mm": 6.0, "cycle_time_s": 30.0, "fill_time_s": 1.0, "hold_time_s": 5.0,
    }  # fmt: skip
    cells = [values.get(name) for name in SHOT_COLUMNS]
    first = start_ms // MINUTE
    rows = [(start_ms + i * MINUTE, first + i, setup, *cells) for i in range(n)]
    store_shots(c, press.press_id, rows)


def fitted(c: sa.Connection, press: Press, at_ms: int, **more: Any) -> None:
    body = {"fitted_at": as_text(at_ms), "part_number": "R-1", **more}
    valves.put_valve(c, press, body, who="olek", now_ms=NOW)


def worked(c: sa.Connection, code: str = "P-1", *, n: int = 120) -> Press:
    """A press with a new valve that made n shots, and one that came after it."""
    press = press_named(c, code)
    fitted(c, press, MORNING, shots_before=0)
    made(c, press, start_ms=MORNING, n=n)
    fitted(c, press, MORNING + n * MINUTE)
    return press


def first_life(c: sa.Connection) -> Life:
    (group,) = life_groups(c)
    return next(life for life in (*group.lives, *group.left_out) if life.valve.valve_no == 1)


def test_what_a_valve_has_done_is_counted_from_its_shots() -> None:
    with scratch() as c:
        press = worked(c)
        done = done_between(c, press.press_id, from_ms=MORNING, to_ms=MORNING + 60 * MINUTE)
        assert done.shots == 60
        assert (done.hours, done.pressure_hours) == pytest.approx((0.5, 0.1))
        assert materials_between(c, press.press_id, from_ms=MORNING, to_ms=None) == [("PA-GF", 120)]


def test_a_valve_taken_out_for_another_reason_is_censored() -> None:
    with scratch() as c:
        worked(c)
        life = first_life(c)
        assert (life.age, life.good_until, life.failed_by) == (120, 120, math.inf)


def test_said_to_have_failed_it_failed_between_the_last_good_look_and_its_end() -> None:
    with scratch() as c:
        press = press_named(c, "P-1")
        fitted(c, press, MORNING, shots_before=1_000)
        made(c, press, start_ms=MORNING, n=120)
        looked = {"press": "P-1", "at": as_text(MORNING + 50 * MINUTE), "verdict": "good"}
        keep_study(c, "inspection", looked, who="toolroom", now_ms=NOW)
        fitted(c, press, MORNING + 120 * MINUTE, outcome="failed", found="seat cut")
        life = first_life(c)
        assert (life.entry, life.good_until, life.failed_by) == (1_000, 1_050, 1_120.0)


def test_a_proven_change_says_the_old_one_had_failed() -> None:
    with scratch() as c:
        press = worked(c)
        asked = {"action": "valve", "valve_no": 1, "counts": True, "at_ms": MORNING + 120 * MINUTE}
        result = {"from_ms": MORNING + 80 * MINUTE}
        add_study(c, Study(press.press_id, 0, "proof", NOW, "", asked, result, "fixed", "ada"))
        assert (first_life(c).good_until, first_life(c).failed_by) == (80, 120.0)
        assert first_life(c).how == "the change fixed it"


def test_a_valve_of_unknown_age_is_left_out_and_says_why() -> None:
    with scratch() as c:
        press = press_named(c, "P-1")
        fitted(c, press, MORNING)
        made(c, press, start_ms=MORNING, n=20)
        assert first_life(c).left_out == "its age is not known"


def test_few_failures_are_an_answer_and_enough_give_a_law_with_intervals() -> None:
    with scratch() as c:
        worked(c)
        (group,) = life_groups(c)
        assert isinstance(group.law, Undetermined)
        assert isinstance(group.remaining(10), Undetermined)
        for i, n in enumerate((60, 90, 130, 170, 220)):
            press = press_named(c, f"F-{i}")
            fitted(c, press, MORNING, shots_before=0)
            made(c, press, start_ms=MORNING, n=n)
            looked = {"press": f"F-{i}", "at": as_text(MORNING + n * 48_000), "verdict": "good"}
            keep_study(c, "inspection", looked, who="toolroom", now_ms=NOW)
            fitted(c, press, MORNING + n * MINUTE, outcome="failed")
        (group,) = life_groups(c)
        assert isinstance(group.law, WeibullLife)
        assert group.failures == 5
        assert group.law.median_interval[0] < group.law.median < group.law.median_interval[1]
        young, old = group.fails_within(0, 50), group.fails_within(150, 50)
        assert not isinstance(young, Undetermined)
        assert not isinstance(old, Undetermined)
        assert 0 < young < old < 1, "they fail of age"


def test_only_of_a_valve_that_went_can_be_said_what_it_was() -> None:
    with scratch() as c:
        press = worked(c)
        valve = valves.looked_into(
            c, press, 1, {"outcome": "worn", "found": "ring 0.1 mm under"}, who="toolroom", now_ms=NOW
        )
        assert (valve.outcome, valve.found) == ("worn", "ring 0.1 mm under")
        assert audit_of(c, press.press_id)[0].action == "valve_looked_into"
        with pytest.raises(ConflictError, match="still in"):
            valves.looked_into(c, press, 2, {"outcome": "worn"}, who="toolroom", now_ms=NOW)
        with pytest.raises(NotFoundError):
            valves.looked_into(c, press, 9, {}, who="toolroom", now_ms=NOW)
        refused(
            lambda: valves.looked_into(c, press, 1, {"outcome": "fine"}, who="t", now_ms=NOW),
            "outcome",
            "worn",
        )


def test_what_a_valve_turned_out_to_be_counts_among_the_inspections_once_a_score_stands_before() -> None:
    with scratch() as c:
        press = worked(c)
        valves.looked_into(c, press, 1, {"outcome": "failed"}, who="toolroom", now_ms=NOW)
        assert inspection_record(c).unpaired == 1


def test_spares_fit_by_part_number_else_by_style() -> None:
    with scratch() as c:
        worked(c)
        valve = first_life(c).valve
        for part, style in (("r-1", "ball_check"), ("R-9", "sliding_ring"), ("B-1", "ball_check")):
            body = {"part_number": part, "style": style, "on_hand": 2, "lead_days": 21}
            spares.put_on_shelf(c, body, who="olek", now_ms=NOW)
        assert [one.part_number for one in fitting_spares(all_spares(c), valve)] == ["r-1"]
        spares.remove(c, 1, who="olek", now_ms=NOW)
        assert [one.part_number for one in fitting_spares(all_spares(c), valve)] == ["R-9"]
        changed = spares.change(c, 2, {"on_hand": 1}, who="olek", now_ms=NOW)
        assert (changed.on_hand, changed.lead_days, changed.part_number) == (1, 21.0, "R-9")
        actions = [row.action for row in audit_of(c, PLANT) if row.action.startswith("spare")]
        assert actions == ["spare_changed", "spare_removed", *["spare_entered"] * 3]


def test_spares_that_cannot_be_are_refused() -> None:
    with scratch() as c:
        for body, field in (
            ({"on_hand": 1}, "part_number"),
            ({"part_number": "R-1", "on_hand": -1}, "on_hand"),
            ({"part_number": "R-1", "on_hand": 1, "lead_days": -2}, "lead_days"),
        ):
            refused(lambda body=body: spares.put_on_shelf(c, body, who="olek", now_ms=NOW), field)
        with pytest.raises(NotFoundError):
            spares.remove(c, 7, who="olek", now_ms=NOW)


def test_how_hard_a_material_is_is_said_once_and_audited() -> None:
    with scratch() as c:
        for _ in range(2):
            said = spares.say_wear(c, {"material": "PA-GF", "wear": "strong"}, who="olek", now_ms=NOW)
        assert said == ("PA-GF", "strong")
        assert [row.action for row in audit_of(c, PLANT)].count("material_wear_said") == 1
        refused(lambda: spares.say_wear(c, {"material": "x", "wear": "hard"}, who="o", now_ms=NOW), "wear")


def test_changing_against_waiting_needs_the_plants_figures_and_a_judged_press() -> None:
    with scratch() as c:
        press = worked(c)
        group = life_groups(c)[0]
        life = next(one for one in group.lives if one.valve.valve_no == 2)
        assert isinstance(choice_of(c, press, life, group), Undetermined)
        figures = {
            "currency": "EUR", "cost_change": 2_000, "cost_needless_pull": 900, "cost_failure": 6_000,
            "cost_scrap_per_1000": 50, "shots_between_stops": 20_000,
        }  # fmt: skip
        change_settings(c, figures, who="ada", now_ms=NOW)
        unknown = choice_of(c, press, life, group)
        assert isinstance(unknown, Undetermined)
        assert "not judged" in unknown.reason
        c.execute(
            sa.update(press_states)
            .where(press_states.c.press_id == press.press_id)
            .values(log_odds=0.0, leak_status="ok")
        )
        found = choice_of(c, press, life, group)
        assert not isinstance(found, Undetermined)
        assert (found.costs.change, found.costs.wait, found.life_known) == (1_450.0, 3_500.0, False)
        assert group_of([group], life.valve) is group
        assert choice_now(c, press) == (2, found)
        case = cases.open_one(c, press, {"about": "scatter"}, onset_ms=None, who="ada", now_ms=NOW)
        plant = plant_at(c, now_ms=NOW, actor=Actor())
        page = build_case(c, plant, press=press.press, number=case.case_no)
        assert page is not None
        assert page.choice is not None
        assert ("Wait for the stop after next", "3,500 EUR") in page.choice.rows
        assert page.choice.href == f"/valves/{press.press}/2"
        closing = {"verdict": "cannot_say", "note": "mold went out"}
        cases.close(c, press, case.case_no, closing, who="ada", now_ms=NOW)
        page = build_case(c, plant, press=press.press, number=case.case_no)
        assert page is not None
        assert page.choice is None
        gone = next(one for one in group.lives if one.valve.valve_no == 1)
        assert isinstance(choice_of(c, press, gone, group), Undetermined)
