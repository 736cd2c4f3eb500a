"""Alarms as people meet them: opened once, told what they are, acknowledged under the first name."""

import logging

import pytest

from server.errors import ConflictError, InvalidError, NotFoundError
from server.notify import acts
from server.notify.alarms import react, tick
from server.notify.conditions import Condition, bottoming_condition, leak_condition
from server.notify.delivery import Courier
from server.notify.outbox import LOG_OUTLET
from server.notify.outlets import LogOutlet
from server.store.audit import audit_of
from server.store.database import Store
from server.store.plant import PLANT_DEFAULTS
from tests.notify.plants import HOUR, MINUTE, MORNING, press_named, reported, scratch

LEAK = Condition("leak", True, True, "this_shift", "steady_leak", {"likelihood": 0.75})


def test_a_likelihood_opens_at_one_threshold_and_closes_at_another() -> None:
    opens = [
        leak_condition(p, {"steady_leak": p}, open_now, PLANT_DEFAULTS)
        for p, open_now in ((0.69, False), (0.70, False), (0.41, True), (0.39, True))
    ]
    assert [c is not None and c.active_now for c in opens] == [False, True, True, False]


def test_an_unknown_likelihood_says_nothing() -> None:
    assert leak_condition(None, {}, True, PLANT_DEFAULTS) is None


def test_a_leak_that_came_and_went_within_one_look_is_told() -> None:
    condition = leak_condition(0.1, {"steady_leak": 0.1}, False, PLANT_DEFAULTS, highest=0.95)
    assert condition is not None
    assert (condition.active_now, condition.was_active, condition.urgency) == (False, True, "now")
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, condition, now_ms=MORNING)
        assert [a.state for a in acts.find_alarms(connection)] == ["returned_unacknowledged"]


@pytest.mark.parametrize(
    ("likelihood", "causes", "urgency"),
    [
        (0.92, {"steady_leak": 0.9}, "now"),
        (0.75, {"steady_leak": 0.7}, "this_shift"),
        (0.75, {"not_closing": 0.5, "steady_leak": 0.25}, "now"),
        (0.5, {"erratic_closing": 0.5}, "this_week"),
    ],
)
def test_urgency_follows_likelihood_and_cause(
    likelihood: float, causes: dict[str, float], urgency: str
) -> None:
    condition = leak_condition(likelihood, causes, True, PLANT_DEFAULTS)
    assert condition is not None
    assert condition.urgency == urgency


def test_the_cause_of_an_open_alarm_changes_without_a_second_alarm() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        worse = Condition("leak", True, True, "now", "not_closing", {"likelihood": 0.97})
        changes = react(connection, press, worse, now_ms=MORNING + MINUTE)
        assert [c.action for c in changes] == ["cause_changed", "urgency_changed"]
        (alarm,) = acts.find_alarms(connection)
        assert (alarm.id, alarm.cause, alarm.urgency) == ("P-07%20%C3%84%2B-1", "not_closing", "now")
        assert alarm.facts == {"likelihood": 0.97}
        assert react(connection, press, worse, now_ms=MORNING + 2 * MINUTE) == []


def test_each_kind_has_its_own_alarm() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        react(connection, press, bottoming_condition(True), now_ms=MORNING)
        assert {a.kind for a in acts.find_alarms(connection)} == {"leak", "bottoming"}


def test_the_first_acknowledgement_keeps_its_name_and_is_audited_once() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        acts.acknowledge(
            connection, "P-07 Ä+-1", who="vera", reason="going", note="on my way", now_ms=MORNING
        )
        again, change = acts.acknowledge(
            connection, "P-07 Ä+-1", who="olek", reason="seen", now_ms=MORNING + 1
        )
        assert change is None
        assert (again.acknowledged_by, again.reason, again.note) == ("vera", "going", "on my way")
        assert [row.who for row in audit_of(connection, press.press_id)] == ["vera"]


def test_an_acknowledged_alarm_ends_with_its_condition_and_a_new_one_has_the_next_number() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="seen", now_ms=MORNING)
        gone = Condition("leak", False)
        assert [c.state for c in react(connection, press, gone, now_ms=MORNING + 1)] == ["normal"]
        assert acts.find_alarms(connection) == []
        react(connection, press, LEAK, now_ms=MORNING + 2)
        assert [a.alarm_no for a in acts.find_alarms(connection, state="all")] == [2, 1]
        assert [a.alarm_no for a in acts.find_alarms(connection, state="normal")] == [1]


def test_history_evaluated_again_does_not_reopen_what_somebody_ended() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="seen", now_ms=MORNING)
        react(connection, press, Condition("leak", False), now_ms=MORNING + 10)
        old = Condition("leak", False, True, last_active_ms=MORNING + 5)
        new = Condition("leak", False, True, last_active_ms=MORNING + 15)
        assert react(connection, press, old, now_ms=MORNING + 20) == []
        assert [c.action for c in react(connection, press, new, now_ms=MORNING + 20)] == ["opened"]


def test_the_same_key_acts_once_and_another_act_under_it_is_refused() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        for at in (MORNING, MORNING + HOUR):
            alarm, _ = acts.shelve(
                connection, "P-07 Ä+-1", who="vera", minutes=30, idempotency_key="k1", now_ms=at
            )
            assert alarm.shelved_until_ms == MORNING + 30 * MINUTE
        with pytest.raises(ConflictError, match="k1"):
            acts.unshelve(connection, "P-07 Ä+-1", who="vera", idempotency_key="k1", now_ms=MORNING)


@pytest.mark.parametrize("minutes", [0, 481, -5, True])
def test_shelving_is_bounded(minutes: int) -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        with pytest.raises(InvalidError, match="1 to 480") as caught:
            acts.shelve(connection, "P-07 Ä+-1", who="vera", minutes=minutes, now_ms=MORNING)
        assert caught.value.field == "minutes"


def test_an_ended_alarm_cannot_be_shelved_and_an_unknown_reason_is_named() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, Condition("leak", False, True), now_ms=MORNING)
        with pytest.raises(InvalidError, match="'bored'"):
            acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="bored", now_ms=MORNING)
        acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="not_real", now_ms=MORNING)
        with pytest.raises(ConflictError, match="ended"):
            acts.shelve(connection, "P-07 Ä+-1", who="vera", minutes=5, now_ms=MORNING)


@pytest.mark.parametrize("alarm_id", ["P-07 Ä+-2", "P-07 Ä+", "-1", "1", "P-07 Ä+-x", "P-07 Ä+-²"])
def test_an_unknown_alarm_is_named(alarm_id: str) -> None:
    with scratch() as connection:
        press_named(connection)
        with pytest.raises(NotFoundError):
            acts.need_alarm(connection, alarm_id)


def test_an_alarm_is_found_by_its_id_written_either_way() -> None:
    with scratch() as connection:
        press = press_named(connection, "P%20-1")
        other = press_named(connection, "P -1")
        react(connection, press, LEAK, now_ms=MORNING)
        react(connection, other, LEAK, now_ms=MORNING)
        (first, second) = acts.find_alarms(connection)
        for alarm in (first, second):
            assert acts.need_alarm(connection, f"{alarm.press}-1").press == alarm.press
        assert acts.need_alarm(connection, first.id).press == "P%20-1"


def test_a_live_press_that_stops_sending_is_silent_until_shots_come() -> None:
    with scratch() as connection:
        press = press_named(connection)
        reported(connection, press, at_ms=MORNING)
        assert tick(connection, now_ms=MORNING + 899_000, settings=PLANT_DEFAULTS) == []
        (opened,) = tick(connection, now_ms=MORNING + 900_000, settings=PLANT_DEFAULTS)
        assert (opened.kind, opened.action, opened.urgency) == ("silent", "opened", "this_week")
        assert tick(connection, now_ms=MORNING + HOUR, settings=PLANT_DEFAULTS) == []
        (later,) = tick(connection, now_ms=MORNING + 5 * HOUR, settings=PLANT_DEFAULTS)
        assert (later.action, later.urgency) == ("urgency_changed", "this_shift")
        reported(connection, press, at_ms=MORNING + 6 * HOUR)
        (back,) = tick(connection, now_ms=MORNING + 6 * HOUR + 1, settings=PLANT_DEFAULTS)
        assert back.state == "returned_unacknowledged"
        again = tick(connection, now_ms=MORNING + 7 * HOUR, settings=PLANT_DEFAULTS)
        assert [(c.id, c.action) for c in again] == [
            (opened.id, "urgency_changed"),
            (opened.id, "came_back"),
        ]


def test_imported_history_and_a_press_not_accepted_are_never_silent() -> None:
    with scratch() as connection:
        imported = press_named(connection, "P1")
        reported(connection, imported, at_ms=MORNING - 11 * MINUTE, arrived_ms=MORNING)
        stranger = press_named(connection, "P2", accepted=False)
        reported(connection, stranger, at_ms=MORNING)
        assert tick(connection, now_ms=MORNING + HOUR, settings=PLANT_DEFAULTS) == []


def test_a_server_that_was_down_makes_no_press_silent_but_forgets_none() -> None:
    with scratch() as connection:
        talking, mute = press_named(connection, "P1"), press_named(connection, "P2")
        reported(connection, mute, at_ms=MORNING)
        assert len(tick(connection, now_ms=MORNING + 2 * HOUR, settings=PLANT_DEFAULTS)) == 1
        reported(connection, talking, at_ms=MORNING + 2 * HOUR)
        started = MORNING + 3 * HOUR
        for minutes, silent in ((1, 0), (14, 0), (15, 1)):
            changes = tick(
                connection,
                now_ms=started + minutes * MINUTE,
                settings=PLANT_DEFAULTS,
                listening_since_ms=started,
            )
            assert [c.press for c in changes] == ["P1"] * silent
        assert {a.press for a in acts.find_alarms(connection)} == {"P1", "P2"}


def test_a_press_may_have_its_own_silence() -> None:
    with scratch() as connection:
        press = press_named(connection, silent_after_s=60.0)
        reported(connection, press, at_ms=MORNING)
        assert len(tick(connection, now_ms=MORNING + 61_000, settings=PLANT_DEFAULTS)) == 1


def test_pages_of_alarms_follow_without_gap_or_repetition() -> None:
    with scratch() as connection:
        for number in range(7):
            press = press_named(connection, f"P{number}")
            react(connection, press, LEAK, now_ms=MORNING + number // 3)
        seen, after = [], None
        while page := acts.find_alarms(connection, after=after, limit=2):
            seen += [a.id for a in page]
            after = (page[-1].opened_ms, page[-1].press_id, page[-1].alarm_no)
        assert seen == [a.id for a in acts.find_alarms(connection)]
        assert len(set(seen)) == 7


def test_an_opened_alarm_reaches_the_log_once(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, "ringtell.alarms")
    store.write(lambda c: react(c, press_named(c), LEAK, now_ms=MORNING))
    courier = Courier(store, {LOG_OUTLET: LogOutlet()}, now_ms=lambda: MORNING)
    assert (courier.round(), courier.round()) == (1, 0)
    assert [r.getMessage() for r in caplog.records] == [
        "alarm P-07%20%C3%84%2B-1 leak opened: unacknowledged, this_shift"
    ]
