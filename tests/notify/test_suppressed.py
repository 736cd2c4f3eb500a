"""Suppressed by design: in sight, calling nobody, and never a way to lose an alarm."""

from server.notify import acts
from server.notify.alarms import react, suppress
from server.notify.conditions import Condition
from server.store import alarms as kept
from server.store.outbox import due_messages
from tests.notify.plants import HOUR, MINUTE, MORNING, press_named, scratch

HOLDS = Condition("leak", True, True, "now", "steady_leak", {"likelihood": 0.95})
GONE = Condition("leak", False)


def test_an_alarm_under_a_mold_change_is_seen_but_tells_nobody_until_it_is_released() -> None:
    with scratch() as connection:
        press = press_named(connection)
        (opened,) = react(connection, press, HOLDS, now_ms=MORNING, suppressed_by="mold_change")
        assert (opened.action, opened.state) == ("opened", "suppressed")
        assert due_messages(connection, now_ms=MORNING + HOUR) == []
        (released,) = react(connection, press, HOLDS, now_ms=MORNING + MINUTE)
        assert (released.action, released.state) == ("released", "unacknowledged")
        assert [m.action for m in due_messages(connection, now_ms=MORNING + HOUR)] == ["released"]
        steps = kept.steps_of(connection, press.press_id, 1)
        assert [(s.action, s.who, s.reason) for s in steps] == [
            ("opened", "ringtell", "mold_change"),
            ("released", "ringtell", "mold_change"),
        ]


def test_what_held_only_while_suppressed_ends_without_an_answer() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, HOLDS, now_ms=MORNING, suppressed_by="startup")
        (gone,) = react(connection, press, GONE, now_ms=MORNING + 1, suppressed_by="startup")
        assert (gone.action, gone.state) == ("returned", "suppressed")
        (released,) = react(connection, press, GONE, now_ms=MORNING + 2)
        assert (released.action, released.state) == ("released", "normal")


def test_an_alarm_people_were_called_for_still_waits_after_suppression() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, HOLDS, now_ms=MORNING)
        (hidden,) = suppress(connection, press, suppressed_by="study", now_ms=MORNING + 1)
        assert hidden.state == "suppressed"
        react(connection, press, GONE, now_ms=MORNING + 2, suppressed_by="study")
        (back,) = suppress(connection, press, suppressed_by="", now_ms=MORNING + 3)
        assert back.state == "returned_unacknowledged"


def test_what_comes_back_after_an_answer_given_under_suppression_calls_again() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, HOLDS, now_ms=MORNING, suppressed_by="startup")
        acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="seen", now_ms=MORNING)
        react(connection, press, GONE, now_ms=MORNING + 1, suppressed_by="startup")
        react(connection, press, HOLDS, now_ms=MORNING + 2, suppressed_by="startup")
        (released,) = react(connection, press, HOLDS, now_ms=MORNING + 3)
        assert released.state == "unacknowledged"
        (alarm,) = acts.find_alarms(connection)
        assert (alarm.acknowledged_by, alarm.waiting_since_ms) == (None, MORNING + 3)


def test_another_reason_is_a_step_and_the_same_is_none() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, HOLDS, now_ms=MORNING, suppressed_by="mold_change")
        assert react(connection, press, HOLDS, now_ms=MORNING + 1, suppressed_by="mold_change") == []
        (moved,) = react(connection, press, HOLDS, now_ms=MORNING + 2, suppressed_by="startup")
        assert (moved.action, moved.state) == ("suppressed", "suppressed")
