"""Out of service: a kind of alarm on one press that calls nobody until a time, by whom and why."""

import sqlalchemy as sa

from server.contract import ALARM_KINDS
from server.errors import InvalidError
from server.language import N_
from server.notify import life_cycle
from server.notify.steps import SYSTEM, AlarmChanged, By, standing_of, take_step
from server.store import alarm_service as kept_stops
from server.store import alarms as kept
from server.store.alarm_service import Stop
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import Press, press_by_id, read_settings

#: Characters of the reason somebody must give, at least and at most.
WHY_LENGTH_MIN, WHY_LENGTH_MAX = 3, 500
DAY_MS = 86_400_000


def take_out(
    connection: sa.Connection,
    press: Press,
    kind: str,
    *,
    who: str,
    why: str,
    until_ms: int,
    now_ms: int,
) -> tuple[Stop, list[AlarmChanged]]:
    """Take a kind out of service until a time; when it is out already, the end and the reason move."""
    _check(connection, kind, why, until_ms, now_ms=now_ms)
    lock_press(connection, press.press_id)
    before = kept_stops.stop_of(connection, press.press_id, kind)
    if before is not None and (before.until_ms, before.why) == (until_ms, why):
        return before, []
    wanted = Stop(press.press_id, press.press, 0, kind, now_ms, until_ms, who, why)
    if before is None:
        kept_stops.add_stop(connection, wanted)
    else:
        kept_stops.move_end(connection, before, until_ms=until_ms, who=who, why=why)
    stop = kept_stops.stop_of(connection, press.press_id, kind)
    if stop is None:
        raise InvalidError(
            N_(
                "kind {kind!r} of {press} went back into service meanwhile; try again",
                kind=kind,
                press=press.press,
            )
        )
    _audit(connection, stop, before, who=who, action="alarm_taken_out_of_service", now_ms=now_ms)
    by = By(who=who, note=why)
    return stop, _moved(connection, press.press_id, kind, by, out_of_service=True, now_ms=now_ms)


def put_back(
    connection: sa.Connection, press: Press, kind: str, *, who: str, now_ms: int
) -> list[AlarmChanged]:
    """Put a kind back in service; one that is in service stays as it is."""
    _known(kind)
    lock_press(connection, press.press_id)
    stop = kept_stops.stop_of(connection, press.press_id, kind)
    if stop is None:
        return []
    kept_stops.end_stop(connection, stop, now_ms=now_ms, who=who)
    _audit(connection, None, stop, who=who, action="alarm_put_back_in_service", now_ms=now_ms)
    return _moved(connection, press.press_id, kind, By(who=who), out_of_service=False, now_ms=now_ms)


def put_back_due(connection: sa.Connection, *, now_ms: int) -> list[AlarmChanged]:
    """What was out of service until now is back."""
    changes: list[AlarmChanged] = []
    for stop in kept_stops.stops_now(connection, until_ms=now_ms):
        press = press_by_id(connection, stop.press_id)
        changes += put_back(connection, press, stop.kind, who=SYSTEM, now_ms=now_ms)
    return changes


def _known(kind: str) -> None:
    if kind not in ALARM_KINDS:
        raise InvalidError(
            N_("kind {kind!r}: one of {join}", kind=kind, join=", ".join(ALARM_KINDS)),
            field="kind",
            value=kind,
        )


def _check(connection: sa.Connection, kind: str, why: str, until_ms: int, *, now_ms: int) -> None:
    _known(kind)
    if not WHY_LENGTH_MIN <= len(why.strip()) <= WHY_LENGTH_MAX:
        raise InvalidError(
            N_(
                "why has {why} characters; say in {why_length_min} to {why_length_max} why nobody"
                " should be called",
                why=len(why.strip()),
                why_length_min=WHY_LENGTH_MIN,
                why_length_max=WHY_LENGTH_MAX,
            ),
            field="why",
            value=why[:80],
        )
    days = float(read_settings(connection)["out_of_service_max_days"])
    if not now_ms < until_ms <= now_ms + days * DAY_MS:
        raise InvalidError(
            N_(
                "until lies {until:.2f} days ahead; more than 0 and at most {days:g}, as the plant has set",
                until=(until_ms - now_ms) / DAY_MS,
                days=days,
            ),
            field="until",
            value=until_ms,
        )


def _moved(
    connection: sa.Connection, press_id: int, kind: str, by: By, *, out_of_service: bool, now_ms: int
) -> list[AlarmChanged]:
    alarm = kept.open_alarm(connection, press_id, kind)
    if alarm is None:
        return []
    move = life_cycle.set_service(standing_of(alarm), out_of_service=out_of_service)
    _, change = take_step(connection, alarm, move, by, now_ms=now_ms)
    return [change] if change else []


def _audit(
    connection: sa.Connection,
    after: Stop | None,
    before: Stop | None,
    *,
    who: str,
    action: str,
    now_ms: int,
) -> None:
    either = after or before
    if either is None:
        return
    add_audit(
        connection,
        either.press_id,
        now_ms=now_ms,
        who=who,
        action=action,
        subject=f"{either.press} {either.kind}",
        before=None if before is None else {"until_ms": before.until_ms, "why": before.why},
        after=None if after is None else {"until_ms": after.until_ms, "why": after.why},
    )
