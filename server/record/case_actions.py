"""Actions of a case: whatever is done to a press with an open case is taken up by it, by itself."""

from collections.abc import Mapping
from typing import Final

import sqlalchemy as sa

from server.store.audit import add_audit
from server.store.cases import Case, CaseAction, actions_of, add_action, open_case
from server.store.plant import Press
from server.store.records import Event, valves_of

#: What an event of a kind is as an action. Raising the shot size is none: it hides and cures nothing.
_KINDS: Final[Mapping[str, str]] = {
    "setting": "setting",
    "lot": "material",
    "maintenance": "hardware",
    "valve_change": "valve",
}


def is_action(event: Event) -> bool:
    """Whether an event of this kind can have cured anything."""
    return event.kind in _KINDS


def take_up(connection: sa.Connection, press: Press, event: Event, *, now_ms: int) -> CaseAction | None:
    """The open case's action for an event; None without a case, or for what cures nothing."""
    case = open_case(connection, press.press_id)
    if case is None or not is_action(event) or event.at_ms <= case.onset_ms:
        return None
    return add_to(connection, press, case, event, now_ms=now_ms)


def add_to(connection: sa.Connection, press: Press, case: Case, event: Event, *, now_ms: int) -> CaseAction:
    """Keep an event as an action of a case; the same event again is the same action."""
    for known in actions_of(connection, case):
        if known.event_no == event.event_no:
            return known
    action = add_action(
        connection,
        CaseAction(
            press_id=press.press_id,
            case_no=case.case_no,
            action_no=0,
            kind=_KINDS[event.kind],
            at_ms=event.at_ms,
            event_no=event.event_no,
            valve_no=_valve_that_went(connection, press, event),
            what=_what(event),
            who=event.author,
            recorded_ms=now_ms,
        ),
    )
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=event.author,
        action="case_action_taken_up",
        subject=f"{press.press} case {case.case_no}",
        after={"action": action.action_no, "kind": action.kind, "at_ms": action.at_ms, "what": action.what},
    )
    return action


def _valve_that_went(connection: sa.Connection, press: Press, event: Event) -> int | None:
    if event.kind != "valve_change":
        return None
    gone = [one for one in valves_of(connection, press.press_id) if one.removed_ms == event.at_ms]
    return gone[0].valve_no if gone else None


def _what(event: Event) -> str:
    parts = [event.setting, event.lot]
    if event.from_value or event.to_value:
        parts.append(f"{event.from_value or '?'} → {event.to_value or '?'}")
    text = " ".join(part for part in parts if part) or event.note
    return text[:200]
