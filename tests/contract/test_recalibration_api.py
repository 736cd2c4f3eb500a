"""The score against inspections over HTTP: which count, putting the curve on, taking it off."""

import dataclasses
import json

import numpy as np
import pytest
import sqlalchemy as sa

from server.access.actors import OPEN
from server.clock import as_text
from server.derived.inspected import inspection_record
from server.errors import ConflictError, InvalidError
from server.record.recalibration import change_recalibration
from server.record.settings import change_settings, open_settings
from server.record.studies import keep_study
from server.record.valves import put_valve
from server.show.frame import Actor as Person
from server.show.own_inspections import OwnInspections, own_inspections
from server.show.plant_words import plant_at
from server.store import intake
from server.store.database import Store
from server.store.plant import need_press, put_press, read_settings
from server.store.records import Study, add_study
from server.store.tables import audit, scores
from server.valve.recalibration import KEPT_TERMS, Recalibration
from tests.contract.reading_plant import CYCLE, NOW, START, Plant, evaluate, fill, ramp, record


def scored(c: sa.Connection, press: str, log_odds: float, *, own: float = 0.0, at_ms: int = START) -> int:
    """A press whose last kept score is `log_odds`, of which `own` comes from inspections."""
    press_id = _press(c, press)
    terms = np.zeros(len(KEPT_TERMS))
    terms[-1] = own
    c.execute(
        sa.insert(scores).values(
            press_id=press_id, at_ms=at_ms, counter=1, model_version="t", ordinal=1, baseline_no=1,
            log_odds=log_odds, prior_log_odds=-3.0, terms=terms.tobytes(), causes=b"", facts=b"",
        )
    )  # fmt: skip
    return press_id


def _press(c: sa.Connection, press: str) -> int:
    put_press(c, press, {}, now_ms=START)
    return need_press(c, press).press_id


def inspected(c: sa.Connection, press_id: int, verdict: str, *, at_ms: int = START + 1000) -> None:
    add_study(c, Study(press_id, 0, "inspection", at_ms, "", {}, {}, verdict, "toolroom"))


def too_sure(c: sa.Connection) -> None:
    """Forty valves of which the score was far too sure."""
    for k in range(40):
        press_id = scored(c, f"P{k:02d}", 4.0 if k % 2 else -4.0)
        right = k % 8 not in (0, 1, 2)
        inspected(c, press_id, "failed" if bool(k % 2) == right else "good")


def test_a_score_too_sure_is_flattened_and_audited_and_every_press_judged_again(store: Store) -> None:
    plant = Plant(store)
    store.write(too_sure)
    answer = plant.get("/score/recalibration")
    assert answer["applied"] is None
    assert answer["result"]["n"] == 40
    assert answer["result"]["slope"] < 0.6
    assert answer["result"]["brier_after"] < answer["result"]["brier_before"]
    assert store.write(lambda c: change_recalibration(c, {"apply": True}, who="ines", now_ms=NOW))
    # Again: nothing new, nothing changes.
    assert not store.write(lambda c: change_recalibration(c, {"apply": True}, who="ines", now_ms=NOW))
    applied = plant.get("/score/recalibration")["applied"]
    assert applied["slope"] == answer["result"]["slope"]
    assert applied["at"] == as_text(NOW)
    with store.read() as c:
        (row,) = c.execute(sa.select(audit).where(audit.c.action == "score_recalibrated"))
        assert row.who == "ines"
        assert json.loads(row.after)["recalibration"]["inspections"] == 40
        assert len(intake.waiting_presses(c)) == 40
    assert store.write(lambda c: change_recalibration(c, {"apply": False}, who="ines", now_ms=NOW))
    with store.read() as c:
        assert read_settings(c)["recalibration"] is None


def test_what_was_put_on_before_is_taken_off_before_the_curve_is_drawn(store: Store) -> None:
    def job(c: sa.Connection) -> None:
        inspected(c, scored(c, "P1", 3.0, own=1.25), "failed")

    store.write(job)
    with store.read() as c:
        (one,) = inspection_record(c).inspected
    assert one.log_odds == 1.75


def test_the_first_look_at_each_valve_counts_worn_ones_and_unscored_ones_do_not(store: Store) -> None:
    def job(c: sa.Connection) -> None:
        first = scored(c, "P1", 1.0)
        inspected(c, first, "good", at_ms=START + 1000)
        inspected(c, first, "failed", at_ms=START + 2000)
        body = {"fitted_at": as_text(START + 3000)}
        put_valve(c, need_press(c, "P1"), body, who="t", now_ms=NOW)
        inspected(c, first, "failed", at_ms=START + 4000)
        inspected(c, scored(c, "P2", 1.0), "worn")
        inspected(c, _press(c, "P3"), "failed")
        inspected(c, scored(c, "P4", 1.0, at_ms=START + 5000), "failed")

    store.write(job)
    with store.read() as c:
        found = inspection_record(c)
    assert [(one.press, one.failing) for one in found.inspected] == [
        ("P1", False), ("P2", None), ("P1", True),
    ]  # fmt: skip
    assert (found.worn, found.unpaired) == (1, 2)


def test_too_few_inspections_are_refused_with_the_reason(store: Store) -> None:
    with pytest.raises(ConflictError, match="0 failing and 0 sound valves inspected"):
        store.write(lambda c: change_recalibration(c, {"apply": True}, who="ines", now_ms=NOW))
    with pytest.raises(InvalidError, match="apply"):
        store.write(lambda c: change_recalibration(c, {"note": "x"}, who="ines", now_ms=NOW))


def test_a_corrected_score_still_adds_up_and_names_the_correction(store: Store) -> None:
    plant = Plant(store)

    def leaking(c: sa.Connection) -> int:
        press_id = fill(c, "P-leak", 900, ramp)
        record(c, "P-leak")
        return press_id

    press_id = store.write(leaking)
    evaluate(store, press_id)
    before = plant.get("/presses/P-leak/leak")
    assert next(one for one in before["evidence"] if one["signal"] == "own_inspections")["log_odds"] == 0
    store.write(too_sure)
    store.write(lambda c: change_recalibration(c, {"apply": True}, who="ines", now_ms=NOW))
    evaluate(store, press_id)
    after = plant.get("/presses/P-leak/leak")
    with store.read() as c:
        curve = read_settings(c)["recalibration"]
    assert after["log_odds"] == pytest.approx(curve["shift"] + curve["slope"] * before["log_odds"], abs=1e-9)
    assert sum(one["log_odds"] for one in after["evidence"]) == pytest.approx(after["log_odds"], abs=1e-9)
    own = next(one for one in after["evidence"] if one["signal"] == "own_inspections")
    assert own["log_odds"] == pytest.approx(after["log_odds"] - before["log_odds"], abs=1e-9)
    word = "surer" if own["log_odds"] > 0 else "less sure"
    assert own["text"] == f"Inspections of this plant make a score like this {word}"
    assert sum(after["causes"].values()) == pytest.approx(1, abs=1e-9)
    leaks = [after["causes"][one] for one in ("erratic_closing", "steady_leak", "not_closing")]
    assert sum(leaks) == pytest.approx(after["likelihood"], abs=1e-9)
    # An inspection made later is paired with what the model itself said.
    late = {"press": "P-leak", "verdict": "failed", "at": as_text(START + 901 * CYCLE)}
    store.write(lambda c: keep_study(c, "inspection", late, who="toolroom", now_ms=NOW))
    with store.read() as c:
        one = inspection_record(c).inspected[-1]
        found = inspection_record(c).result
    assert one.press == "P-leak"
    assert one.log_odds == pytest.approx(before["log_odds"], abs=0.3)
    assert isinstance(found, Recalibration)


def test_the_calls_need_their_permissions(store: Store) -> None:
    plant = Plant(store)
    plant.actor = dataclasses.replace(OPEN, kind="nobody", role="", scopes=frozenset())
    assert plant.ask("/score/recalibration").status_code == 401


def shown_of(store: Store) -> OwnInspections:
    with store.read() as c:
        return own_inspections(c, plant_at(c, now_ms=NOW, actor=Person()))


def test_the_page_says_what_the_inspections_come_to_and_offers_the_act_that_fits(store: Store) -> None:
    store.write(too_sure)
    before = shown_of(store)
    assert before.lines[0] == "40 inspections count."
    assert "too sure" in before.lines[1]
    assert before.acts == ("apply",)
    assert {row.said for row in before.rows} == {"98 %", "2 %"}
    store.write(lambda c: change_recalibration(c, {"apply": True}, who="ines", now_ms=NOW))
    assert shown_of(store).acts == ("remove",)
    assert "carries a correction from 40 inspections" in shown_of(store).lines[-1]
    store.write(lambda c: inspected(c, scored(c, "P99", 2.0), "good"))
    assert shown_of(store).acts == ("again", "remove")


def test_settings_can_be_sent_back_as_they_were_read(store: Store) -> None:
    with store.read() as c:
        shown = open_settings(c)
    assert "recalibration" not in shown
    assert not store.write(lambda c: change_settings(c, shown, who="ines", now_ms=NOW))
