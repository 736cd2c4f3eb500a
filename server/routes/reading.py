"""Reading presses: the list, one press, its findings and events; and the other reading calls."""

import json
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.contract import SIGNALS
from server.derived.qualification import qualification_of
from server.derived.standing import likelihood_of, press_status, shown_status
from server.routes import reading_leak, reading_molds, reading_shots, recalibration
from server.routes.acting import event_item, press_item, valve_item
from server.routes.baselines import baseline_item
from server.routes.calls import allow, code_of, objects_of, when
from server.routes.reading_query import (
    Cursor,
    From,
    Limit,
    To,
    as_json,
    decode_cursor,
    page,
    read_signal,
    read_span,
    reading,
)
from server.show.judged import read_judgement
from server.store import intake, questions
from server.store.plant import Press, read_settings
from server.store.records import baseline_by_no, events_of, valves_of

router = APIRouter(prefix="/api/v1", tags=["reading"])


@router.get("/presses")
def get_presses(
    request: Request, limit: Limit = 100, cursor: Cursor = None, mold: str | None = None
) -> dict[str, Any]:
    """Every press of the plant, by code, with how it stands; `mold`: those that run it now."""
    allow(request, "read")
    key = decode_cursor(cursor, [str])
    objects = objects_of(request)
    now_ms = objects.now_ms()
    of_mold = None if mold is None else code_of(mold)
    with objects.store.read() as connection:
        rows = questions.presses_page(
            connection, after=key[0] if key else None, limit=limit + 1, mold=of_mold
        )
        open_alarms = questions.open_alarm_counts(connection)
        silent_after_s = float(read_settings(connection)["silent_after_s"])
    items = [
        {
            **_standing(row, silent_after_s=silent_after_s, now_ms=now_ms),
            "open_alarms": open_alarms.get(row["press_id"], 0),
        }
        for row in rows
    ]
    return page(items, limit, [[row["press"]] for row in rows])


def _standing(row: questions.Row, *, silent_after_s: float, now_ms: int) -> dict[str, Any]:
    judgement = read_judgement(row)
    likelihood = likelihood_of(row)
    return {
        "press": row["press"],
        "name": row["name"],
        "area": row["area"],
        "mold": row["mold"],
        "last_shot_at": when(row["last_shot_ms"]),
        "press_status": press_status(row, silent_after_s=silent_after_s, now_ms=now_ms),
        "leak_likelihood": likelihood,
        "leak_status": shown_status(row, now_ms=now_ms),
        "leading_cause": None
        if likelihood is None or not judgement.causes
        else max(judgement.causes, key=lambda cause: judgement.causes[cause]),
    }


@router.get("/presses/{press}")
def get_press(request: Request, press: str) -> dict[str, Any]:
    """A press: configuration, valve, what it runs, the baseline in force, what still waits."""
    now_ms = objects_of(request).now_ms()
    with reading(request, press) as (connection, found):
        row = questions.press_with_state(connection, found.press_id)
        silent_after_s = float(read_settings(connection)["silent_after_s"])
        alarms = questions.open_alarm_counts(connection).get(found.press_id, 0)
        return {
            **press_item(found),
            **_standing(row, silent_after_s=silent_after_s, now_ms=now_ms),
            "open_alarms": alarms,
            "valve": _valve(connection, found),
            "setup": {name: row[name] for name in ("mold", "material", "setup", "lot", "box")},
            "baseline": _baseline(connection, found, row["baseline_no"]),
            "dose_lag_in_use": row["dose_lag_found"],
            "last_counter": row["last_counter"],
            "last_arrival_at": when(row["last_arrival_ms"]),
            "pending_shots": intake.pending(connection, found.press_id),
            "evaluated_through": when(row["evaluated_ms"]),
            "bottoming_since": when(row["bottoming_since_ms"]),
            "alarms_held_back": row["held_back"],
            "watching": json.loads(row["watching"]) if row["watching"] else None,
            "trouble": row["trouble"],
        }


def _valve(connection: sa.Connection, press: Press) -> dict[str, Any] | None:
    fitted = [valve for valve in valves_of(connection, press.press_id) if valve.removed_ms is None]
    return valve_item(press.press, fitted[0]) if fitted else None


def _baseline(connection: sa.Connection, press: Press, number: int | None) -> dict[str, Any] | None:
    found = None if number is None else baseline_by_no(connection, press.press_id, number)
    if found is None:
        return None
    return baseline_item(press.press, found, qualification_of(connection, press, found))


@router.get("/presses/{press}/findings")
def get_findings(
    request: Request,
    press: str,
    since: From = None,
    to: To = None,
    signal: Annotated[str | None, Query()] = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> Response:
    """Chart and rule findings as episodes that touch the stretch, newest first."""
    from_ms, to_ms = read_span(since, to)
    if signal is not None:
        read_signal(signal, SIGNALS)
    after = decode_cursor(cursor, [int, int, str, str, int])
    with reading(request, press) as (connection, found):
        rows = questions.findings_page(
            connection,
            found.press_id,
            from_ms=from_ms,
            to_ms=to_ms,
            signal=signal,
            after=after,
            limit=limit + 1,
        )
    keys = [[row[name] for name in questions.FINDING_KEY] for row in rows]
    return as_json(page([reading_shots.finding_item(row) for row in rows], limit, keys))


@router.get("/presses/{press}/events")
def get_events(
    request: Request,
    press: str,
    since: From = None,
    to: To = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> dict[str, Any]:
    """What was done to a press, in order of time."""
    from_ms, to_ms = read_span(since, to)
    key = decode_cursor(cursor, [int, int])
    with reading(request, press) as (connection, found):
        rows = events_of(
            connection,
            found.press_id,
            from_ms=from_ms,
            to_ms=to_ms,
            after=(key[0], key[1]) if key else None,
            limit=limit + 1,
        )
    items = [event_item(found.press, one) for one in rows]
    return page(items, limit, [[one.at_ms, one.event_no] for one in rows])


for module in (reading_shots, reading_leak, reading_molds, recalibration):
    router.include_router(module.router)
