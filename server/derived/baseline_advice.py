"""What a press's startup records need: nothing, a first one, or a new one because something was changed.

A new record is suggested only after a recorded change and enough settled shots, and approved by people
alone. While a leak is likely it is not suggested: a record captured then would hold the leak as healthy.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any, Final, Literal

import numpy as np
import sqlalchemy as sa

from server.derived.set_points import differences, value_text
from server.derived.setup_history import record_for
from server.derived.standing import likelihood_of, setups_compared
from server.derived.values import derive_signals, sources_of
from server.maths.baseline import phase_one
from server.maths.results import Undetermined
from server.store.plant import Press, Setup, setups_of
from server.store.questions import Row
from server.store.records import Baseline, Event, baselines_of, events_of
from server.store.setups import mold_ran_between
from server.store.shots import read_columns

#: Settled shots after a change from which a record is worth capturing (common practice, no source).
SETTLED: Final = 200
#: A leak as likely as this forbids a record that would hold it as healthy.
LIKELY: Final = 0.5
#: Events after which a press may stand elsewhere for good. A lot or a mold start comes and goes.
_CHANGES: Final = frozenset({"valve_change", "maintenance", "setting"})

Kind = Literal["none", "capture", "approve", "wait", "check_first", "unstable", "renew"]


@dataclasses.dataclass(frozen=True)
class Change:
    """Why a new record may be wanted: an event, or `set_points` that differ from those of the record."""

    kind: str
    at_ms: int | None
    what: str = ""
    from_value: str = ""
    to_value: str = ""


@dataclasses.dataclass(frozen=True)
class Advice:
    """What to do about the records of what a press runs now.

    kind: `none`; `capture` there is none that fits; `approve` one waits; and after a change: `wait` too few
    settled shots yet, `check_first` a leak is likely, `unstable` the level still moves, `renew` capture one.
    in_use: the record judged against; draft: the one that waits; others: approved ones of the same mold
    that do not fit, with what differs (`material`, `setup`). from_ms: of the settled shots after the change.
    back_after: the mold that ran between record and now, where one did.
    """

    kind: Kind
    running: Setup | None
    in_use: Baseline | None = None
    draft: Baseline | None = None
    others: tuple[tuple[Baseline, str], ...] = ()
    changes: tuple[Change, ...] = ()
    settled: int = 0
    from_ms: int | None = None
    back_after: str = ""
    likelihood: float | None = None


def advice_for(connection: sa.Connection, press: Press, row: Row) -> Advice:
    """The advice for a press as it stands; `row` is the press with its state."""
    running = _running(connection, press)
    if running is None:
        return Advice("capture", None)
    records = baselines_of(connection, press.press_id)
    fits = [one for one in records if _fits(one, running)]
    approved = [one for one in fits if one.state == "approved"]
    in_use = record_for(approved, running)
    drafts = [one for one in fits if one.state == "draft" and (in_use is None or one.to_ms > in_use.to_ms)]
    draft = drafts[-1] if drafts else None
    found = Advice("none", running, in_use, draft, likelihood=likelihood_of(row))
    if in_use is None:
        others = tuple(
            (one, "material" if one.material != running.material else "setup")
            for one in records
            if one.state == "approved" and one.mold == running.mold
        )
        kind: Kind = "approve" if draft else "capture"
        settled, _ = _settled(connection, press, running, since_ms=0, lag=_lag(row))
        return dataclasses.replace(found, kind=kind, others=others, settled=settled)
    back = mold_ran_between(connection, press.press_id, mold=running.mold, since_ms=in_use.to_ms)
    found = dataclasses.replace(found, back_after=back)
    return _after_changes(connection, press, row, found, in_use, running)


def _after_changes(
    connection: sa.Connection, press: Press, row: Row, found: Advice, in_use: Baseline, running: Setup
) -> Advice:
    events = [
        one
        for one in events_of(connection, press.press_id, from_ms=in_use.to_ms + 1)
        if one.kind in _CHANGES and not (one.kind == "setting" and "shot_size" in one.setting)
    ]
    changes = (*_set_points(connection, press, in_use, running), *_as_changes(events))
    if not changes:
        return found
    found = dataclasses.replace(found, changes=changes)
    since_ms = max([one.at_ms for one in events], default=in_use.to_ms)
    if found.draft is not None and found.draft.from_ms >= since_ms:
        return dataclasses.replace(found, kind="approve")
    settled, from_ms = _settled(connection, press, running, since_ms=since_ms, lag=_lag(row))
    found = dataclasses.replace(found, settled=settled, from_ms=from_ms)
    if settled < SETTLED:
        return dataclasses.replace(found, kind="wait")
    if found.likelihood is not None and found.likelihood >= LIKELY:
        return dataclasses.replace(found, kind="check_first")
    stable = _stable(connection, press, running, since_ms=since_ms, lag=_lag(row))
    return dataclasses.replace(found, kind="renew" if stable else "unstable")


def _fits(baseline: Baseline, running: Setup) -> bool:
    return (
        baseline.mold == running.mold
        and baseline.material == running.material
        and baseline.setup in (None, running.setup)
    )


def _running(connection: sa.Connection, press: Press) -> Setup | None:
    newest = read_columns(connection, press.press_id, names=(), limit=1, newest=True)
    if not len(newest["at_ms"]):
        return None
    return setups_of(connection, press.press_id).get(int(newest["setup_id"][0]))


def _set_points(
    connection: sa.Connection, press: Press, in_use: Baseline, running: Setup
) -> tuple[Change, ...]:
    """Set-points that stand elsewhere than at the end of the record, where the press reports them."""
    last = read_columns(
        connection,
        press.press_id,
        from_ms=in_use.from_ms,
        to_ms=in_use.to_ms + 1,
        names=(),
        limit=1,
        newest=True,
        setup_ids=setups_compared(connection, press, in_use),
    )
    was = setups_of(connection, press.press_id).get(int(last["setup_id"][0])) if len(last["at_ms"]) else None
    if was is None or "{}" in (was.setpoints, running.setpoints):
        return ()
    return tuple(
        Change("set_points", None, name, value_text(before), value_text(now))
        for name, before, now in differences(was.setpoints, running.setpoints)
    )


def _as_changes(events: Sequence[Event]) -> list[Change]:
    """One of a kind a moment: a valve entered in the ledger and told as an event is one change."""
    found: dict[tuple[str, int, str], Change] = {}
    for one in events:
        key = (one.kind, one.at_ms, one.setting)
        said = Change(one.kind, one.at_ms, one.setting or one.note, one.from_value, one.to_value)
        known = found.get(key)
        found[key] = said if known is None or not known.what else known
    return list(found.values())


def _lag(row: Row) -> int:
    return int(row["dose_lag"] if row["dose_lag"] is not None else row["dose_lag_found"] or 0)


def _swept(connection: sa.Connection, press: Press, running: Setup, *, since_ms: int, lag: int) -> Any:
    ids = [
        one.setup_id
        for one in setups_of(connection, press.press_id).values()
        if (one.mold, one.material, one.setup, one.setpoints)
        == (running.mold, running.material, running.setup, running.setpoints)
    ]
    columns = read_columns(
        connection,
        press.press_id,
        from_ms=since_ms + 1,
        names=sources_of(("swept_mm",)),
        limit=2 * SETTLED,
        newest=True,
        setup_ids=ids,
    )
    derived = derive_signals(connection, press, columns, dose_lag=lag, pause_before=True)
    keep = ~derived.restart_transient & np.isfinite(derived.signals["swept_mm"])
    return columns["at_ms"][keep][-SETTLED:], derived.signals["swept_mm"][keep][-SETTLED:]


def _settled(
    connection: sa.Connection, press: Press, running: Setup, *, since_ms: int, lag: int
) -> tuple[int, int | None]:
    """How many settled shots there are since then (SETTLED at most), and the first of them."""
    at_ms, _ = _swept(connection, press, running, since_ms=since_ms, lag=lag)
    return len(at_ms), int(at_ms[0]) if len(at_ms) else None


def _stable(connection: sa.Connection, press: Press, running: Setup, *, since_ms: int, lag: int) -> bool:
    _, swept = _swept(connection, press, running, since_ms=since_ms, lag=lag)
    judged = phase_one(swept)
    return not isinstance(judged, Undetermined) and judged.stable
