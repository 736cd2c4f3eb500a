"""When alarms of a press are held back by design: it starts up, changes its mold, or is being studied.

What is held back stays visible with its reason and calls nobody. The log's own doubts, and a press that
falls silent, are never held back.
"""

import json
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.notify.alarms import AlarmChanged, suppress
from server.store.held_back import held_since, keep_held_back, lately_of
from server.store.plant import Press, press_by_id

STARTUP: Final = "startup"
MOLD_CHANGE: Final = "mold_change"
STUDY: Final = "study"

#: Kinds of alarm that are held back.
HELD_KINDS: Final = frozenset({"leak", "bottoming", "shift", "scatter", "capability"})
#: Shots of another mold that count as a change of molds (as many as a long restart).
MOLD_SHOTS: Final = 40
#: A study just entered speaks of shots made around it (common practice, no source).
STUDY_MS: Final = 30 * 60_000
#: So many settings changed within an hour are a trial (common practice, no source).
TRIAL_MS: Final = 3_600_000
TRIAL_SETTINGS: Final = 2
#: Nothing is held back longer than this after the last judged shot.
HOLDS_MS: Final = 3_600_000


def held_back_by(connection: sa.Connection, press: Press, state: Mapping[str, Any]) -> str:
    """Why alarms of a press are held back after its newest judged shot; '' when they are not."""
    now_ms = state["evaluated_ms"]
    if now_ms is None:
        return ""
    if json.loads(state["watching"] or "{}").get("restart_left", 0) > 0:
        return STARTUP
    lately = lately_of(
        connection,
        press.press_id,
        last=MOLD_SHOTS,
        settings=(now_ms - TRIAL_MS, now_ms),
        studies=(now_ms - STUDY_MS, now_ms + STUDY_MS),
    )
    if lately.molds > 1:
        return MOLD_CHANGE
    return STUDY if lately.studies or lately.settings >= TRIAL_SETTINGS else ""


def release_due(connection: sa.Connection, *, now_ms: int) -> list[AlarmChanged]:
    """Release what was held back on presses that have not made a shot for an hour."""
    changes: list[AlarmChanged] = []
    for press_id in held_since(connection, evaluated_before_ms=now_ms - HOLDS_MS):
        keep_held_back(connection, press_id, "")
        changes += suppress(connection, press_by_id(connection, press_id), suppressed_by="", now_ms=now_ms)
    return changes
