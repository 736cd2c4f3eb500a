"""The floor between shifts, kinds out of service, and how the alarms do against published benchmarks."""

import dataclasses

import pytest
import sqlalchemy as sa

from server.contract import ALARM_KINDS
from server.derived.alarm_performance import Measure, find_floods, is_stale, measure_alarms
from server.derived.shift_summary import summarise
from server.errors import InvalidError, NotFoundError
from server.maths.results import Undetermined
from server.notify import acts, floor, service
from server.notify.alarms import react, tick
from server.notify.conditions import Condition
from server.store import alarm_history, alarm_service
from server.store import floor as kept_floor
from server.store.audit import PLANT, audit_of
from server.store.database import Store
from server.store.plant import PLANT_DEFAULTS, put_settings
from tests.notify.plants import HOUR, MINUTE, MORNING, press_named, scratch

LEAK = Condition("leak", True, True, "now", "steady_leak", {"likelihood": 0.95})
GONE = Condition("leak", False)
DAY = 24 * HOUR


def test_the_shift_so_far_names_what_opened_who_answered_and_what_stays() -> None:
    with scratch() as connection:
        press = press_named(connection)
        other = press_named(connection, "P08")
        react(connection, other, LEAK, now_ms=MORNING - 1)  # in the shift before
        react(connection, press, LEAK, now_ms=MORNING + MINUTE)
        acts.acknowledge(connection, "P08-1", who="vera", reason="going", now_ms=MORNING + 2 * MINUTE)
        react(connection, other, GONE, now_ms=MORNING + 3 * MINUTE)
        found = summarise(connection, now_ms=MORNING + HOUR)
        assert (found.shift.name, found.shift.from_ms) == ("early", MORNING)
        assert found.as_facts() == {
            "opened": ["P-07 Ä+-1"],
            "answered": [{"alarm": "P08-1", "who": "vera", "reason": "going"}],
            "staying": [{"alarm": "P-07 Ä+-1", "urgency": "now", "state": "unacknowledged"}],
            "parts_held": [],
        }


def test_a_shift_begins_at_the_plants_own_hour() -> None:
    with scratch() as connection:
        put_settings(connection, {"time_zone": "Europe/Berlin", "shifts": ["07:30", "19:30"]})
        found = summarise(connection, now_ms=MORNING)  # 08:00 in Berlin
        assert (found.shift.name, found.shift.from_ms) == ("early", MORNING - 30 * MINUTE)


def test_a_hand_over_is_kept_signed_audited_and_read_once() -> None:
    with scratch() as connection:
        number = floor.hand_over(connection, note=" P07 topped up twice. ", who="vera", now_ms=MORNING)
        for who in ("olek", "mina"):
            floor.read_handover(connection, number, who=who, now_ms=MORNING + HOUR)
        (kept,) = kept_floor.latest_handovers(connection)
        assert (kept.who, kept.note, kept.read_by) == ("vera", "P07 topped up twice.", "olek")
        assert [row.action for row in audit_of(connection, PLANT)] == ["handover_read", "shift_handed_over"]
        with pytest.raises(InvalidError, match="nothing to hand over"):
            floor.hand_over(connection, note="  ", who="vera", now_ms=MORNING)
        with pytest.raises(NotFoundError, match="hand-over 9"):
            floor.read_handover(connection, 9, who="vera", now_ms=MORNING)


def test_a_tick_is_the_plants_with_name_and_time() -> None:
    with scratch() as connection:
        press = press_named(connection)
        for who, ticked in (("vera", True), ("olek", True), ("olek", False)):
            floor.tick_step(connection, press, "weigh", ticked=ticked, who=who, now_ms=MORNING)
        (only,) = kept_floor.ticks_of(connection, press.press_id).values()
        assert (only.ticked, only.who) == (False, "olek")
        actions = [(row.action, row.who) for row in audit_of(connection, press.press_id)]
        assert actions == [("tick_taken_back", "olek"), ("step_ticked", "vera")]
        with pytest.raises(InvalidError, match="'guess'"):
            floor.tick_step(connection, press, "guess", ticked=True, who="vera", now_ms=MORNING)


def test_a_kind_out_of_service_calls_nobody_until_its_time_is_over() -> None:
    with scratch() as connection:
        press = press_named(connection)
        until = MORNING + DAY
        service.take_out(
            connection, press, "leak", who="ada", why="screw is out", until_ms=until, now_ms=MORNING
        )
        (opened,) = react(connection, press, LEAK, now_ms=MORNING + 1)
        assert opened.state == "out_of_service"
        (stop,) = alarm_service.stops_now(connection)
        assert (stop.who, stop.why, stop.kind) == ("ada", "screw is out", "leak")
        assert tick(connection, now_ms=until - 1, settings=PLANT_DEFAULTS) == []
        (back,) = tick(connection, now_ms=until, settings=PLANT_DEFAULTS)
        assert (back.action, back.state) == ("put_back_in_service", "unacknowledged")
        assert alarm_service.stops_now(connection) == []
        assert [row.who for row in audit_of(connection, press.press_id)] == ["ringtell", "ada"]


@pytest.mark.parametrize(
    ("kind", "why", "days", "field"),
    [
        ("guess", "a reason", 1, "kind"),
        ("leak", " ", 1, "why"),
        ("leak", "a reason", 31, "until"),
        ("leak", "a reason", 0, "until"),
    ],
)
def test_out_of_service_needs_a_kind_a_reason_and_an_end(kind: str, why: str, days: int, field: str) -> None:
    with scratch() as connection:
        press = press_named(connection)
        until = MORNING + days * DAY
        with pytest.raises(InvalidError) as caught:
            service.take_out(connection, press, kind, who="ada", why=why, until_ms=until, now_ms=MORNING)
        assert caught.value.field == field
        assert "leak" in ALARM_KINDS


def test_a_longer_end_moves_the_stop_and_says_so_in_the_audit() -> None:
    with scratch() as connection:
        press = press_named(connection)
        for days in (1, 2, 2):
            until = MORNING + days * DAY
            service.take_out(
                connection, press, "leak", who="ada", why="repair", until_ms=until, now_ms=MORNING
            )
        (stop,) = alarm_service.stops_now(connection)
        assert stop.until_ms == MORNING + 2 * DAY
        assert len(audit_of(connection, press.press_id)) == 2


def test_the_plant_sets_the_longest_shelf() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING)
        put_settings(connection, {"shelve_max_min": 30})
        with pytest.raises(InvalidError, match="1 to 30"):
            acts.shelve(connection, "P-07 Ä+-1", who="vera", minutes=31, now_ms=MORNING)


def measures(connection: object, **more: int) -> dict[str, Measure]:
    found = measure_alarms(connection, now_ms=MORNING + 10 * DAY, **more)  # type: ignore[arg-type]  # a connection
    return {one.id: one for one in found.measures}


def test_a_quiet_plant_meets_every_benchmark_it_can_be_judged_by() -> None:
    with scratch() as connection:
        found = measures(connection)
        assert isinstance(found["top_ten"].value, Undetermined)
        assert found["top_ten"].met is None
        assert all(one.met is not False for one in found.values())


def test_rates_floods_the_top_ten_and_what_flickers_are_counted() -> None:
    with scratch() as connection:
        start = MORNING
        for number in range(12):  # twelve presses within a minute: a flood
            react(connection, press_named(connection, f"Q{number}"), LEAK, now_ms=start + 5_000 * number)
        flicker = press_named(connection, "Q0")
        for step in range(8):
            condition = LEAK if step % 2 else GONE
            react(connection, flicker, condition, now_ms=start + 5 * DAY + 10_000 * step)
        found = measure_alarms(connection, now_ms=MORNING + 10 * DAY)
        by_id = {one.id: one for one in found.measures}
        assert found.alarms == 16
        assert by_id["rate"].value == pytest.approx(16 / 1440)
        assert (by_id["busiest"].value, by_id["busiest"].met) == (12.0, False)
        assert [flood.count for flood in found.floods] == [12]
        assert found.chattering == (("Q0", "leak"),)
        assert (by_id["chattering"].met, by_id["top_ten"].met) == (False, False)
        first = found.frequent[0]
        assert (first.press, first.count, first.chattering) == ("Q0", 5, True)
        assert len(found.frequent) == 10
        assert len(found.stale) == 12
        assert by_id["stale"].met is False
        assert [one.share for one in found.urgencies] == [1.0, 0.0, 0.0]


def test_what_is_kept_quiet_on_purpose_counts_for_nothing() -> None:
    with scratch() as connection:
        press = press_named(connection)
        react(connection, press, LEAK, now_ms=MORNING, suppressed_by="mold_change")
        found = measure_alarms(connection, now_ms=MORNING + 2 * DAY)
        assert (found.alarms, found.stale) == (0, ())
        (alarm,) = acts.find_alarms(connection)
        assert is_stale(dataclasses.replace(alarm, state="acknowledged"), now_ms=MORNING + 2 * DAY)


def test_a_flood_lasts_until_fewer_than_five_come_in_ten_minutes() -> None:
    burst = [MINUTE * n // 2 for n in range(11)]
    slower = [burst[-1] + 2 * MINUTE * n for n in range(1, 6)]
    (flood,) = find_floods([*burst, *slower], until_ms=DAY)
    assert flood.count == 16
    assert flood.to_ms == slower[-5] + 10 * MINUTE
    assert find_floods([MINUTE * n for n in range(100)], until_ms=DAY) == ()
    assert find_floods([*burst, *[at + 5 * HOUR for at in burst]], until_ms=DAY)[1].from_ms == 5 * HOUR


def test_flickering_shows_at_once_on_the_page() -> None:
    with scratch() as connection:
        press = press_named(connection)
        for step in range(6):
            react(connection, press, GONE if step % 2 else LEAK, now_ms=MORNING + 10_000 * step)
        now = MORNING + MINUTE
        assert alarm_history.chattering(connection, now_ms=now) == {(press.press_id, "leak")}
        assert alarm_history.chattering(connection, now_ms=now + 2 * HOUR) == set()


def test_the_floor_keeps_the_same_on_both_databases(any_store: Store) -> None:
    def shift(connection: sa.Connection) -> dict[str, object]:
        press = press_named(connection)
        service.take_out(
            connection, press, "silent", who="ada", why="repair", until_ms=MORNING + DAY, now_ms=MORNING
        )
        for step in range(6):
            react(connection, press, GONE if step % 2 else LEAK, now_ms=MORNING + 10_000 * step)
        acts.acknowledge(connection, "P-07 Ä+-1", who="vera", reason="going", now_ms=MORNING + MINUTE)
        floor.tick_step(connection, press, "weigh", ticked=True, who="vera", now_ms=MORNING)
        floor.hand_over(connection, note="quiet", who="vera", now_ms=MORNING + MINUTE)
        return summarise(connection, now_ms=MORNING + MINUTE).as_facts()

    facts = any_store.write(shift)
    assert facts["opened"] == ["P-07 Ä+-1"]
    with any_store.read() as connection:
        found = measure_alarms(connection, now_ms=MORNING + HOUR)
        (note,) = kept_floor.latest_handovers(connection)
        assert (found.alarms, found.chattering) == (3, (("P-07 Ä+", "leak"),))
        assert note.summary == facts
        assert [stop.kind for stop in alarm_service.stops_now(connection)] == ["silent"]
