"""Alarms over HTTP: the list, one with its history, and what people do with them."""

from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Body, Header, Query, Request

from server.access.actors import Permission
from server.notify import acts
from server.notify.acts import Acted
from server.record.fields import Given
from server.routes.calls import (
    allow,
    code_of,
    cursor_text,
    objects_of,
    page_of,
    read_cursor,
    when,
    write,
)
from server.store.alarms import Alarm, AlarmStep, steps_of
from server.store.plant import need_press

router = APIRouter(prefix="/api/v1/alarms", tags=["alarms"])

Key = Annotated[str | None, Header(alias="Idempotency-Key")]
Sent = Annotated[Any, Body()]


def alarm_item(alarm: Alarm) -> dict[str, Any]:
    """An alarm as the API writes it."""
    return {
        "id": alarm.id,
        "press": alarm.press,
        "kind": alarm.kind,
        "state": alarm.state,
        "urgency": alarm.urgency,
        "cause": alarm.cause or None,
        "opened_at": when(alarm.opened_ms),
        "since": when(alarm.since_ms),
        "ended_at": when(alarm.ended_ms),
        "acknowledged_by": alarm.acknowledged_by,
        "acknowledged_at": when(alarm.acknowledged_ms),
        "reason": alarm.reason,
        "note": alarm.note,
        "shelved_until": when(alarm.shelved_until_ms),
        "active": alarm.active,
        "suppressed_by": alarm.suppressed_by or None,
        "out_of_service": alarm.out_of_service,
        "escalated": alarm.escalated,
        "facts": dict(alarm.facts),
    }


def _step_item(step: AlarmStep) -> dict[str, Any]:
    return {
        "step": step.step,
        "at": when(step.at_ms),
        "action": step.action,
        "state": step.state,
        "who": step.who,
        "reason": step.reason or None,
        "note": step.note,
    }


@router.get("")
def list_alarms(
    request: Request,
    state: str = "open",
    press: str | None = None,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 100,
    cursor: str | None = None,
) -> dict[str, Any]:
    """Alarms, newest first. `state`: open, all (ended ones too) or one state."""
    code = None if press is None else code_of(press)
    allow(request, "read", press=code)
    after = None if cursor is None else read_cursor(cursor, length=3)
    with objects_of(request).store.read() as connection:
        press_id = None if code is None else need_press(connection, code).press_id
        found = acts.find_alarms(
            connection,
            state=state,
            press_id=press_id,
            after=None if after is None else (after[0], after[1], after[2]),
            limit=limit + 1,
        )
    page, more = found[:limit], len(found) > limit
    last = page[-1] if more else None
    return page_of(
        [alarm_item(alarm) for alarm in page],
        None if last is None else cursor_text((last.opened_ms, last.press_id, last.alarm_no)),
    )


@router.get("/{alarm_id}")
def one_alarm(request: Request, alarm_id: str) -> dict[str, Any]:
    """One alarm with every step it took."""
    allowed = _may(request, "read", alarm_id)
    with objects_of(request).store.read() as connection:
        alarm = acts.need_alarm(connection, allowed.alarm_id)
        steps = steps_of(connection, alarm.press_id, alarm.alarm_no)
    return {**alarm_item(alarm), "steps": [_step_item(step) for step in steps]}


@router.post("/{alarm_id}/acknowledge")
def acknowledge(request: Request, alarm_id: str, body: Sent = None, key: Key = None) -> dict[str, Any]:
    """Say that it was seen. The first name stays: a second acknowledgement changes nothing."""
    may, now_ms = _may(request, "acknowledge", alarm_id), objects_of(request).now_ms()
    given = _object(body, "reason", "note")
    reason, note = given.text("reason"), given.note()
    return _done(
        request,
        write(
            request,
            lambda c: acts.acknowledge(
                c,
                may.alarm_id,
                who=may.who,
                reason=reason,
                note=note,
                idempotency_key=key,
                now_ms=now_ms,
            ),
        ),
    )


@router.post("/{alarm_id}/shelve")
def shelve(request: Request, alarm_id: str, body: Sent = None, key: Key = None) -> dict[str, Any]:
    """Put it aside for some minutes."""
    may, now_ms = _may(request, "shelve", alarm_id), objects_of(request).now_ms()
    given = _object(body, "minutes", "note")
    minutes: Any = given.body.get("minutes")
    note = given.note()
    return _done(
        request,
        write(
            request,
            lambda c: acts.shelve(
                c,
                may.alarm_id,
                who=may.who,
                minutes=minutes,
                note=note,
                idempotency_key=key,
                now_ms=now_ms,
            ),
        ),
    )


@router.post("/{alarm_id}/unshelve")
def unshelve(request: Request, alarm_id: str, body: Sent = None, key: Key = None) -> dict[str, Any]:
    """Take it off the shelf."""
    may, now_ms = _may(request, "shelve", alarm_id), objects_of(request).now_ms()
    note = _object(body, "note").note()
    return _done(
        request,
        write(
            request,
            lambda c: acts.unshelve(
                c, may.alarm_id, who=may.who, note=note, idempotency_key=key, now_ms=now_ms
            ),
        ),
    )


class _Allowed(NamedTuple):
    who: str
    alarm_id: str


def _may(request: Request, permission: Permission, alarm_id: str) -> _Allowed:
    """Who acts on which alarm, if they may: the press is the alarm's own, however the id was written."""
    with objects_of(request).store.read() as connection:
        alarm = acts.need_alarm(connection, code_of(alarm_id))
    return _Allowed(allow(request, permission, press=alarm.press).name, f"{alarm.press}-{alarm.alarm_no}")


def _done(request: Request, acted: Acted) -> dict[str, Any]:
    alarm, change = acted
    if change is not None:
        objects_of(request).hub.publish("alarm", alarm.id)
    return alarm_item(alarm)


def _object(body: Any, *known: str) -> Given:
    """The body; none at all is an empty one."""
    return Given.of({} if body is None or body == b"" else body, known=known)
