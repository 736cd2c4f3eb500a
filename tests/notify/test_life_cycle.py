"""No sequence of conditions, people and time loses an alarm or an acknowledgement."""

from typing import Any

import sqlalchemy as sa
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from server.contract import ACKNOWLEDGE_REASONS, ALARM_STATES
from server.notify import acts
from server.notify.alarms import react, tick
from server.notify.conditions import Condition
from server.store import alarms as kept
from server.store.alarms import Alarm
from server.store.plant import PLANT_DEFAULTS
from tests.notify.plants import MINUTE, MORNING, engine, press_named

PEOPLE = st.sampled_from(["vera", "olek", "mina"])


class AlarmLife(RuleBasedStateMachine):
    """Against a model that only counts: how often the condition rose unseen, who said what first."""

    connection: sa.Connection

    @initialize()
    def start(self) -> None:
        self.connection = engine().connect()
        self.press = press_named(self.connection)
        self.now = MORNING
        self.active = False
        self.first_names: dict[int, tuple[str, str]] = {}
        self.seen: set[int] = set()
        self.rises = 0

    def teardown(self) -> None:
        if hasattr(self, "connection"):
            self.connection.rollback()
            self.connection.close()

    def open(self) -> Alarm | None:
        return kept.open_alarm(self.connection, self.press.press_id, "leak")

    def all(self) -> list[Alarm]:
        return kept.list_alarms(self.connection, limit=10_000)

    @rule(active=st.booleans(), was=st.booleans(), urgency=st.sampled_from(["now", "this_shift"]))
    def look(self, active: bool, was: bool, urgency: str) -> None:
        before = self.open()
        condition = Condition("leak", active, was or active, urgency, "steady_leak", {"likelihood": 0.8})
        changes = react(self.connection, self.press, condition, now_ms=self.now)
        if before is None and (active or was):
            self.rises += 1
            assert [c.action for c in changes] == ["opened"]
        self.active = active

    @precondition(lambda self: hasattr(self, "first_names") and bool(self.all()))
    @rule(data=st.data(), who=PEOPLE, reason=st.sampled_from(ACKNOWLEDGE_REASONS))
    def acknowledge(self, data: Any, who: str, reason: str) -> None:
        alarm = data.draw(st.sampled_from(self.all()))
        after, _ = acts.acknowledge(self.connection, alarm.id, who=who, reason=reason, now_ms=self.now)
        self.first_names.setdefault(alarm.alarm_no, (who, reason))
        assert (after.acknowledged_by, after.reason) == self.first_names[alarm.alarm_no]

    @precondition(lambda self: hasattr(self, "first_names") and self.open() is not None)
    @rule(minutes=st.integers(1, 480))
    def shelve(self, minutes: int) -> None:
        alarm = self.open()
        assert alarm is not None
        after, _ = acts.shelve(self.connection, alarm.id, who="vera", minutes=minutes, now_ms=self.now)
        assert after.shelved_until_ms == self.now + minutes * MINUTE

    @precondition(lambda self: hasattr(self, "first_names") and self.open() is not None)
    @rule()
    def unshelve(self) -> None:
        alarm = self.open()
        assert alarm is not None
        after, _ = acts.unshelve(self.connection, alarm.id, who="vera", now_ms=self.now)
        assert after.state != "shelved"

    @rule(minutes=st.integers(0, 600))
    def wait(self, minutes: int) -> None:
        self.now += minutes * MINUTE
        tick(self.connection, now_ms=self.now, settings=PLANT_DEFAULTS)

    @invariant()
    def nothing_is_lost(self) -> None:
        if not hasattr(self, "first_names"):
            return
        alarms = self.all()
        assert len(alarms) == self.rises
        assert len([alarm for alarm in alarms if alarm.ended_ms is None]) <= 1
        for alarm in alarms:
            assert alarm.state in ALARM_STATES
            assert (alarm.state == "normal") == (alarm.ended_ms is not None)
            name = self.first_names.get(alarm.alarm_no)
            assert (alarm.acknowledged_by, alarm.reason) == (name or (None, None))
            # An alarm goes only when the condition is gone and somebody knew.
            if alarm.ended_ms is not None:
                assert name is not None
                assert not alarm.active
            steps = kept.steps_of(self.connection, alarm.press_id, alarm.alarm_no)
            assert [step.step for step in steps] == list(range(1, len(steps) + 1))
            assert steps[0].action == "opened"
            assert steps[-1].state == alarm.state
            assert [s.action for s in steps].count("acknowledged") == (name is not None)

    @invariant()
    def an_active_condition_has_its_alarm(self) -> None:
        if not hasattr(self, "first_names") or not self.active:
            return
        alarm = self.open()
        assert alarm is not None
        assert alarm.active

    @invariant()
    def no_shelf_outlasts_its_time(self) -> None:
        if not hasattr(self, "first_names"):
            return
        tick(self.connection, now_ms=self.now, settings=PLANT_DEFAULTS)
        alarm = self.open()
        if alarm is not None and alarm.shelved_until_ms is not None:
            assert alarm.shelved_until_ms > self.now


TestAlarmLife = AlarmLife.TestCase
TestAlarmLife.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)
