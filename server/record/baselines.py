"""Baselines: captured from stored shots, approved, retired."""

import dataclasses
from typing import Any, Final

import sqlalchemy as sa

from server.contract import SHOT_NUMBERS
from server.derived.values import shot_before
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.record.baseline_capture import Captured, capture
from server.record.fields import Given, read_code
from server.record.qualifications import link_to_record
from server.store import intake
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import Press, Setup, setups_of
from server.store.records import (
    Baseline,
    add_baseline,
    baseline_by_no,
    change_baseline,
)
from server.store.shots import Columns, read_columns

_FIELDS: Final = ("mold", "material", "setup", "last_shots", "from", "to", "approve", "note")
SHOTS_MAX: Final = 20_000


@dataclasses.dataclass(frozen=True)
class Judged:
    """Shots judged as a baseline that is not kept yet."""

    baseline: Baseline
    captured: Captured
    approve: bool


def judge_shots(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> Judged:
    """Judge the asked shots; reads only, so that judging many of them holds up nobody's writing."""
    given = Given.of(body, known=_FIELDS)
    given.need("mold")
    mold = read_code("mold", given.body["mold"])
    setup, approved = given.text("setup") or None, given.flag("approve")
    setups = _setups(connection, press, given, mold=mold, setup=setup)
    columns = _shots(connection, press, given, setups, now_ms=now_ms)
    captured = capture(
        columns,
        dose_lag=press.dose_lag,
        screw_diameter_mm=press.screw_diameter_mm,
        before=shot_before(connection, press, columns),
    )
    last = int(columns["setup_id"][-1])
    setpoints = next((one.setpoints for one in setups if one.setup_id == last), "{}")
    captured = dataclasses.replace(captured, setpoints=setpoints)
    baseline = Baseline(
        press_id=press.press_id,
        baseline_no=0,
        mold=mold,
        material=setups[0].material,
        setup=setup,
        from_ms=int(columns["at_ms"][0]),
        to_ms=int(columns["at_ms"][-1]),
        shots=len(columns["at_ms"]),
        state="draft",
        signals=captured.document,
        note=given.note(),
        captured_by=who,
        captured_ms=now_ms,
    )
    return Judged(baseline, captured, approved)


def keep_baseline(connection: sa.Connection, press: Press, judged: Judged, *, now_ms: int) -> Baseline:
    """Keep what was judged, approved where that was asked too."""
    baseline = add_baseline(connection, judged.baseline)
    who = baseline.captured_by
    _audit(connection, press, baseline, "baseline_captured", who=who, now_ms=now_ms)
    if judged.approve:
        why = {"note": baseline.note}
        return approve(connection, press, baseline.baseline_no, who=who, now_ms=now_ms, body=why)
    return baseline


def capture_baseline(
    connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int
) -> tuple[Baseline, Captured]:
    """Judge the asked shots and keep them as a baseline, in one transaction."""
    judged = judge_shots(connection, press, body, who=who, now_ms=now_ms)
    return keep_baseline(connection, press, judged, now_ms=now_ms), judged.captured


def approve(
    connection: sa.Connection, press: Press, number: int, *, who: str, now_ms: int, body: Any = None
) -> Baseline:
    """Let it hold from its last shot on, with a note on why; an approved one stays as it is."""
    note = _why(body)
    lock_press(connection, press.press_id)
    baseline = need_baseline(connection, press, number)
    if baseline.state == "approved":
        return baseline
    if baseline.state == "retired":
        raise ConflictError(
            N_(
                "baseline {number} of press {press!r} is retired; capture a new one",
                number=number,
                press=press.press,
            )
        )
    approved = change_baseline(
        connection, baseline, state="approved", approved_by=who, approved_ms=now_ms, approved_note=note
    )
    _rewrite(connection, approved, now_ms=now_ms)
    _audit(connection, press, approved, "baseline_approved", who=who, now_ms=now_ms, before=baseline.state)
    link_to_record(connection, press, approved, who=who, now_ms=now_ms)
    return approved


def retire(
    connection: sa.Connection, press: Press, number: int, *, who: str, now_ms: int, body: Any = None
) -> Baseline:
    """Let it hold no more, and never have held, with a note on why; a retired one stays as it is."""
    note = _why(body)
    lock_press(connection, press.press_id)
    baseline = need_baseline(connection, press, number)
    if baseline.state == "retired":
        return baseline
    retired = change_baseline(
        connection, baseline, state="retired", retired_by=who, retired_ms=now_ms, retired_note=note
    )
    if baseline.state == "approved":
        _rewrite(connection, retired, now_ms=now_ms)
    _audit(connection, press, retired, "baseline_retired", who=who, now_ms=now_ms, before=baseline.state)
    return retired


def _why(body: Any) -> str:
    """The note of an approval; one sent without a body gives none."""
    return "" if body is None else Given.of(body, known=("note",)).note()


def need_baseline(connection: sa.Connection, press: Press, number: int) -> Baseline:
    baseline = baseline_by_no(connection, press.press_id, number)
    if baseline is None:
        raise NotFoundError(
            N_("press {press!r} has no baseline {number}", press=press.press, number=number), field="id"
        )
    return baseline


def _setups(
    connection: sa.Connection, press: Press, given: Given, *, mold: str, setup: str | None
) -> list[Setup]:
    """The set-ups the asked shots were made with: one mold, one material."""
    found = [
        one
        for one in setups_of(connection, press.press_id).values()
        if one.mold == mold and (setup is None or one.setup == setup)
    ]
    if given.has("material"):
        material = given.text("material")
        found = [one for one in found if one.material == material]
    if not found:
        raise InvalidError(
            N_("press {press!r} has no shots with mold {mold!r}", press=press.press, mold=mold)
            + (N_(", setup {setup!r}", setup=setup) if setup else "")
            + (N_(", material {value!r}", value=given.text("material")) if given.has("material") else ""),
            field="mold",
        )
    materials = sorted({one.material for one in found})
    if len(materials) > 1:
        raise InvalidError(
            N_(
                "mold {mold!r} ran with several materials ({join}); name one as material",
                mold=mold,
                join=", ".join(materials),
            ),
            field="material",
        )
    return found


def _shots(
    connection: sa.Connection, press: Press, given: Given, setups: list[Setup], *, now_ms: int
) -> Columns:
    last = given.whole("last_shots", least=1, most=SHOTS_MAX)
    from_ms, to_ms = given.at("from", now_ms=now_ms), given.at("to", now_ms=now_ms)
    if last is not None and from_ms is not None:
        raise InvalidError(N_("last_shots and from exclude each other; send one of them"), field="last_shots")
    if last is None and from_ms is None:
        raise InvalidError(N_("say which shots: last_shots, or from and to"), field="last_shots")
    if from_ms is not None and to_ms is not None and to_ms <= from_ms:
        raise InvalidError(N_("to has to be later than from"), field="to")
    columns = read_columns(
        connection,
        press.press_id,
        from_ms=from_ms,
        to_ms=to_ms,
        names=(*SHOT_NUMBERS, "quality"),
        limit=SHOTS_MAX if last is None else last,
        newest=last is not None,
        setup_ids=[one.setup_id for one in setups],
    )
    if not len(columns["at_ms"]):
        raise InvalidError(N_("no shots of this mold in that time; widen from and to"), field="from")
    return columns


def _rewrite(connection: sa.Connection, baseline: Baseline, *, now_ms: int) -> None:
    intake.add(
        connection, baseline.press_id, earliest_ms=baseline.to_ms, shots=0, reason="rewrite", now_ms=now_ms
    )


def _audit(
    connection: sa.Connection,
    press: Press,
    baseline: Baseline,
    action: str,
    *,
    who: str,
    now_ms: int,
    before: str | None = None,
) -> None:
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action=action,
        subject=f"{press.press} baseline {baseline.baseline_no}",
        before=None if before is None else {"state": before},
        after={
            "state": baseline.state,
            "mold": baseline.mold,
            "shots": baseline.shots,
            "note": {"approved": baseline.approved_note, "retired": baseline.retired_note}.get(
                baseline.state, baseline.note
            ),
        },
    )
