"""Events: what somebody did to a press, at a time that may lie in the past."""

from typing import Any, Final

import sqlalchemy as sa

from server.contract import EVENT_KINDS
from server.errors import InvalidError
from server.language import N_
from server.record.case_actions import take_up
from server.record.fields import Given
from server.store import intake
from server.store.audit import add_audit
from server.store.plant import Press
from server.store.records import Event
from server.store.records import add_event as keep_event

_FIELDS: Final = ("kind", "at", "setting", "from", "to", "lot", "note")
#: Kinds after which shots are looked at anew from that time on.
REWRITING: Final = frozenset({"setting", "lot", "mold_start", "valve_change", "top_up", "maintenance"})


def record_event(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> Event:
    """Keep an event; without `at` it happened now."""
    given = Given.of(body, known=_FIELDS)
    kind = given.choice("kind", EVENT_KINDS)
    at_ms = given.at("at", now_ms=now_ms)
    event = Event(
        press_id=press.press_id,
        at_ms=now_ms if at_ms is None else at_ms,
        event_no=0,
        kind=kind,
        setting=given.text("setting"),
        from_value=given.text("from"),
        to_value=given.text("to"),
        lot=given.text("lot"),
        note=given.note(),
        author=who,
        recorded_ms=now_ms,
    )
    if kind == "note" and not event.note:
        raise InvalidError(N_("note is empty: an event of kind 'note' says something"), field="note")
    return keep(connection, press, event, now_ms=now_ms)


def keep(connection: sa.Connection, press: Press, event: Event, *, now_ms: int) -> Event:
    """Keep an event already checked, with its audit row and what it makes evaluate again."""
    kept = keep_event(connection, event)
    if kept.kind in REWRITING:
        intake.add(
            connection, press.press_id, earliest_ms=kept.at_ms, shots=0, reason="rewrite", now_ms=now_ms
        )
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=kept.author,
        action="event_recorded",
        subject=f"{press.press} event {kept.event_no}",
        after={"kind": kept.kind, "at_ms": kept.at_ms, "setting": kept.setting, "lot": kept.lot},
    )
    take_up(connection, press, kept, now_ms=now_ms)
    return kept
