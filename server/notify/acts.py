"""What people do with alarms: acknowledge, shelve, unshelve; and the list they look at."""

from urllib.parse import unquote

import sqlalchemy as sa

from server.contract import ACKNOWLEDGE_REASONS, ALARM_STATES
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.notify import life_cycle
from server.notify.alarms import AlarmChanged, By, standing_of, take_step
from server.store import alarms as kept
from server.store.alarms import Alarm, Cursor
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import read_settings

NOTE_LENGTH_MAX = 2_000
KEY_LENGTH_MAX = 200

Acted = tuple[Alarm, AlarmChanged | None]


def split_id(alarm_id: str) -> tuple[str, int]:
    """Press code and number of a public id; a code may hold '-' itself.

    >>> split_id("P-07-12")
    ('P-07', 12)
    """
    press, dash, number = alarm_id.rpartition("-")
    if not (dash and press and number.isascii() and number.isdigit() and len(number) < 10):
        raise NotFoundError(
            N_("no alarm {alarm_id!r}; an id is press code, '-', number", alarm_id=alarm_id), field="id"
        )
    return press, int(number)


def need_alarm(connection: sa.Connection, alarm_id: str) -> Alarm:
    """The alarm, or NotFoundError naming it."""
    press, number = split_id(alarm_id)
    # An address arrives decoded, an id out of a list encoded: both name the alarm.
    alarm = kept.alarm_by_no(connection, press, number)
    alarm = alarm or kept.alarm_by_no(connection, unquote(press), number)
    if alarm is None:
        raise NotFoundError(
            N_("no alarm {alarm_id!r}; GET /api/v1/alarms?state=all lists them", alarm_id=alarm_id),
            field="id",
        )
    return alarm


def acknowledge(
    connection: sa.Connection,
    alarm_id: str,
    *,
    who: str,
    reason: str,
    note: str = "",
    idempotency_key: str | None = None,
    now_ms: int,
) -> Acted:
    """Say that it was seen, with a reason. The first name stays, whoever comes later."""
    if reason not in ACKNOWLEDGE_REASONS:
        raise InvalidError(
            N_("reason {reason!r}: one of {join}", reason=reason, join=", ".join(ACKNOWLEDGE_REASONS)),
            field="reason",
            value=reason,
        )
    by = _by(who, note, idempotency_key, reason=reason)
    alarm, repeated = _fresh(connection, alarm_id, by, "acknowledged")
    if repeated:
        return alarm, None
    return _act(connection, alarm, life_cycle.acknowledge(standing_of(alarm)), by, now_ms=now_ms)


def shelve(
    connection: sa.Connection,
    alarm_id: str,
    *,
    who: str,
    minutes: int,
    note: str = "",
    idempotency_key: str | None = None,
    now_ms: int,
) -> Acted:
    """Put an open alarm aside for some minutes, at most as long as the plant has set."""
    longest = int(read_settings(connection)["shelve_max_min"])
    if isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= longest:
        raise InvalidError(
            N_("minutes {minutes!r}: a whole number from 1 to {longest}", minutes=minutes, longest=longest),
            field="minutes",
            value=minutes,
        )
    by = _by(who, note, idempotency_key)
    alarm, repeated = _fresh(connection, alarm_id, by, "shelved")
    if repeated:
        return alarm, None
    if alarm.ended_ms is not None:
        raise ConflictError(N_("alarm {id} has ended; only an open alarm can be shelved", id=alarm.id))
    move = life_cycle.shelve(standing_of(alarm), until_ms=now_ms + minutes * 60_000)
    return _act(connection, alarm, move, by, now_ms=now_ms)


def unshelve(
    connection: sa.Connection,
    alarm_id: str,
    *,
    who: str,
    note: str = "",
    idempotency_key: str | None = None,
    now_ms: int,
) -> Acted:
    """Take an alarm off the shelf; one that is not on it stays as it is."""
    by = _by(who, note, idempotency_key)
    alarm, repeated = _fresh(connection, alarm_id, by, "unshelved")
    if repeated:
        return alarm, None
    return _act(connection, alarm, life_cycle.unshelve(standing_of(alarm)), by, now_ms=now_ms)


def _by(who: str, note: str, key: str | None, *, reason: str = "") -> By:
    if len(note) > NOTE_LENGTH_MAX:
        raise InvalidError(
            N_(
                "note has {note} characters; at most {note_length_max}",
                note=len(note),
                note_length_max=NOTE_LENGTH_MAX,
            ),
            field="note",
            value=len(note),
        )
    if key is not None and not 1 <= len(key) <= KEY_LENGTH_MAX:
        raise InvalidError(
            N_(
                "Idempotency-Key has {key} characters; 1 to {key_length_max}",
                key=len(key),
                key_length_max=KEY_LENGTH_MAX,
            ),
            field="Idempotency-Key",
        )
    return By(who=who, reason=reason, note=note, idempotency_key=key)


def _fresh(connection: sa.Connection, alarm_id: str, by: By, action: str) -> tuple[Alarm, bool]:
    """The alarm as it stands, locked, and whether this very request was already carried out."""
    alarm = need_alarm(connection, alarm_id)
    lock_press(connection, alarm.press_id)
    alarm = need_alarm(connection, alarm_id)
    if by.idempotency_key is None:
        return alarm, False
    step = kept.step_with_key(connection, alarm, by.idempotency_key)
    if step is None:
        return alarm, False
    if step.action != action:
        raise ConflictError(
            N_(
                "Idempotency-Key {idempotency_key!r} was used for {action!r}; use another for this",
                idempotency_key=by.idempotency_key,
                action=step.action,
            )
        )
    return alarm, True


def _act(connection: sa.Connection, alarm: Alarm, move: life_cycle.Move, by: By, *, now_ms: int) -> Acted:
    moved, change = take_step(connection, alarm, move, by, now_ms=now_ms)
    if change is not None:
        add_audit(
            connection,
            alarm.press_id,
            now_ms=now_ms,
            who=by.who,
            action=f"alarm_{move.action}",
            subject=alarm.id,
            before={"state": alarm.state},
            after={"state": moved.state, "reason": by.reason, "note": by.note},
        )
    return moved, change


def find_alarms(
    connection: sa.Connection,
    *,
    state: str = "open",
    press_id: int | None = None,
    after: Cursor | None = None,
    limit: int = 100,
) -> list[Alarm]:
    """Alarms, newest first: `open`, `all` (ended ones too) or those in one state."""
    if state not in ("open", "all", *ALARM_STATES):
        raise InvalidError(
            N_("state {state!r}: open, all or one of {join}", state=state, join=", ".join(ALARM_STATES)),
            field="state",
            value=state,
        )
    return kept.list_alarms(
        connection,
        states=None if state in ("open", "all") else (state,),
        only_open=state == "open",
        press_id=press_id,
        after=after,
        limit=limit,
    )
