"""No sequence of conditions, people, design and time loses an alarm or an acknowledgement."""

import dataclasses
from typing import Any

import sqlalchemy as sa
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from server.contract import ACKNOWLEDGE_REASONS, ALARM_STATES
from server.notify import acts, service
from server.notify.alarms import react, suppress, tick
from server.notify.conditions import Condition
from server.store import alarm_service
from server.store import alarms as kept
from server.store.alarms import Alarm
from server.store.plant import PLANT_DEFAULTS
from tests.notify.plants import MINUTE, MORNING, engine, press_named

PEOPLE = st.sampled_from(["vera", "olek", "mina"])
KINDS = st.sampled_from(["leak", "bottoming"])
REASONS = st.sampled_from(["", "startup", "mold_change"])
WAITING = ("unacknowledged", "returned_unacknowledged")

_running = precondition(lambda self: hasattr(self, "now"))


@dataclasses.dataclass
class Owed:
    """What the plant owes its people about one kind, kept by counting alone.

    heard: the condition held while nothing by design kept it quiet, and nobody answered since.
    answered: somebody did since the condition last rose.
    """

    active: bool = False
    suppressed: str = ""
    stopped: bool = False
    heard: bool = False
    answered: bool = False
    answers: list[str] = dataclasses.field(default_factory=list)

    def hears(self) -> None:
        if self.active and not (self.suppressed or self.stopped or self.answered):
            self.heard = True


class AlarmLife(RuleBasedStateMachine):
    """Over the real store, against `Owed`."""

    connection: sa.Connection

    @initialize()
    def start(self) -> None:
        self.connection = engine().connect()
        self.press = press_named(self.connection)
        self.owed = {"leak": Owed(), "bottoming": Owed()}
        self.ended: dict[str, Alarm] = {}
        self.now = MORNING

    def teardown(self) -> None:
        if hasattr(self, "connection"):
            self.connection.rollback()
            self.connection.close()

    def open(self, kind: str) -> Alarm | None:
        return kept.open_alarm(self.connection, self.press.press_id, kind)

    def all(self) -> list[Alarm]:
        return kept.list_alarms(self.connection, limit=10_000)

    def later(self) -> int:
        self.now += 1
        return self.now

    @_running
    @rule(kind=KINDS, active=st.booleans(), was=st.booleans(), urgent=st.booleans(), design=REASONS)
    def look(self, kind: str, active: bool, was: bool, urgent: bool, design: str) -> None:
        owed, before = self.owed[kind], self.open(kind)
        urgency = "now" if urgent else "this_shift"
        condition = Condition(kind, active, was or active, urgency, "steady_leak", {"likelihood": 0.8})
        changes = react(self.connection, self.press, condition, now_ms=self.later(), suppressed_by=design)
        if before is None and (active or was):
            assert changes[0].action == "opened"
            owed.suppressed, owed.active, owed.answered = design, active, False
            owed.heard = not design and not owed.stopped
        elif before is not None:
            self.moved(owed, active, design)

    def moved(self, owed: Owed, active: bool, design: str) -> None:
        if design:
            owed.suppressed = design
        if active and not owed.active:
            owed.answered = False
        owed.active = active
        owed.hears()
        owed.suppressed = design
        owed.hears()

    @_running
    @rule(design=REASONS)
    def plan(self, design: str) -> None:
        suppress(self.connection, self.press, suppressed_by=design, now_ms=self.later())
        for kind, owed in self.owed.items():
            if self.open(kind) is not None or owed.suppressed:
                owed.suppressed = design
                owed.hears()

    @_running
    @rule(kind=KINDS, minutes=st.integers(1, 3_000))
    def take_out(self, kind: str, minutes: int) -> None:
        service.take_out(
            self.connection,
            self.press,
            kind,
            who="vera",
            why="sensor in repair",
            until_ms=self.now + minutes * MINUTE,
            now_ms=self.later(),
        )
        self.owed[kind].stopped = True

    @_running
    @rule(kind=KINDS)
    def put_back(self, kind: str) -> None:
        service.put_back(self.connection, self.press, kind, who="olek", now_ms=self.later())
        self.back(kind)

    def back(self, kind: str) -> None:
        self.owed[kind].stopped = False
        self.owed[kind].hears()

    @precondition(lambda self: hasattr(self, "now") and bool(self.all()))
    @rule(data=st.data(), who=PEOPLE, reason=st.sampled_from(ACKNOWLEDGE_REASONS))
    def acknowledge(self, data: Any, who: str, reason: str) -> None:
        alarm = data.draw(st.sampled_from(self.all()))
        after, change = acts.acknowledge(
            self.connection, alarm.id, who=who, reason=reason, now_ms=self.later()
        )
        if alarm.acknowledged_by is not None:
            assert (after.acknowledged_by, after.reason) == (alarm.acknowledged_by, alarm.reason)
        if alarm.ended_ms is None:
            self.owed[alarm.kind].heard, self.owed[alarm.kind].answered = False, True
            assert after.acknowledged_by is not None
            assert change is None or change.state not in WAITING
            self.owed[alarm.kind].answers += [who] if change is not None else []

    @precondition(lambda self: hasattr(self, "now") and self.open("leak") is not None)
    @rule(minutes=st.integers(1, 480))
    def shelve(self, minutes: int) -> None:
        alarm = self.open("leak")
        assert alarm is not None
        after, _ = acts.shelve(self.connection, alarm.id, who="vera", minutes=minutes, now_ms=self.later())
        assert after.shelved_until_ms == self.now + minutes * MINUTE

    @precondition(lambda self: hasattr(self, "now") and self.open("leak") is not None)
    @rule()
    def unshelve(self) -> None:
        alarm = self.open("leak")
        assert alarm is not None
        after, _ = acts.unshelve(self.connection, alarm.id, who="vera", now_ms=self.later())
        assert after.state != "shelved"

    @_running
    @rule(minutes=st.integers(0, 600))
    def wait(self, minutes: int) -> None:
        self.now += minutes * MINUTE
        held = {stop.kind for stop in alarm_service.stops_now(self.connection)}
        tick(self.connection, now_ms=self.now, settings=PLANT_DEFAULTS)
        for kind in held - {stop.kind for stop in alarm_service.stops_now(self.connection)}:
            self.back(kind)

    @_running
    @invariant()
    def nothing_is_lost(self) -> None:
        alarms = self.all()
        for kind in self.owed:
            opened = [alarm for alarm in alarms if alarm.kind == kind and alarm.ended_ms is None]
            assert len(opened) <= 1
        for alarm in alarms:
            assert alarm.state in ALARM_STATES
            assert (alarm.state == "normal") == (alarm.ended_ms is not None)
            steps = kept.steps_of(self.connection, alarm.press_id, alarm.alarm_no)
            assert [step.step for step in steps] == list(range(1, len(steps) + 1))
            assert steps[0].action == "opened"
            assert steps[-1].state == alarm.state
            assert all(step.who for step in steps)
            # An ended alarm never moves.
            if alarm.ended_ms is not None:
                assert not alarm.active
                assert alarm == self.ended.setdefault(alarm.id, alarm)

    @_running
    @invariant()
    def whoever_must_hear_is_called(self) -> None:
        for kind, owed in self.owed.items():
            alarm = self.open(kind)
            if owed.active:
                assert alarm is not None
                assert alarm.active
            if not owed.heard:
                continue
            # Nobody has answered: it waits, or is kept quiet in sight; it is never gone.
            assert alarm is not None
            assert alarm.acknowledged_by is None
            quiet = owed.stopped or owed.suppressed or alarm.shelved_until_ms is not None
            assert (alarm.state in WAITING) == (not quiet)
            assert (alarm.waiting_since_ms is not None) == (alarm.state in WAITING)

    @_running
    @invariant()
    def every_answer_is_kept(self) -> None:
        for kind, owed in self.owed.items():
            steps = [
                step.who
                for alarm in reversed(self.all())
                if alarm.kind == kind
                for step in kept.steps_of(self.connection, alarm.press_id, alarm.alarm_no)
                if step.action == "acknowledged"
            ]
            assert sorted(steps) == sorted(owed.answers)

    @_running
    @invariant()
    def nothing_outlasts_its_time(self) -> None:
        self.wait(0)
        for alarm in self.all():
            assert alarm.shelved_until_ms is None or alarm.shelved_until_ms > self.now or alarm.ended_ms
        for stop in alarm_service.stops_now(self.connection):
            assert stop.until_ms > self.now
        stopped = {stop.kind for stop in alarm_service.stops_now(self.connection)}
        assert stopped == {kind for kind, owed in self.owed.items() if owed.stopped}


TestAlarmLife = AlarmLife.TestCase
TestAlarmLife.settings = settings(max_examples=30, stateful_step_count=25, deadline=None)
