"""The floor between shifts: the note to the next one, and ticks of next steps."""

from typing import Final

import sqlalchemy as sa

from server.derived.shift_summary import summarise
from server.errors import InvalidError, NotFoundError
from server.language import N_
from server.store import floor
from server.store.audit import PLANT, add_audit
from server.store.floor import Handover, Tick
from server.store.plant import Press
from server.words.guidance import is_step

HANDOVER_LENGTH_MAX: Final = 4_000


def hand_over(connection: sa.Connection, *, note: str, who: str, now_ms: int) -> int:
    """Keep the note to the next shift, signed with a name, with the summary as it is now."""
    text = note.strip()
    if not 1 <= len(text) <= HANDOVER_LENGTH_MAX:
        raise InvalidError(
            N_(
                "note has {value} characters; 1 to {handover_length_max}, or there is nothing to hand over",
                value=len(text),
                handover_length_max=HANDOVER_LENGTH_MAX,
            ),
            field="note",
        )
    summary = summarise(connection, now_ms=now_ms)
    number = floor.add_handover(
        connection,
        Handover(0, summary.shift.name, summary.shift.from_ms, now_ms, who, text, summary.as_facts()),
    )
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=who,
        action="shift_handed_over",
        subject=f"handover {number}",
        after={"shift": summary.shift.name, "note": text},
    )
    return number


def need_handover(connection: sa.Connection, handover_no: int) -> Handover:
    found = floor.handover_by_no(connection, handover_no)
    if found is None:
        raise NotFoundError(
            N_("no hand-over {handover_no}; GET /api/v1/handovers lists them", handover_no=handover_no),
            field="handover",
        )
    return found


def read_handover(connection: sa.Connection, handover_no: int, *, who: str, now_ms: int) -> Handover:
    """Say that it was read; the first name stays."""
    need_handover(connection, handover_no)
    if floor.mark_read(connection, handover_no, who=who, now_ms=now_ms):
        add_audit(
            connection,
            PLANT,
            now_ms=now_ms,
            who=who,
            action="handover_read",
            subject=f"handover {handover_no}",
        )
    return need_handover(connection, handover_no)


def tick_step(
    connection: sa.Connection, press: Press, step: str, *, ticked: bool, who: str, now_ms: int
) -> Tick:
    """Tick a step of the guidance on a press, or take the tick back; the same again changes nothing."""
    if not is_step(step):
        raise InvalidError(N_("step {step!r} stands in no guidance", step=step), field="step", value=step)
    before = floor.ticks_of(connection, press.press_id).get(step)
    if before is not None and before.ticked == ticked:
        return before
    after = Tick(press.press_id, step, ticked, who, now_ms)
    floor.put_tick(connection, after)
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="step_ticked" if ticked else "tick_taken_back",
        subject=f"{press.press} {step}",
        before=None if before is None else {"ticked": before.ticked, "who": before.who},
        after={"ticked": ticked},
    )
    return after
