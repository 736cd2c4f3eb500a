"""The valve ledger: which valve is in which press since when, and why the one before went."""

import dataclasses
from typing import Any, Final

import sqlalchemy as sa

from server.contract import VALVE_STYLES
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.record.events import keep as keep_event
from server.record.fields import Given
from server.store import intake
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import Press, put_press
from server.store.records import Event, Valve, add_valve, change_valve, valves_of

_FIELDS: Final = (
    "fitted_at",
    "style",
    "part_number",
    "material_pair",
    "nominal_clearance_mm",
    "shots_before",
    "removed_reason",
    "found",
    "outcome",
    "note",
)
#: What a valve that went can turn out to be.
OUTCOMES: Final = ("failed", "worn", "good")
#: What belongs to the valve that goes, not to the one that comes.
_OF_THE_OLD: Final = ("removed_reason", "found")


def put_valve(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> Valve:
    """Enter the fitted valve. A later `fitted_at` than the current one's is a change of valve;

    the same time, or none where nothing else says it was changed, corrects the current entry.
    """
    given = Given.of(body, known=_FIELDS)
    lock_press(connection, press.press_id)
    known = valves_of(connection, press.press_id)
    current = known[0] if known else None
    fitted_ms = given.at("fitted_at", now_ms=now_ms)
    if fitted_ms is None:
        fitted_ms = now_ms
    if current is not None and fitted_ms < current.fitted_ms:
        raise InvalidError(
            N_(
                "fitted_at lies before the current valve {valve_no} was fitted; send its own time to"
                " correct that entry, or a later one for a change",
                valve_no=current.valve_no,
            ),
            field="fitted_at",
        )
    if current is not None and fitted_ms == current.fitted_ms:
        valve = _corrected(connection, current, given)
    else:
        valve = _fitted(connection, press, current, given, fitted_ms, who=who, now_ms=now_ms)
    _follow_style(connection, press, valve, now_ms=now_ms)
    # Its age is part of the score.
    intake.add(
        connection, press.press_id, earliest_ms=valve.fitted_ms, shots=0, reason="rewrite", now_ms=now_ms
    )
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="valve_entered",
        subject=f"{press.press} valve {valve.valve_no}",
        before=None if current is None else dataclasses.asdict(current),
        after=dataclasses.asdict(valve),
    )
    return valve


def looked_into(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> Valve:
    """Say of a valve that went why it went and what it turned out to be; what is left out stays."""
    given = Given.of(body, known=("outcome", *_OF_THE_OLD, "note"))
    lock_press(connection, press.press_id)
    valve = need_valve(connection, press, number)
    if valve.removed_ms is None:
        raise ConflictError(
            N_(
                "valve {number} is still in press {press}: what is seen of it there is an inspection",
                number=number,
                press=press.press,
            )
        )
    changes: dict[str, Any] = {name: given.text(name, longest=400) for name in _OF_THE_OLD if given.has(name)}
    if given.has("outcome"):
        changes["outcome"] = given.choice("outcome", OUTCOMES)
    if given.has("note"):
        changes["note"] = given.note()
    before = {name: getattr(valve, name) for name in changes}
    if before == changes:
        return valve
    valve = change_valve(connection, valve, **changes)
    add_audit(
        connection, press.press_id, now_ms=now_ms, who=who, action="valve_looked_into",
        subject=f"{press.press} valve {number}", before=before, after=changes,
    )  # fmt: skip
    return valve


def need_valve(connection: sa.Connection, press: Press, number: int) -> Valve:
    found = next((one for one in valves_of(connection, press.press_id) if one.valve_no == number), None)
    if found is None:
        raise NotFoundError(
            N_(
                "press {press} has no valve {number}; GET /api/v1/valves lists them",
                press=press.press,
                number=number,
            ),
            field="valve",
        )
    return found


def _read(given: Given, *, style: str) -> dict[str, Any]:
    return {
        "style": given.choice("style", VALVE_STYLES) if given.has("style") else style,
        "part_number": given.text("part_number"),
        "material_pair": given.text("material_pair"),
        "nominal_clearance_mm": given.number("nominal_clearance_mm", above=0.0, most=5.0),
        "shots_before": given.whole("shots_before", least=0, most=1_000_000_000),
        "note": given.note(),
    }


def _corrected(connection: sa.Connection, current: Valve, given: Given) -> Valve:
    read = _read(given, style=current.style)
    return change_valve(connection, current, **{name: read[name] for name in read if given.has(name)})


def _fitted(
    connection: sa.Connection,
    press: Press,
    current: Valve | None,
    given: Given,
    fitted_ms: int,
    *,
    who: str,
    now_ms: int,
) -> Valve:
    read = _read(given, style=press.valve_style)
    old = {name: given.text(name, longest=400) for name in _OF_THE_OLD}
    old["outcome"] = given.choice("outcome", OUTCOMES) if given.has("outcome") else ""
    if current is not None:
        change_valve(connection, current, removed_ms=fitted_ms, **old)
        event = Event(
            press_id=press.press_id,
            at_ms=fitted_ms,
            event_no=0,
            kind="valve_change",
            setting="",
            from_value=current.part_number,
            to_value=read["part_number"],
            lot="",
            note=read["note"],
            author=who,
            recorded_ms=now_ms,
        )
        keep_event(connection, press, event, now_ms=now_ms)
    valve = Valve(
        press_id=press.press_id,
        valve_no=0,
        fitted_ms=fitted_ms,
        removed_ms=None,
        removed_reason="",
        found="",
        author=who,
        **read,
    )
    return add_valve(connection, valve)


def _follow_style(connection: sa.Connection, press: Press, valve: Valve, *, now_ms: int) -> None:
    """The press is judged as one with the valve that is in it."""
    if valve.style == press.valve_style:
        return
    put_press(connection, press.press, {"valve_style": valve.style}, now_ms=now_ms)
    intake.add(connection, press.press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms)
