"""Cases: at most one open a press, actions taken up by themselves, closed with a verdict and its evidence."""

import dataclasses
import json
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from server.clock import as_text
from server.contract import SHOT_COLUMNS
from server.derived.case_proof import proof_of
from server.derived.case_story import story_of
from server.derived.inspected import inspection_record
from server.errors import ConflictError, NotFoundError
from server.evaluate.prior import marks_of
from server.notify.alarms import react
from server.notify.conditions import Condition
from server.notify.floor import tick_step
from server.record import cases, events, valves
from server.record.studies import keep_study
from server.store.audit import audit_of
from server.store.cases import Case, actions_of, add_case, case_by_no, open_case
from server.store.plant import Press, Setup, keep_setup, setup_digest
from server.store.records import Baseline, add_baseline, checks_of, valves_of
from server.store.shots import store_shots
from server.store.tables import press_states, scores
from server.valve.checks import proof_log_odds
from server.valve.recalibration import KEPT_TERMS
from tests.notify.plants import HOUR, MINUTE, MORNING, press_named, scratch
from tests.record.asking import NOW, refused, waits_from

CYCLE = 20_000
CHANGE = MORNING + 3 * HOUR


def poured(c: sa.Connection, press: Press, *, start_ms: int, n: int, level: float, counter: int) -> None:
    """n shots with a swept stroke about `level`, scattering by 0.05 mm."""
    chance = np.random.default_rng(counter)
    setup = setup_digest("M-113", "PP", "S1", "{}")
    keep_setup(c, Setup(press.press_id, setup, "M-113", "PP", "S1", "{}", MORNING))
    rows = []
    for i in range(n):
        size = 80.0
        values: dict[str, Any] = {
            "shot_size_mm": size, "cushion_mm": size - level - 0.05 * chance.standard_normal(),
        }  # fmt: skip
        cells = (values.get(name) for name in SHOT_COLUMNS)
        rows.append((start_ms + i * CYCLE, counter + i, setup, *cells))
    store_shots(c, press.press_id, rows)
    c.execute(sa.update(press_states).where(press_states.c.press_id == press.press_id).values(mold="M-113"))


def troubled(c: sa.Connection, *, after: int = 120, level_after: float = 74.0) -> Press:
    """A press whose swept stroke is 0.6 mm too long until CHANGE, with `after` shots behind it."""
    press = press_named(c)
    signals = {"signals": {"swept_mm": {"center": 74.0, "sigma": 0.05}}, "dose_lag": 0, "cycle_ms": 20_000.0}
    add_baseline(
        c,
        Baseline(
            press.press_id, 0, "M-113", "PP", None, MORNING - HOUR, MORNING - MINUTE, 200, "approved",
            signals, "", "ada", MORNING, "ada", MORNING,
        ),
    )  # fmt: skip
    poured(c, press, start_ms=MORNING, n=500, level=74.6, counter=1)
    if after:
        poured(c, press, start_ms=CHANGE + CYCLE, n=after, level=level_after, counter=1_000)
    return press


def opened(c: sa.Connection, press: Press, **body: Any) -> Case:
    asked = {"about": "swept stroke has grown", "since": as_text(MORNING), **body}
    return cases.open_one(c, press, asked, onset_ms=None, who="ada", now_ms=NOW - 24 * HOUR)


def done(c: sa.Connection, press: Press, kind: str = "setting", **more: Any) -> None:
    body = {"kind": kind, "at": as_text(CHANGE), "setting": "decompression", "from": 4, "to": 6, **more}
    events.record_event(c, press, body, who="olek", now_ms=NOW)


def closed(c: sa.Connection, press: Press, verdict: str = "fixed", **more: Any) -> Case:
    return cases.close(c, press, 1, {"verdict": verdict, **more}, who="ada", now_ms=NOW)


# --- opening --------------------------------------------------------------------------------------


def test_a_press_has_at_most_one_open_case() -> None:
    with scratch() as c:
        press = press_named(c)
        case = opened(c, press)
        assert (case.case_no, case.owner, case.is_open) == (1, "ada", True)
        with pytest.raises(ConflictError, match="open case 1"):
            opened(c, press)
        with pytest.raises(sa.exc.IntegrityError):
            add_case(c, dataclasses.replace(case, about="another"))


def test_after_one_is_closed_the_next_has_the_next_number() -> None:
    with scratch() as c:
        press = press_named(c)
        opened(c, press)
        closed(c, press, "cannot_say", note="it was a wrong reading")
        assert opened(c, press).case_no == 2


def test_opened_from_an_alarm_it_begins_with_the_earlier_of_alarm_and_onset() -> None:
    with scratch() as c:
        press = press_named(c)
        react(c, press, Condition("leak", True, cause="steady_leak"), now_ms=MORNING + HOUR)
        early = cases.open_one(c, press, {}, onset_ms=MORNING, who="ada", now_ms=NOW)
        assert (early.alarm_no, early.onset_ms) == (1, MORNING)
        closed(c, press, "cannot_say", note="to open it again")
        late = cases.open_one(c, press, {"alarm": f"{press.press}-1"}, onset_ms=None, who="ada", now_ms=NOW)
        assert late.onset_ms == MORNING + HOUR


def test_without_alarm_and_without_a_word_no_case_is_opened() -> None:
    with scratch() as c:
        press = press_named(c)
        refused(
            lambda: cases.open_one(c, press, {}, onset_ms=None, who="ada", now_ms=NOW), "about", "suspected"
        )
        with pytest.raises(NotFoundError):
            opened(c, press, alarm=f"{press.press}-9")


def test_owner_words_and_notes_are_kept_and_audited() -> None:
    with scratch() as c:
        press = press_named(c)
        opened(c, press)
        case = cases.change(c, press, 1, {"owner": "ines"}, who="ada", now_ms=NOW)
        assert (case.owner, case.about) == ("ines", "swept stroke has grown")
        cases.note(c, press, 1, {"note": "ring looks shiny"}, who="ines", now_ms=NOW)
        refused(lambda: cases.note(c, press, 1, {"note": ""}, who="ines", now_ms=NOW), "note")
        actions = [row.action for row in audit_of(c, press.press_id)]
        assert actions == ["case_noted", "case_changed", "case_opened"]


# --- actions --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "taken"),
    [
        ("setting", "setting"),
        ("lot", "material"),
        ("maintenance", "hardware"),
        ("top_up", None),
        ("note", None),
    ],
)
def test_what_is_recorded_on_the_press_becomes_an_action_by_itself(kind: str, taken: str | None) -> None:
    with scratch() as c:
        press = press_named(c)
        case = opened(c, press)
        done(c, press, kind, note="said")
        assert [one.kind for one in actions_of(c, case)] == ([taken] if taken else [])


def test_without_an_open_case_an_event_is_an_event_alone() -> None:
    with scratch() as c:
        press = press_named(c)
        done(c, press)
        case = opened(c, press)
        assert actions_of(c, case) == []
        taken = cases.act(c, press, 1, {"event": 1}, who="ada", now_ms=NOW)
        again = cases.act(c, press, 1, {"event": 1}, who="ada", now_ms=NOW)
        assert (taken.what, again.action_no) == ("decompression 4 → 6", taken.action_no)
        with pytest.raises(NotFoundError):
            cases.act(c, press, 1, {"event": 99}, who="ada", now_ms=NOW)


def test_what_cures_nothing_is_no_action() -> None:
    with scratch() as c:
        press = press_named(c)
        opened(c, press)
        refused(
            lambda: cases.act(c, press, 1, {"kind": "top_up"}, who="ada", now_ms=NOW), "kind", "cures nothing"
        )


def test_a_change_of_valve_names_the_valve_that_went() -> None:
    with scratch() as c:
        press = press_named(c)
        for at in (MORNING - HOUR, CHANGE):
            if at == CHANGE:
                opened(c, press)
            valves.put_valve(c, press, {"fitted_at": as_text(at)}, who="olek", now_ms=NOW)
        (action,) = actions_of(c, need(c, press))
        assert (action.kind, action.valve_no) == ("valve", 1)


def need(c: sa.Connection, press: Press) -> Case:
    found = open_case(c, press.press_id) or case_by_no(c, press.press_id, 1)
    assert found is not None
    return found


# --- closing --------------------------------------------------------------------------------------


def test_a_proven_fix_is_closed_with_the_comparison_it_rests_on() -> None:
    with scratch() as c:
        press = troubled(c)
        opened(c, press)
        done(c, press)
        case = closed(c, press)
        assert (case.verdict, case.action_no, case.closed_by, open_case(c, press.press_id)) == (
            "fixed", 1, "ada", None,
        )  # fmt: skip
        kept = need(c, press).evidence
        assert kept["verdict"] == "fixed"
        assert kept["found"]["level"]["state"] == "back"
        assert kept["found"]["shots_after"] == 100, "20 settling shots are left out"
        assert json.dumps(kept)
        assert kept["baseline_no"] == 1


def test_until_enough_shots_have_come_only_cannot_say_closes() -> None:
    with scratch() as c:
        press = troubled(c, after=50)
        opened(c, press)
        done(c, press)
        refused(lambda: closed(c, press), "verdict", "20 more shots")
        assert closed(c, press, "cannot_say", note="the press was scrapped").verdict == "cannot_say"


def test_a_verdict_about_nothing_done_is_refused() -> None:
    with scratch() as c:
        press = troubled(c)
        opened(c, press)
        refused(lambda: closed(c, press), "verdict", "no action")
        refused(lambda: closed(c, press, "cannot_say"), "note")


def test_a_verdict_against_the_shots_needs_a_reason_and_counts_nothing() -> None:
    with scratch() as c:
        press = troubled(c, level_after=74.6)
        opened(c, press)
        done(c, press)
        refused(lambda: closed(c, press, "fixed"), "note")
        closed(c, press, "fixed", note="the parts are good again")
        (study,) = checks_of(c, press.press_id)
        assert (study.verdict, study.asked["counts"]) == ("fixed", False)
        assert marks_of(valves_of(c, press.press_id), [study]) == []


def test_a_closed_case_stays_as_it_is() -> None:
    with scratch() as c:
        press = press_named(c)
        opened(c, press)
        closed(c, press, "cannot_say", note="nothing found")
        for act in (cases.note, cases.change, cases.act, cases.close):
            body = {"note": "x"} if act is cases.note else {"verdict": "fixed"} if act is cases.close else {}
            with pytest.raises(ConflictError):
                act(c, press, 1, body, who="ada", now_ms=NOW)


def test_the_next_change_ends_the_shots_after_the_one_before() -> None:
    with scratch() as c:
        press = troubled(c, after=200, level_after=74.6)
        poured(c, press, start_ms=CHANGE + 2 * HOUR, n=120, level=74.0, counter=2_000)
        opened(c, press)
        done(c, press)
        done(c, press, "lot", at=as_text(CHANGE + 2 * HOUR - MINUTE), lot="B5")
        assert closed(c, press).action_no == 2
        first = proof_of(
            c, press, need(c, press), actions_of(c, need(c, press)),
            action=actions_of(c, need(c, press))[0], now_ms=NOW,
        )  # fmt: skip
        assert first.verdict == "no_change"


# --- what it says of the score ----------------------------------------------------------------------


def test_a_proven_verdict_is_a_mark_of_the_prior_from_its_moment_on() -> None:
    with scratch() as c:
        press = troubled(c)
        opened(c, press)
        done(c, press)
        closed(c, press)
        (mark,) = marks_of([], checks_of(c, press.press_id))
        assert (mark.kind, mark.at_ms) == ("proof", NOW)
        assert mark.log_odds == proof_log_odds("setting", verdict="fixed") < -1.0
        assert waits_from(c, press) is not None


@pytest.mark.parametrize(("level_after", "failing"), [(74.0, True), (74.6, False)])
def test_a_change_of_valve_says_what_the_one_that_went_was(level_after: float, failing: bool) -> None:
    with scratch() as c:
        press = troubled(c, level_after=level_after)
        c.execute(
            sa.insert(scores).values(
                press_id=press.press_id, at_ms=CHANGE - 1, counter=1, model_version="t", ordinal=1,
                baseline_no=1, log_odds=2.5, prior_log_odds=-3.0,
                terms=np.zeros(len(KEPT_TERMS)).tobytes(), causes=b"", facts=b"",
            )
        )  # fmt: skip
        valves.put_valve(c, press, {"fitted_at": as_text(MORNING - HOUR)}, who="olek", now_ms=NOW)
        opened(c, press)
        valves.put_valve(c, press, {"fitted_at": as_text(CHANGE)}, who="olek", now_ms=NOW)
        closed(c, press, "fixed" if failing else "no_change")
        (one,) = inspection_record(c).inspected
        assert (one.failing, one.log_odds, one.at_ms) == (failing, 2.5, CHANGE)


def test_who_looked_into_a_valve_is_believed_before_the_shots() -> None:
    with scratch() as c:
        press = troubled(c)
        valves.put_valve(c, press, {"fitted_at": as_text(MORNING - HOUR)}, who="olek", now_ms=NOW)
        c.execute(
            sa.insert(scores).values(
                press_id=press.press_id, at_ms=MORNING - MINUTE, counter=1, model_version="t", ordinal=1,
                baseline_no=1, log_odds=1.0, prior_log_odds=-3.0,
                terms=np.zeros(len(KEPT_TERMS)).tobytes(), causes=b"", facts=b"",
            )
        )  # fmt: skip
        looked = {"press": press.press, "at": as_text(MORNING), "verdict": "good"}
        keep_study(c, "inspection", looked, who="toolroom", now_ms=NOW)
        opened(c, press)
        valves.put_valve(c, press, {"fitted_at": as_text(CHANGE)}, who="olek", now_ms=NOW)
        closed(c, press)
        (one,) = inspection_record(c).inspected
        assert one.failing is False


# --- its story --------------------------------------------------------------------------------------


def test_the_story_gathers_what_happened_since_the_onset_in_order() -> None:
    with scratch() as c:
        press = troubled(c)
        events.record_event(
            c, press, {"kind": "lot", "at": as_text(MORNING - HOUR), "lot": "A1"}, who="olek", now_ms=NOW
        )
        react(c, press, Condition("leak", True, cause="steady_leak"), now_ms=MORNING + HOUR)
        tick_step(c, press, "weigh", ticked=True, who="ines", now_ms=MORNING + 2 * HOUR)
        opened(c, press)
        cases.note(c, press, 1, {"note": "weights look light"}, who="ines", now_ms=NOW - 2 * HOUR)
        done(c, press)
        told = story_of(c, press, need(c, press), now_ms=NOW)
        assert [one.at_ms for one in told] == sorted(one.at_ms for one in told)
        text = " | ".join(one.text for one in told)
        for part in ("leak", "Step done: Weigh one shot", "weights look light", "decompression 4 → 6"):
            assert part in text
        assert "A1" not in text, "before the onset"
