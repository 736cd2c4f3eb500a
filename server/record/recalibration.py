"""Putting the correction of the plant's own inspections on the score, and taking it off again."""

from typing import Any

import sqlalchemy as sa

from server.derived.inspected import inspection_record
from server.errors import ConflictError
from server.language import N_
from server.maths.results import Undetermined
from server.record.fields import Given
from server.store import intake
from server.store.audit import PLANT, add_audit
from server.store.plant import all_presses, put_settings, read_settings

_NAME = "recalibration"


def change_recalibration(connection: sa.Connection, body: Any, *, who: str, now_ms: int) -> bool:
    """`{"apply": true}` puts on what the inspections say now, false takes it off. True when it changed.

    Every press is judged again: scores of before and after would not compare otherwise.
    """
    given = Given.of(body, known=("apply", "note"))
    given.need("apply")
    before = read_settings(connection)[_NAME]
    after: dict[str, Any] | None = None
    if given.flag("apply"):
        found = inspection_record(connection).result
        if isinstance(found, Undetermined):
            raise ConflictError(
                N_("the score cannot be corrected: {reason}", reason=found.reason), field="apply"
            )
        after = {"shift": found.shift, "slope": found.slope, "inspections": found.n, "at_ms": now_ms}
    if _curve(before) == _curve(after):
        return False
    put_settings(connection, {_NAME: after})
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=who,
        action="score_recalibrated",
        subject="score",
        before={_NAME: before},
        after={_NAME: after, "note": given.note()},
    )
    for press in all_presses(connection):
        intake.add(connection, press.press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms)
    return True


def _curve(kept: dict[str, Any] | None) -> tuple[float, float]:
    return (0.0, 1.0) if kept is None else (float(kept["shift"]), float(kept["slope"]))
