"""One cause calls once: charts, doubts and a mold's demand as conditions, and when they are held back."""

import json
import struct
from collections.abc import Mapping
from typing import Any

import pytest
import sqlalchemy as sa

from server.contract import CAUSES, DOUBTS, LEVEL_MOVED, PARTS, SCATTER_GROWN
from server.notify.alarms import react
from server.notify.chart_conditions import capability_condition, doubt_condition
from server.notify.conditions import Condition
from server.notify.held_back import HOLDS_MS, held_back_by, release_due
from server.notify.press_conditions import conditions_of
from server.store.alarms import open_alarm
from server.store.evaluation import Evaluation
from server.store.held_back import keep_held_back
from server.store.plant import Press, read_settings
from server.store.records import Event, add_event
from server.store.tables import press_states
from server.words.alarm_words import DOUBT_WORDS, chart_alarm_text
from server.words.guidance import PARTS_WORDS, floor_advice, parts_of
from tests.notify.plants import HOUR, MORNING, press_named, reported, scratch


def chart(signal: str, rule: str, *, moved: float = 1.2, since_ms: int = MORNING) -> dict[str, Any]:
    return {"signal": signal, "rule": rule, "moved": moved, "since_ms": since_ms}


def evaluation(
    press: Press,
    *,
    active: tuple[dict[str, Any], ...] = (),
    findings: tuple[dict[str, Any], ...] = (),
    doubts: Mapping[str, Any] | None = None,
    log_odds: float = -4.0,
    restart_left: int = 0,
) -> Evaluation:
    probabilities = [0.02] * len(CAUSES)
    probabilities[CAUSES.index("viscosity_shift")] = 0.6
    watching = {"active": list(active), "doubts": doubts or {}, "restart_left": restart_left}
    state = {
        "watching": json.dumps(watching),
        "causes": struct.pack(f"<{len(CAUSES)}d", *probabilities),
        "log_odds": log_odds,
        "leak_status": "ok",
        "bottoming_since_ms": None,
        "box": "B1",
        "mold": "M-1",
        "score_ms": MORNING,
        "evaluated_ms": MORNING,
    }
    return Evaluation(press.press_id, (), None, [], list(findings), [], [], state)


def found(connection: sa.Connection, one: Evaluation, press: Press, **more: Any) -> dict[str, Condition]:
    leak = open_alarm(connection, press.press_id, "leak")
    conditions = conditions_of(
        one,
        settings=read_settings(connection),
        seen_ms=more.get("seen_ms", MORNING),
        leaks=leak is not None and leak.active,
    )
    return {condition.kind: condition for condition in conditions}


def test_levels_that_moved_together_are_one_alarm_with_the_leading_cause() -> None:
    with scratch() as connection:
        press = press_named(connection)
        pressures = (chart("peak_pressure_bar", LEVEL_MOVED), chart("transfer_pressure_bar", LEVEL_MOVED))
        shift = found(connection, evaluation(press, active=pressures), press)["shift"]
    assert (shift.active_now, shift.cause, shift.urgency) == (True, "viscosity_shift", "this_week")
    assert set(shift.facts["signals"]) == {"peak_pressure_bar", "transfer_pressure_bar"}


def test_a_leak_speaks_for_its_signals_and_not_for_others() -> None:
    with scratch() as connection:
        press = press_named(connection)
        active = (chart("swept_mm", LEVEL_MOVED), chart("swept_mm", SCATTER_GROWN))
        leaking = found(connection, evaluation(press, active=active, log_odds=4.0), press)
        other = found(
            connection,
            evaluation(press, active=(*active, chart("fill_time_s", LEVEL_MOVED)), log_odds=4.0),
            press,
        )
    assert leaking["leak"].active_now
    assert not leaking["shift"].active_now
    assert not leaking["scatter"].active_now
    assert set(other["shift"].facts["signals"]) == {"fill_time_s"}


@pytest.mark.parametrize(("level_ms", "leads"), [(MORNING - 1, "shift"), (MORNING + 1, "scatter")])
def test_of_level_and_scatter_the_first_one_speaks(level_ms: int, leads: str) -> None:
    active = (chart("shot_size_mm", LEVEL_MOVED, since_ms=level_ms), chart("shot_size_mm", SCATTER_GROWN))
    with scratch() as connection:
        press = press_named(connection)
        kinds = found(connection, evaluation(press, active=active), press)
    assert {kind for kind in ("shift", "scatter") if kinds[kind].active_now} == {leads}


@pytest.mark.parametrize(("to_ms", "is_news"), [(MORNING - 1, False), (MORNING + 1, True)])
def test_old_history_opens_nothing(to_ms: int, is_news: bool) -> None:
    row = {"signal": "swept_mm", "rule": LEVEL_MOVED, "to_ms": to_ms, "extreme": 1.0}
    with scratch() as connection:
        press = press_named(connection)
        one = evaluation(press, findings=(row,))
        assert found(connection, one, press)["shift"].was_active is is_news
        assert not found(connection, one, press, seen_ms=None)["shift"].was_active


def test_run_rule_findings_call_nobody() -> None:
    row = {"signal": "swept_mm", "rule": "one_side", "to_ms": MORNING + 1, "extreme": 3.0}
    with scratch() as connection:
        press = press_named(connection)
        kinds = found(connection, evaluation(press, findings=(row,)), press)
    assert not any(condition.active_now or condition.was_active for condition in kinds.values())


@pytest.mark.parametrize("doubt", DOUBTS)
def test_every_doubt_has_words_and_alarms(doubt: str) -> None:
    condition = doubt_condition({doubt: {"since_ms": 1, "of_last_100": 9}}, facts={})
    assert condition.active_now
    assert DOUBT_WORDS[doubt] in chart_alarm_text("data_quality", condition.facts)


def test_a_mold_that_falls_short_is_sorted() -> None:
    short = {"part_weight_g": {"ppk": 0.8, "upper": 1.1, "demand": 1.33}}
    condition = capability_condition(short, facts={})
    assert condition.urgency == "this_shift"
    assert "0.80" in chart_alarm_text("capability", condition.facts)
    assert floor_advice("capability", "", condition.urgency).startswith(PARTS_WORDS["sort"])


def test_every_alarm_says_what_to_do_with_the_parts() -> None:
    assert set(PARTS_WORDS) == set(PARTS)
    assert parts_of("leak", "now") == "stop"
    assert parts_of("leak", "this_shift") == "sort"
    assert parts_of("scatter", "this_week") == "go_on"


def test_a_press_that_starts_up_is_held_back() -> None:
    with scratch() as connection:
        press = press_named(connection)
        state = evaluation(press, restart_left=7).state
        assert held_back_by(connection, press, state) == "startup"
        assert held_back_by(connection, press, evaluation(press).state) == ""


def test_two_settings_within_the_hour_are_a_trial() -> None:
    with scratch() as connection:
        press = press_named(connection)
        state = evaluation(press).state
        for minutes in (10, 20):
            assert held_back_by(connection, press, state) == ""
            at_ms = MORNING - minutes * 60_000
            add_event(
                connection,
                Event(
                    press_id=press.press_id, at_ms=at_ms, event_no=0, kind="setting", setting="speed",
                    from_value="", to_value="", lot="", note="", author="t", recorded_ms=0,
                ),
            )  # fmt: skip
        assert held_back_by(connection, press, state) == "study"


def test_what_is_held_back_is_released_after_an_hour_without_shots() -> None:
    with scratch() as connection:
        press = press_named(connection)
        reported(connection, press, at_ms=MORNING)
        connection.execute(sa.update(press_states).values(evaluated_ms=MORNING))
        keep_held_back(connection, press.press_id, "startup")
        react(connection, press, Condition("shift", True), now_ms=MORNING, suppressed_by="startup")
        assert release_due(connection, now_ms=MORNING + HOLDS_MS - 1) == []
        (change,) = release_due(connection, now_ms=MORNING + HOLDS_MS + HOUR)
        alarm = open_alarm(connection, press.press_id, "shift")
        assert change.kind == "shift"
        assert alarm is not None
        assert alarm.suppressed_by == ""
