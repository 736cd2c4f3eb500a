"""Suspect parts: held with what they are found by, sorted with what was found, released by name."""

from typing import Any, Final

import sqlalchemy as sa

from server.derived.standing import find_onset
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.record.fields import Given
from server.store.audit import add_audit
from server.store.containments import (
    Containment,
    Step,
    add_containment,
    add_step,
    containment_by_no,
    list_containments,
    steps_of,
)
from server.store.numbering import lock_press
from server.store.plant import Press, read_settings
from server.store.questions import press_with_state, shot_hours, suspects
from server.store.records import baseline_by_no
from server.words.shifts import shift_at
from server.words.times import Zone

#: Serial numbers that are kept with the record; all of them are in the shots.
_SERIALS: Final = 1_000


def hold(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> list[Containment]:
    """Hold the shots from `since` (else the early end of the estimated onset) to `until` (else now).

    One record a mold. InvalidError where nothing says when it began, or no shot lies in the stretch;
    ConflictError where some of these shots are held already.
    """
    given = Given.of(body, known=("since", "until", "why"))
    why = given.text("why", longest=400)
    if not why:
        raise InvalidError(N_("why is empty: say why these parts are held"), field="why")
    lock_press(connection, press.press_id)
    onset = _onset(connection, press)
    since = given.at("since", now_ms=now_ms)
    if since is None and onset is None:
        raise InvalidError(
            N_(
                "since is missing, and press {press} has no estimated onset: say from when on parts"
                " are suspect",
                press=press.press,
            ),
            field="since",
        )
    from_ms = since if since is not None else onset[0] if onset else now_ms
    until = given.at("until", now_ms=now_ms)
    to_ms = now_ms if until is None else until
    found = suspects(connection, press.press_id, from_ms=from_ms, to_ms=to_ms + 1)
    if to_ms < from_ms or not found.shots:
        raise InvalidError(
            N_("press {press} has no shot between since and until", press=press.press), field="since"
        )
    _check_free(connection, press, from_ms, to_ms)
    held = [
        _held(connection, press, mold, from_ms, to_ms, onset, why=why, who=who, now_ms=now_ms)
        for mold in (found.molds or [""])
    ]
    for one in held:
        add_audit(
            connection, press.press_id, now_ms=now_ms, who=who, action="containment_held",
            subject=f"containment {one.containment_no}",
            after={"from_ms": from_ms, "to_ms": to_ms, "mold": one.mold, "shots": one.shots, "why": why},
        )  # fmt: skip
    return held


def _onset(connection: sa.Connection, press: Press) -> tuple[int, int] | None:
    """Both ends of the estimated onset."""
    row = press_with_state(connection, press.press_id)
    number = row["baseline_no"]
    baseline = None if number is None else baseline_by_no(connection, press.press_id, number)
    found = find_onset(connection, press, row, baseline)
    return None if found is None else (found.from_ms, found.to_ms)


def _check_free(connection: sa.Connection, press: Press, from_ms: int, to_ms: int) -> None:
    for _, one in list_containments(connection, is_open=True, press_id=press.press_id):
        if one.from_ms <= to_ms and one.to_ms >= from_ms:
            raise ConflictError(
                N_(
                    "containment {containment_no} of press {press} holds some of these shots already;"
                    " release it first, or hold what lies outside of it",
                    containment_no=one.containment_no,
                    press=press.press,
                )
            )


def _held(
    connection: sa.Connection,
    press: Press,
    mold: str,
    from_ms: int,
    to_ms: int,
    onset: tuple[int, int] | None,
    *,
    why: str,
    who: str,
    now_ms: int,
) -> Containment:
    found = suspects(
        connection, press.press_id, from_ms=from_ms, to_ms=to_ms + 1, serials=_SERIALS, mold=mold or None
    )
    settings = read_settings(connection)
    zone = Zone(str(settings["time_zone"]))
    hours = shot_hours(connection, press.press_id, from_ms=from_ms, to_ms=to_ms + 1)
    shifts = {}
    for hour in hours:
        shift = shift_at(max(hour, from_ms), starts=settings["shifts"], zone=zone)
        shifts[shift.from_ms] = shift.name
    return add_containment(
        connection,
        Containment(
            press_id=press.press_id,
            containment_no=0,
            mold=mold,
            from_ms=from_ms,
            to_ms=to_ms,
            onset_low_ms=onset[0] if onset else None,
            onset_high_ms=onset[1] if onset else None,
            why=why,
            shots=found.shots,
            found_by={
                "boxes": found.boxes,
                "lots": found.lots,
                "serials": found.serials,
                "serial_count": found.serial_count,
                "shifts": [{"name": name, "from_ms": at} for at, name in sorted(shifts.items())],
            },
            state="held",
            held_by=who,
            held_ms=now_ms,
        ),
    )


def need_containment(connection: sa.Connection, press: Press, number: int) -> Containment:
    found = containment_by_no(connection, press.press_id, number)
    if found is None:
        raise NotFoundError(
            N_("press {press} has no containment {number}", press=press.press, number=number),
            field="containment",
        )
    return found


def note_sorting(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> Containment:
    """Keep what sorting found: `parts_checked`, `parts_bad` and a note. It may be sorted more than once."""
    given = Given.of(body, known=("parts_checked", "parts_bad", "note"))
    given.need("parts_checked", "parts_bad")
    checked = given.whole("parts_checked", least=1, most=100_000_000)
    bad = given.whole("parts_bad", least=0, most=100_000_000)
    assert checked is not None
    assert bad is not None
    if bad > checked:
        raise InvalidError(
            N_("parts_bad is {bad}, more than the {checked} checked", bad=bad, checked=checked),
            field="parts_bad",
        )
    one = _need_open(connection, press, number)
    step = Step(0, "sorted", now_ms, who, checked, bad, given.note())
    add_step(connection, one, step, state="sorted")
    return _done(connection, press, one, step)


def release(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> Containment:
    """Let held parts go; a note says on what grounds, and is needed where nobody has sorted them."""
    given = Given.of(body, known=("note",))
    one = _need_open(connection, press, number)
    note = given.note()
    if not note and not steps_of(connection, press.press_id, number):
        raise InvalidError(N_("nobody has sorted these parts: say in note why they may go"), field="note")
    step = Step(0, "released", now_ms, who, None, None, note)
    add_step(connection, one, step, state="released")
    return _done(connection, press, one, step)


def _need_open(connection: sa.Connection, press: Press, number: int) -> Containment:
    lock_press(connection, press.press_id)
    one = need_containment(connection, press, number)
    if one.state == "released":
        raise ConflictError(
            N_("containment {number} of press {press} is released already", number=number, press=press.press)
        )
    return one


def _done(connection: sa.Connection, press: Press, one: Containment, step: Step) -> Containment:
    after = {"note": step.note}
    if step.parts_checked is not None:
        after |= {"parts_checked": str(step.parts_checked), "parts_bad": str(step.parts_bad)}
    add_audit(
        connection, press.press_id, now_ms=step.at_ms, who=step.who, action=f"containment_{step.action}",
        subject=f"containment {one.containment_no}", before={"state": one.state}, after=after,
    )  # fmt: skip
    return need_containment(connection, press, one.containment_no)
