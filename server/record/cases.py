"""Cases: opened from an alarm or by hand, owned, noted in, and closed with a verdict and its evidence."""

from typing import Any, Final
from urllib.parse import unquote

import sqlalchemy as sa

from server.derived.case_proof import CaseProof, proof_of
from server.derived.standing import find_onset
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.maths.results import Undetermined
from server.record import case_actions, events
from server.record.fields import Given
from server.store import intake
from server.store.alarms import Alarm, alarm_by_no, open_alarms_of
from server.store.audit import add_audit
from server.store.cases import (
    Case,
    CaseAction,
    CaseNote,
    actions_of,
    add_case,
    add_note,
    case_by_no,
    change_case,
    open_case,
)
from server.store.numbering import lock_press
from server.store.plant import Press
from server.store.questions import press_with_state
from server.store.records import Event, Study, add_study, baseline_by_no, events_of, valves_of
from server.valve.proof_of_fix import VERDICTS

#: Alarms that raise a suspicion about the valve or the process, the weightiest first.
_RAISING: Final = ("leak", "bottoming", "scatter", "shift", "capability")


def onset_of(connection: sa.Connection, press: Press) -> int | None:
    """The early end of when a leak began, as the shots tell; None where they do not."""
    row = press_with_state(connection, press.press_id)
    number = row["baseline_no"]
    baseline = None if number is None else baseline_by_no(connection, press.press_id, number)
    found = find_onset(connection, press, row, baseline)
    return None if found is None else found.from_ms


def open_one(
    connection: sa.Connection, press: Press, body: Any, *, onset_ms: int | None, who: str, now_ms: int
) -> Case:
    """Open a case, from an alarm (its id, or the press's own weightiest) or by hand with `about`.

    It begins at `since`, or at the estimated onset, or when the alarm opened, or now. What was done
    after the alarm opened is taken up. ConflictError names the open case where there is one.
    """
    given = Given.of(body, known=("alarm", "about", "since", "owner"))
    lock_press(connection, press.press_id)
    standing = open_case(connection, press.press_id)
    if standing is not None:
        raise ConflictError(
            N_(
                "press {press} has open case {case_no}; close it before another is opened",
                press=press.press,
                case_no=standing.case_no,
            )
        )
    alarm = _alarm(connection, press, given)
    if alarm is None and not given.text("about", longest=400):
        raise InvalidError(
            N_(
                "about is empty and press {press} has no open alarm: say what is suspected", press=press.press
            ),
            field="about",
        )
    since = given.at("since", now_ms=now_ms)
    starts = [one for one in (onset_ms, alarm.opened_ms if alarm else None) if one is not None]
    row = press_with_state(connection, press.press_id)
    fitted = next((one for one in valves_of(connection, press.press_id) if one.removed_ms is None), None)
    case = add_case(
        connection,
        Case(
            press_id=press.press_id,
            case_no=0,
            about=given.text("about", longest=400),
            onset_ms=since if since is not None else min([*starts, now_ms]),
            opened_ms=now_ms,
            opened_by=who,
            alarm_no=None if alarm is None else alarm.alarm_no,
            mold=row["mold"] or "",
            material=row["material"] or "",
            valve_style=press.valve_style,
            valve_no=None if fitted is None else fitted.valve_no,
            owner=given.text("owner") or who,
        ),
    )
    _audit(connection, press, case, "case_opened", who, now_ms, after={"onset_ms": case.onset_ms})
    if alarm is not None:
        for event in events_of(connection, press.press_id, from_ms=alarm.opened_ms + 1):
            if case_actions.is_action(event):
                case_actions.add_to(connection, press, case, event, now_ms=now_ms)
    return case


def _alarm(connection: sa.Connection, press: Press, given: Given) -> Alarm | None:
    wanted = given.text("alarm", longest=60)
    if wanted:
        # An id out of a list is encoded, one somebody types is not: both name the alarm.
        code, _, number = wanted.rpartition("-")
        known = press.press in (unquote(code), code) and number.isdecimal()
        # A number longer than any that was given out is none a database takes either.
        found = alarm_by_no(connection, press.press, int(number)) if known and len(number) < 10 else None
        if found is None:
            raise NotFoundError(
                N_("press {press} has no alarm {wanted!r}", press=press.press, wanted=wanted), field="alarm"
            )
        return found
    alarms = {one.kind: one for one in open_alarms_of(connection, press.press_id)}
    return next((alarms[kind] for kind in _RAISING if kind in alarms), None)


def need_case(connection: sa.Connection, press: Press, number: int) -> Case:
    """The case, or NotFoundError with the way to those there are."""
    found = case_by_no(connection, press.press_id, number)
    if found is None:
        raise NotFoundError(
            N_(
                "press {press} has no case {number}; GET /api/v1/cases?press=… lists them",
                press=press.press,
                number=number,
            ),
            field="case",
        )
    return found


def _need_open(connection: sa.Connection, press: Press, number: int) -> Case:
    # Locked first, so that of two who close it at once the second finds it closed.
    lock_press(connection, press.press_id)
    case = need_case(connection, press, number)
    if not case.is_open:
        raise ConflictError(
            N_(
                "case {number} of press {press} is closed; what it says stays as it is",
                number=number,
                press=press.press,
            )
        )
    return case


def change(connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int) -> Case:
    """Another owner, another sentence on what is suspected, another beginning; what is left out stays."""
    given = Given.of(body, known=("about", "owner", "since"))
    case = _need_open(connection, press, number)
    changes: dict[str, Any] = {}
    if given.has("about"):
        changes["about"] = given.text("about", longest=400)
    if given.has("owner"):
        changes["owner"] = given.text("owner")
    since = given.at("since", now_ms=now_ms)
    if since is not None:
        changes["onset_ms"] = since
    before = {name: getattr(case, name) for name in changes}
    if before == changes:
        return case
    case = change_case(connection, case, **changes)
    _audit(connection, press, case, "case_changed", who, now_ms, before=before, after=changes)
    return case


def note(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> CaseNote:
    """Write something down in an open case."""
    given = Given.of(body, known=("note",))
    text = given.note()
    if not text:
        raise InvalidError(N_("note is empty"), field="note")
    case = _need_open(connection, press, number)
    kept = add_note(connection, CaseNote(press.press_id, case.case_no, 0, now_ms, who, text))
    _audit(connection, press, case, "case_noted", who, now_ms, after={"note": text})
    return kept


def act(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> CaseAction:
    """Record what was done: `{"event": id}` takes up one on record, other fields record a new event."""
    case = _need_open(connection, press, number)
    if isinstance(body, dict) and "event" in body:
        wanted = Given.of(body, known=("event",)).whole("event", least=1, most=1 << 62)
        event = next((one for one in events_of(connection, press.press_id) if one.event_no == wanted), None)
        if event is None:
            raise NotFoundError(
                N_("press {press} has no event {wanted}", press=press.press, wanted=wanted), field="event"
            )
    else:
        event = events.record_event(connection, press, body, who=who, now_ms=now_ms)
    _need_action(event, case)
    return case_actions.add_to(connection, press, case, event, now_ms=now_ms)


def _need_action(event: Event, case: Case) -> None:
    if not case_actions.is_action(event):
        raise InvalidError(
            N_(
                "kind {kind!r} cures nothing: an action is a setting, lot, maintenance or valve_change",
                kind=event.kind,
            ),
            field="kind",
        )
    if event.at_ms <= case.onset_ms:
        raise InvalidError(N_("at lies before the case begins: nothing before it to compare"), field="at")


# --- closing --------------------------------------------------------------------------------------


def close(connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int) -> Case:
    """Close a case with a verdict and the comparison it rests on.

    `fixed`, `better`, `no_change` and `worse` are about an action (the last one unless `action` says
    which) and wait until enough shots were made after it. A verdict other than the shots propose, and
    `cannot_say`, need a note. What the shots bear out becomes evidence of the score.
    """
    given = Given.of(body, known=("verdict", "action", "note"))
    verdict, said = given.choice("verdict", VERDICTS), given.note()
    case = _need_open(connection, press, number)
    actions = actions_of(connection, case)
    action = _which(actions, given.whole("action", least=1, most=1 << 31))
    if action is None and verdict != "cannot_say":
        raise InvalidError(
            N_(
                "verdict {verdict!r} is about something that was done, and this case has no action:"
                " record it, or close with 'cannot_say'",
                verdict=verdict,
            ),
            field="verdict",
        )
    proof = None
    if action is not None:
        proof = proof_of(connection, press, case, actions, action=action, now_ms=now_ms)
        _allow(verdict, proof)
    if not said and (verdict == "cannot_say" or proof is None or proof.verdict != verdict):
        raise InvalidError(
            N_("note is empty: say why this is the verdict, since the shots do not"), field="note"
        )
    closed = change_case(
        connection, case, closed_ms=now_ms, closed_by=who, verdict=verdict, closing_note=said,
        action_no=None if action is None else action.action_no,
        evidence={} if proof is None else proof.as_evidence(), open_mark=None,
    )  # fmt: skip
    _audit(
        connection, press, closed, "case_closed", who, now_ms,
        after={"verdict": verdict, "action": closed.action_no, "proposed": proof.verdict if proof else ""},
    )  # fmt: skip
    if action is not None and proof is not None and verdict != "cannot_say":
        _keep_proof(connection, press, closed, action, proof, who=who, now_ms=now_ms)
    return closed


def _which(actions: list[CaseAction], wanted: int | None) -> CaseAction | None:
    if wanted is None:
        return actions[-1] if actions else None
    found = next((one for one in actions if one.action_no == wanted), None)
    if found is None:
        raise NotFoundError(N_("this case has no action {wanted}", wanted=wanted), field="action")
    return found


def _allow(verdict: str, proof: CaseProof) -> None:
    if verdict == "cannot_say" or not isinstance(proof.found, Undetermined):
        return
    more = f": {proof.more} more shots are needed" if proof.more else f": {proof.found.reason}"
    raise InvalidError(
        N_(
            "verdict {verdict!r} cannot be given yet{more}; wait for them, or close with 'cannot_say'",
            verdict=verdict,
            more=more,
        ),
        field="verdict",
    )


def _keep_proof(
    connection: sa.Connection, press: Press, case: Case, action: CaseAction, proof: CaseProof, *, who: str,
    now_ms: int,
) -> None:  # fmt: skip
    """The verdict among the studies, from where the score reads it. Against the numbers it counts nothing."""
    counts = proof.verdict == case.verdict
    add_study(
        connection,
        Study(
            press_id=press.press_id,
            study_no=0,
            kind="proof",
            at_ms=now_ms,
            mold=case.mold,
            asked={"case": case.case_no, "action": action.kind, "at_ms": action.at_ms,
                   "valve_no": action.valve_no, "counts": counts, "note": case.closing_note},
            result={**proof.as_evidence(), "text": getattr(proof.found, "text", "")},
            verdict=case.verdict,
            author=who,
        ),
    )  # fmt: skip
    # Like every check it is part of the score from its moment on.
    intake.add(connection, press.press_id, earliest_ms=now_ms, shots=0, reason="rewrite", now_ms=now_ms)


def _audit(
    connection: sa.Connection, press: Press, case: Case, action: str, who: str, now_ms: int, *,
    before: Any = None, after: Any = None,
) -> None:  # fmt: skip
    add_audit(
        connection, press.press_id, now_ms=now_ms, who=who, action=action,
        subject=f"{press.press} case {case.case_no}", before=before, after=after,
    )  # fmt: skip
