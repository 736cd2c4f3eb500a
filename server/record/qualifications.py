"""A qualification is kept with the startup record it was made for."""

from typing import Final

import sqlalchemy as sa

from server.store import sheets as kept
from server.store.audit import add_audit
from server.store.plant import Press
from server.store.records import Baseline, baselines_of
from server.words.times import DAY

#: A record approved later than this after a qualification needs another (common practice, no source).
HOLDS_FOR_MS: Final = 30 * DAY


def record_in_force(connection: sa.Connection, press: Press, mold: str) -> int | None:
    """The newest approved record of a press and mold; None without one."""
    approved = [one for one in baselines_of(connection, press.press_id, state="approved") if one.mold == mold]
    return approved[-1].baseline_no if approved else None


def link_to_record(
    connection: sa.Connection, press: Press, baseline: Baseline, *, who: str, now_ms: int
) -> int | None:
    """Let the newest qualification of this press and mold stand beside a record that was just approved.

    One older than 30 days stays where it stands. Returns the study's number, None where there is none.
    """
    for sheet in kept.sheets_of(connection, press.press_id, state="kept", kind="qualification"):
        if sheet.mold != baseline.mold:
            continue
        if now_ms - (sheet.closed_ms or 0) > HOLDS_FOR_MS:
            return None
        kept.change_sheet(connection, sheet, baseline_no=baseline.baseline_no)
        add_audit(
            connection,
            press.press_id,
            now_ms=now_ms,
            who=who,
            action="qualification_linked",
            subject=f"{press.press} study {sheet.study_no}",
            before={"baseline": sheet.baseline_no},
            after={"baseline": baseline.baseline_no},
        )
        return sheet.study_no
    return None
