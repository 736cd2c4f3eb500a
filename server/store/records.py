"""What people keep about a press: baselines, events, valves and studies."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any, TypeVar

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.numbering import next_of_press
from server.store.tables import baselines, events, presses, scores, shots, studies, valves


@dataclasses.dataclass(frozen=True)
class Baseline:
    """A captured stretch of good shots. `setup` None: for every setup of this mold and material.

    `signals`: {"signals": per signal center, sigma, limits and the like, "dose_lag", "cycle_ms"}.
    """

    press_id: int
    baseline_no: int
    mold: str
    material: str
    setup: str | None
    from_ms: int
    to_ms: int
    shots: int
    state: str
    signals: Mapping[str, Any]
    note: str
    captured_by: str
    captured_ms: int
    approved_by: str | None = None
    approved_ms: int | None = None
    retired_by: str | None = None
    retired_ms: int | None = None
    approved_note: str = ""
    retired_note: str = ""


@dataclasses.dataclass(frozen=True)
class Event:
    """Something done to a press."""

    press_id: int
    at_ms: int
    event_no: int
    kind: str
    setting: str
    from_value: str
    to_value: str
    lot: str
    note: str
    author: str
    recorded_ms: int


@dataclasses.dataclass(frozen=True)
class Valve:
    """A non-return valve and its time in one press; `removed_ms` None: it is still in."""

    press_id: int
    valve_no: int
    fitted_ms: int
    removed_ms: int | None
    style: str
    part_number: str
    material_pair: str
    nominal_clearance_mm: float | None
    shots_before: int | None
    removed_reason: str
    found: str
    note: str
    author: str
    #: `failed`, `worn`, `good`; '' where nobody has said.
    outcome: str = ""


@dataclasses.dataclass(frozen=True)
class Study:
    """An off-line check: what was asked, what came out."""

    press_id: int
    study_no: int
    kind: str
    at_ms: int
    mold: str
    asked: Mapping[str, Any]
    result: Mapping[str, Any]
    verdict: str
    author: str


_Kept = TypeVar("_Kept", Baseline, Event, Valve, Study)


def _insert(connection: sa.Connection, table: sa.Table, kept: _Kept) -> _Kept:
    values = dataclasses.asdict(kept)
    for name in ("signals", "asked", "result"):
        if name in values:
            values[name] = json.dumps(values[name], sort_keys=True)
    connection.execute(sa.insert(table).values(**values))
    return kept


# --- baselines ----------------------------------------------------------------------------------


def _baseline(row: Any) -> Baseline:
    return Baseline(**{**row._mapping, "signals": json.loads(row.signals)})


def add_baseline(connection: sa.Connection, baseline: Baseline) -> Baseline:
    """Keep a baseline under the press's next number."""
    number = next_of_press(connection, baselines.c.baseline_no, baseline.press_id)
    return _insert(connection, baselines, dataclasses.replace(baseline, baseline_no=number))


def baseline_by_no(connection: sa.Connection, press_id: int, baseline_no: int) -> Baseline | None:
    row = connection.execute(
        sa.select(baselines).where(baselines.c.press_id == press_id, baselines.c.baseline_no == baseline_no)
    ).one_or_none()
    return None if row is None else _baseline(row)


def baselines_of(connection: sa.Connection, press_id: int, *, state: str | None = None) -> list[Baseline]:
    """The baselines of a press, in the order in which they begin to hold."""
    query = sa.select(baselines).where(baselines.c.press_id == press_id)
    if state is not None:
        query = query.where(baselines.c.state == state)
    rows = connection.execute(query.order_by(baselines.c.to_ms, baselines.c.baseline_no))
    return [_baseline(row) for row in rows]


def change_baseline(connection: sa.Connection, baseline: Baseline, **changes: Any) -> Baseline:
    connection.execute(
        sa.update(baselines)
        .where(baselines.c.press_id == baseline.press_id, baselines.c.baseline_no == baseline.baseline_no)
        .values(**changes)
    )
    return dataclasses.replace(baseline, **changes)


# --- events -------------------------------------------------------------------------------------


def add_event(connection: sa.Connection, event: Event) -> Event:
    """Keep an event under the press's next number."""
    number = next_of_press(connection, events.c.event_no, event.press_id)
    return _insert(connection, events, dataclasses.replace(event, event_no=number))


def events_of(
    connection: sa.Connection,
    press_id: int,
    *,
    from_ms: int | None = None,
    to_ms: int | None = None,
    after: tuple[int, int] | None = None,
    limit: int = 10_000,
) -> list[Event]:
    """Events in order of time. from_ms inclusive, to_ms exclusive, after an (at_ms, event_no)."""
    query = sa.select(events).where(events.c.press_id == press_id)
    if from_ms is not None:
        query = query.where(events.c.at_ms >= from_ms)
    if to_ms is not None:
        query = query.where(events.c.at_ms < to_ms)
    if after is not None:
        at, number = after
        query = query.where(events.c.at_ms >= at, sa.or_(events.c.at_ms > at, events.c.event_no > number))
    rows = connection.execute(query.order_by(events.c.at_ms, events.c.event_no).limit(limit))
    return [Event(**row._mapping) for row in rows]


def newest_events(connection: sa.Connection, press_id: int, *, kind: str, limit: int) -> list[Event]:
    """Events of a kind, the newest first."""
    rows = connection.execute(
        sa.select(events)
        .where(events.c.press_id == press_id, events.c.kind == kind)
        .order_by(events.c.at_ms.desc(), events.c.event_no.desc())
        .limit(limit)
    )
    return [Event(**row._mapping) for row in rows]


# --- valves -------------------------------------------------------------------------------------

_VALVES = Asked(
    sa.select(valves)
    .where(valves.c.press_id == sa.bindparam("press_id", type_=sa.Integer))
    .order_by(valves.c.fitted_ms.desc(), valves.c.valve_no.desc())
)


def add_valve(connection: sa.Connection, valve: Valve) -> Valve:
    """Keep a valve under the press's next number."""
    number = next_of_press(connection, valves.c.valve_no, valve.press_id)
    return _insert(connection, valves, dataclasses.replace(valve, valve_no=number))


def change_valve(connection: sa.Connection, valve: Valve, **changes: Any) -> Valve:
    if changes:
        connection.execute(
            sa.update(valves)
            .where(valves.c.press_id == valve.press_id, valves.c.valve_no == valve.valve_no)
            .values(**changes)
        )
    return dataclasses.replace(valve, **changes)


def valves_of(connection: sa.Connection, press_id: int) -> list[Valve]:
    """Every valve a press ever had, the newest first."""
    return [Valve(**row) for row in _VALVES.dicts(connection, press_id=press_id)]


def all_valves(connection: sa.Connection) -> list[tuple[str, Valve]]:
    """Every valve with the code of its press; per press the newest first."""
    rows = connection.execute(
        sa.select(presses.c.press, valves)
        .join(presses, presses.c.press_id == valves.c.press_id)
        .order_by(presses.c.press, valves.c.fitted_ms.desc(), valves.c.valve_no.desc())
    )
    found = []
    for row in rows:
        values = dict(row._mapping)
        found.append((str(values.pop("press")), Valve(**values)))
    return found


def shots_between(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int | None) -> int:
    """Shots of a press from a time (inclusive) to another (exclusive; None: until now)."""
    query = sa.select(sa.func.count()).where(shots.c.press_id == press_id, shots.c.at_ms >= from_ms)
    if to_ms is not None:
        query = query.where(shots.c.at_ms < to_ms)
    return int(connection.execute(query).scalar_one())


# --- studies ------------------------------------------------------------------------------------


def add_study(connection: sa.Connection, study: Study) -> Study:
    """Keep a study under the press's next number."""
    number = next_of_press(connection, studies.c.study_no, study.press_id)
    return _insert(connection, studies, dataclasses.replace(study, study_no=number))


#: Kinds of study that say something of the valve itself.
CHECKS = ("drift-check", "short-shot", "inspection", "proof")

_CHECKS_OF = Asked(
    sa.select(studies)
    .where(
        studies.c.press_id == sa.bindparam("press_id", type_=sa.Integer),
        sa.or_(*(studies.c.kind == kind for kind in CHECKS)),
    )
    .order_by(studies.c.at_ms, studies.c.study_no)
)


def checks_of(connection: sa.Connection, press_id: int) -> list[Study]:
    """Every off-line check of a press's valves, the oldest first."""
    return [_study_with(row) for row in _CHECKS_OF.dicts(connection, press_id=press_id)]


def studies_of_kind(connection: sa.Connection, kind: str) -> list[tuple[str, Study]]:
    """Every study of a kind with the code of its press, the oldest first."""
    rows = connection.execute(
        sa.select(presses.c.press, studies)
        .join(presses, presses.c.press_id == studies.c.press_id)
        .where(studies.c.kind == kind)
        .order_by(studies.c.at_ms, studies.c.press_id, studies.c.study_no)
    )
    return [(row.press, _study_of(dict(row._mapping))) for row in rows]


def score_before(connection: sa.Connection, press_id: int, *, at_ms: int) -> tuple[float, bytes] | None:
    """(log_odds, terms) of the last score kept before a moment; None without one."""
    row = connection.execute(
        sa.select(scores.c.log_odds, scores.c.terms)
        .where(scores.c.press_id == press_id, scores.c.at_ms < at_ms)
        .order_by(scores.c.at_ms.desc(), scores.c.counter.desc())
        .limit(1)
    ).one_or_none()
    return None if row is None else (float(row.log_odds), bytes(row.terms))


def _study_of(values: dict[str, Any]) -> Study:
    values.pop("press")
    return _study_with(values)


def _study_with(values: Mapping[str, Any]) -> Study:
    return Study(**{**values, "asked": json.loads(values["asked"]), "result": json.loads(values["result"])})


def _study(row: Any) -> Study:
    return Study(**{**row._mapping, "asked": json.loads(row.asked), "result": json.loads(row.result)})


def list_studies(
    connection: sa.Connection,
    *,
    press_id: int | None = None,
    kind: str | None = None,
    after: tuple[int, int, int] | None = None,
    limit: int = 100,
) -> list[tuple[str, Study]]:
    """Studies with the code of their press, newest first. after: (at_ms, press_id, study_no)."""
    query = sa.select(presses.c.press, studies).join(presses, presses.c.press_id == studies.c.press_id)
    if press_id is not None:
        query = query.where(studies.c.press_id == press_id)
    if kind is not None:
        query = query.where(studies.c.kind == kind)
    if after is not None:
        at, press, number = after
        same = studies.c.at_ms == at
        query = query.where(
            sa.or_(
                studies.c.at_ms < at,
                sa.and_(same, studies.c.press_id > press),
                sa.and_(same, studies.c.press_id == press, studies.c.study_no > number),
            )
        )
    order = (studies.c.at_ms.desc(), studies.c.press_id, studies.c.study_no)
    found = []
    for row in connection.execute(query.order_by(*order).limit(limit)):
        values = dict(row._mapping)
        press_code = str(values.pop("press"))
        values["asked"], values["result"] = json.loads(values["asked"]), json.loads(values["result"])
        found.append((press_code, Study(**values)))
    return found
