"""Several people at once: every record gets a number of its own, no alarm is acknowledged twice."""

from concurrent.futures import ThreadPoolExecutor

from server.notify import acts
from server.notify.alarms import react
from server.notify.conditions import Condition
from server.record.events import record_event
from server.store.alarms import steps_of
from server.store.database import Store
from server.store.plant import need_press, put_press
from server.store.records import events_of
from tests.record.asking import NOW

LEAK = Condition("leak", True, True, "now", "steady_leak")


def test_events_recorded_at_once_all_have_their_number(any_store: Store) -> None:
    any_store.write(lambda c: put_press(c, "P07", {}, now_ms=NOW))

    def record(number: int) -> int:
        body = {"kind": "note", "note": f"note {number}"}
        return any_store.write(
            lambda c: record_event(c, need_press(c, "P07"), body, who="eda", now_ms=NOW)
        ).event_no

    with ThreadPoolExecutor(8) as crowd:
        numbers = list(crowd.map(record, range(24)))
    assert sorted(numbers) == list(range(1, 25))
    with any_store.read() as connection:
        assert len(events_of(connection, need_press(connection, "P07").press_id)) == 24


def test_an_alarm_opened_and_acknowledged_by_many_is_one_with_one_name(any_store: Store) -> None:
    any_store.write(lambda c: put_press(c, "P07", {}, now_ms=NOW))

    def look(_: int) -> None:
        any_store.write(lambda c: react(c, need_press(c, "P07"), LEAK, now_ms=NOW))

    def say(number: int) -> str | None:
        alarm, _ = any_store.write(
            lambda c: acts.acknowledge(c, "P07-1", who=f"p{number}", reason="seen", now_ms=NOW)
        )
        return alarm.acknowledged_by

    with ThreadPoolExecutor(8) as crowd:
        list(crowd.map(look, range(16)))
        names = set(crowd.map(say, range(16)))
    assert len(names) == 1
    with any_store.read() as connection:
        (alarm,) = acts.find_alarms(connection, state="all")
        steps = steps_of(connection, alarm.press_id, alarm.alarm_no)
    assert [step.action for step in steps] == ["opened", "acknowledged"]
    assert {alarm.acknowledged_by} == names
