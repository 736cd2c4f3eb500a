"""How an evaluation lands: its rows take their place, and the press's alarms react to where it ended."""

from collections.abc import Mapping
from typing import Any, NamedTuple

import sqlalchemy as sa

from server.notify.alarms import AlarmChanged, react_all, suppress
from server.notify.held_back import HELD_KINDS, held_back_by
from server.notify.press_conditions import conditions_of
from server.record.case_actions import take_up
from server.store import evaluation as landed
from server.store.alarms import open_alarms_of
from server.store.plant import Press, press_by_id, read_settings


class Landing(NamedTuple):
    """The press (its code) whose evaluation landed, and what its alarms did."""

    press: str
    changes: list[AlarmChanged]


def land(connection: sa.Connection, evaluation: landed.Evaluation, *, now_ms: int) -> Landing:
    """Store an evaluation and let the alarms react to where it ended."""
    press = press_by_id(connection, evaluation.press_id)
    if evaluation.rest_from_ms is not None:
        _apply(connection, press, evaluation, {}, now_ms=now_ms)
        return Landing(press.press, [])
    seen_ms = landed.alarms_seen_ms(connection, press.press_id)
    reason = held_back_by(connection, press, evaluation.state)
    also = {"alarms_seen_ms": evaluation.state["evaluated_ms"], "held_back": reason or None}
    _apply(connection, press, evaluation, also, now_ms=now_ms)
    # Not where the piece before this one ended: what came and went in it calls, history calls nobody.
    whole = landed.with_unseen(connection, evaluation, seen_ms=seen_ms)
    return Landing(press.press, _alarms(connection, press, whole, reason, seen_ms=seen_ms, now_ms=now_ms))


def _apply(
    connection: sa.Connection,
    press: Press,
    evaluation: landed.Evaluation,
    also: Mapping[str, Any],
    *,
    now_ms: int,
) -> None:
    for event in landed.apply(connection, evaluation, now_ms=now_ms, also=also):
        take_up(connection, press, event, now_ms=now_ms)


def _alarms(
    connection: sa.Connection,
    press: Press,
    evaluation: landed.Evaluation,
    reason: str,
    *,
    seen_ms: int | None,
    now_ms: int,
) -> list[AlarmChanged]:
    """Every condition the evaluation speaks of meets its alarm, held back for `reason` by design."""
    # Looked up once: whoever landed the evaluation has locked the press.
    known = open_alarms_of(connection, press.press_id)
    conditions = conditions_of(
        evaluation,
        settings=read_settings(connection),
        seen_ms=seen_ms,
        leaks=any(one.kind == "leak" and one.active for one in known),
    )
    held = [(condition, reason if condition.kind in HELD_KINDS else "") for condition in conditions]
    changes = react_all(connection, press, held, now_ms=now_ms, known=known)
    if not reason:
        looked_at = {condition.kind for condition in conditions}
        others = [one for one in known if one.kind not in looked_at]
        changes += suppress(connection, press, suppressed_by="", now_ms=now_ms, known=others)
    return changes
