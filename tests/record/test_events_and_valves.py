"""Events and valves: kept at their own time, evaluated from there."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.clock import as_text
from server.record import valves
from server.record.events import record_event
from server.record.fields import read_time
from server.store.audit import audit_of
from server.store.plant import Press, need_press
from server.store.records import events_of, valves_of
from tests.notify.plants import HOUR, MORNING, press_named, scratch
from tests.record.asking import NOW, refused, waits_from


@pytest.mark.parametrize("at", ["2026-04-01T06:00:00", "2026-04-01", "now", 5, "2026-13-01T06:00:00Z"])
def test_a_time_without_its_offset_is_refused(at: Any) -> None:
    refused(lambda: read_time("at", at, now_ms=NOW), "at", "offset")


def test_a_time_to_come_is_refused() -> None:
    refused(lambda: read_time("at", as_text(NOW + HOUR), now_ms=NOW), "at", "10 min")


@pytest.mark.parametrize(
    ("kind", "rewrites"),
    [
        ("setting", True),
        ("lot", True),
        ("mold_start", True),
        ("maintenance", True),
        ("valve_change", True),
        ("top_up", True),
        ("note", False),
    ],
)
def test_an_event_is_kept_at_its_own_time_and_evaluated_from_there(kind: str, rewrites: bool) -> None:
    with scratch() as connection:
        press = press_named(connection)
        body = {"kind": kind, "at": "2026-04-01T08:00:00+02:00", "note": "seen", "from": 80, "to": "82"}
        record_event(connection, press, body, who="olek", now_ms=NOW)
        (event,) = events_of(connection, press.press_id)
        assert (event.at_ms, event.recorded_ms, event.author) == (MORNING, NOW, "olek")
        assert (event.from_value, event.to_value) == ("80", "82")
        assert waits_from(connection, press) == (MORNING if rewrites else None)
        assert len(audit_of(connection, press.press_id)) == 1


def test_an_unknown_event_or_an_empty_note_is_refused() -> None:
    with scratch() as connection:
        press = press_named(connection)
        for body, field in (({"kind": "party"}, "kind"), ({"kind": "note"}, "note")):
            refused(lambda body=body: record_event(connection, press, body, who="olek", now_ms=NOW), field)


def fit(connection: sa.Connection, press: Press, at_ms: int, **body: Any) -> Any:
    asked = {"fitted_at": as_text(at_ms), **body}
    return valves.put_valve(connection, press, asked, who="olek", now_ms=NOW)


def test_a_new_valve_ends_the_old_one_and_is_an_event() -> None:
    with scratch() as connection:
        press = press_named(connection)
        fit(connection, press, MORNING, part_number="R-1", shots_before=100)
        assert events_of(connection, press.press_id) == []
        fit(connection, press, MORNING + HOUR, part_number="R-2", removed_reason="worn", found="scored seat")
        new, old = valves_of(connection, press.press_id)
        assert (old.part_number, old.removed_ms, old.found) == ("R-1", MORNING + HOUR, "scored seat")
        assert (new.part_number, new.removed_ms, new.found) == ("R-2", None, "")
        (event,) = events_of(connection, press.press_id)
        assert (event.kind, event.at_ms, event.from_value, event.to_value) == (
            "valve_change",
            MORNING + HOUR,
            "R-1",
            "R-2",
        )
        # The age of the first valve is part of the score too.
        assert waits_from(connection, press) == MORNING


def test_the_same_time_corrects_and_an_earlier_one_is_refused() -> None:
    with scratch() as connection:
        press = press_named(connection)
        fit(connection, press, MORNING, part_number="R-1", note="from the shelf")
        fit(connection, press, MORNING, part_number="R-1a")
        (valve,) = valves_of(connection, press.press_id)
        assert (valve.part_number, valve.note) == ("R-1a", "from the shelf")
        refused(lambda: fit(connection, press, MORNING - HOUR), "fitted_at", "before")


def test_a_valve_of_another_style_changes_what_the_press_is_judged_as() -> None:
    with scratch() as connection:
        press = press_named(connection)
        fit(connection, press, MORNING, style="ball_check")
        assert need_press(connection, press.press).valve_style == "ball_check"
        assert waits_from(connection, press) == 0
