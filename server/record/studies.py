"""Off-line studies: what was asked is checked, judged, and kept with what came out."""

from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.record.fields import Given
from server.record.study_kinds import STUDIES, Asking, Judged, read_confirmed
from server.store import intake
from server.store.audit import add_audit
from server.store.plant import need_press
from server.store.records import CHECKS, Study, add_study

#: The kinds, as they stand in the address.
KINDS: Final = tuple(STUDIES)
_EVERY: Final = ("press", "mold", "at", "note", "confirmed")
#: Cautions to be confirmed before a study of a kind is done.
CAUTIONS: Final[dict[str, tuple[str, ...]]] = {
    "short-shot": ("hot_melt",),
    "drift-check": ("hot_melt", "heat_soak", "blocked_nozzle"),
    "gate-seal": ("hot_melt",),
    "qualification": ("hot_melt", "heat_soak"),
}
#: What a drift check should tell of how it was done; one sent whole may leave it out, and then this is said.
_TOLD: Final = ("resin", "method", "confirmed")


def judge_study(
    connection: sa.Connection, kind: str, body: Any, *, who: str, now_ms: int
) -> tuple[Given, Asking, Judged]:
    """Judge a study of one kind without keeping it; InvalidError names what cannot be taken."""
    fields, judge = STUDIES[kind]
    given = Given.of(body, known=(*_EVERY, *fields))
    given.need("press")
    press = need_press(connection, given.text("press"))
    asking = Asking(connection, press, given.text("mold", longest=40), who, now_ms)
    return given, asking, judge(given, asking)


def _not_stated(asked: Mapping[str, Any]) -> list[str]:
    """What a drift check leaves open of how it was done: fields of _TOLD."""
    confirmed = asked.get("confirmed", {}).get("cautions", ())
    stated = {name for name in _TOLD if name in asked}
    if not set(CAUTIONS["drift-check"]) <= set(confirmed):
        stated -= {"confirmed"}
    return [name for name in _TOLD if name not in stated]


def keep_study(
    connection: sa.Connection,
    kind: str,
    body: Any,
    *,
    who: str,
    now_ms: int,
    started: Mapping[str, Any] | None = None,
) -> Study:
    """Judge a study of one kind and keep it; InvalidError names what cannot be taken.

    started: what stands on the sheet it was done on (who confirmed which cautions, when, the sheet's number).
    """
    given, asking, judged = judge_study(connection, kind, body, who=who, now_ms=now_ms)
    press, at_ms = asking.press, given.at("at", now_ms=now_ms)
    asked = {**judged.asked, **read_confirmed(given, asking), **(started or {}), "note": given.note()}
    result = judged.result
    if kind == "drift-check":
        # A number alone says less: against what the screw pressed decides what else may have crept.
        result = {**result, "not_stated": _not_stated(asked)}
    study = add_study(
        connection,
        Study(
            press_id=press.press_id,
            study_no=0,
            kind=kind,
            at_ms=now_ms if at_ms is None else at_ms,
            mold=asking.mold,
            asked=asked,
            result=result,
            verdict=judged.verdict,
            author=who,
        ),
    )
    if kind in CHECKS:
        # What a check found is part of the score from its moment on.
        intake.add(
            connection, press.press_id, earliest_ms=study.at_ms, shots=0, reason="rewrite", now_ms=now_ms
        )
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="study_kept",
        subject=f"{press.press} study {study.study_no}",
        after={"kind": kind, "verdict": study.verdict},
    )
    return study
