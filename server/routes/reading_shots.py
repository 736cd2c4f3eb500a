"""Shots as rows, as a table, and as a trend with its limits and findings."""

import json
import math
from typing import Annotated, Any, Final
from urllib.parse import urlencode

import numpy as np
import sqlalchemy as sa
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.contract import SHOT_COLUMNS, SHOT_DOCUMENTS, SHOT_NUMBERS, SHOT_TEXTS, SIGNALS
from server.derived.values import derive_signals, sources_of
from server.errors import InvalidError
from server.language import N_
from server.routes.calls import when
from server.routes.reading_query import (
    Cursor,
    From,
    Limit,
    To,
    as_json,
    decode_cursor,
    encode_cursor,
    read_signal,
    read_span,
    reading,
    times_text,
)
from server.routes.reading_trend import Trend, read_trend
from server.show.api_tables import CSV, PARQUET, chosen_media, csv_bytes, parquet_bytes
from server.store import questions
from server.store.plant import Press, setups_of
from server.store.records import baseline_by_no
from server.store.shots import Columns, read_columns

router = APIRouter()

#: Signals that stand in no column.
DERIVED: Final = ("swept_mm", "recovery_s_per_mm")
_LIMITS: Final = ("center", "lower", "upper", "sigma")
_LABELS: Final = ("counter", "at", "mold", "material", "setup")
_SELECTABLE: Final = (*SHOT_COLUMNS, *DERIVED)


@router.get("/presses/{press}/shots")
def get_shots(
    request: Request,
    press: str,
    since: From = None,
    to: To = None,
    signals: Annotated[str | None, Query(description="names with commas between; all without it")] = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> Response:
    """Shots in order of time, as JSON, or as CSV or Parquet by `Accept`.

    What a shot did not bring is null. Tables name the next page in a `Link` header.
    """
    from_ms, to_ms = read_span(since, to)
    names = _names(signals)
    after = decode_cursor(cursor, [int, int])
    with reading(request, press) as (connection, found):
        stored = tuple(dict.fromkeys((*sources_of(names), *(n for n in names if n in SHOT_COLUMNS))))
        columns = read_columns(
            connection,
            found.press_id,
            from_ms=from_ms,
            to_ms=to_ms,
            after=(after[0], after[1]) if after else None,
            names=stored,
            limit=limit + 1,
        )
        more = len(columns["at_ms"]) > limit
        columns = {name: column[:limit] for name, column in columns.items()}
        lists = _lists(connection, found, columns, names)
    last = [int(columns["at_ms"][-1]), int(columns["counter"][-1])] if more else None
    return _answer(request, found, lists, encode_cursor(last) if last else None)


def _names(signals: str | None) -> tuple[str, ...]:
    if signals is None:
        return SHOT_COLUMNS
    names = tuple(dict.fromkeys(one.strip() for one in signals.split(",") if one.strip()))
    if not names:
        raise InvalidError(N_("signals is empty; name some, or leave it out for all"), field="signals")
    return tuple(read_signal(name, _SELECTABLE, field="signals") for name in names)


def _lists(
    connection: sa.Connection, press: Press, columns: Columns, names: tuple[str, ...]
) -> dict[str, list[Any]]:
    """The columns of the answer, None for what is missing; `at` in milliseconds."""
    setups = setups_of(connection, press.press_id)
    of = [setups.get(one) for one in columns["setup_id"].tolist()]
    lists: dict[str, list[Any]] = {"counter": columns["counter"].tolist(), "at": columns["at_ms"].tolist()}
    for name in ("mold", "material", "setup"):
        lists[name] = [None if one is None else getattr(one, name) for one in of]
    derived: Any = None
    if any(name in DERIVED for name in names):
        lag = int(questions.press_with_state(connection, press.press_id)["dose_lag_found"] or 0)
        derived = derive_signals(connection, press, columns, dose_lag=lag).signals
    for name in names:
        values = (derived[name] if name in DERIVED else columns[name]).tolist()
        lists[name] = [None if one != one else one for one in values]
    return lists


def _answer(request: Request, press: Press, lists: dict[str, list[Any]], cursor: str | None) -> Response:
    media = chosen_media(request.headers.get("accept", ""))
    headers = {"Vary": "Accept"}
    if media is None:
        return as_json({"items": _items(lists), "next_cursor": cursor}, headers=headers)
    if cursor is not None:
        query = urlencode({**request.query_params, "cursor": cursor})
        headers["Link"] = f'<{request.url.path}?{query}>; rel="next"'
    if media == PARQUET:
        kinds = {name: _kind(name) for name in lists}
        return Response(parquet_bytes(lists, kinds), media_type=PARQUET, headers=headers)
    lists = {**lists, "at": times_text(lists["at"])}
    return Response(csv_bytes(lists), media_type=f"{CSV}; charset=utf-8", headers=headers)


def _kind(name: str) -> str:
    if name in ("at", "counter"):
        return "time" if name == "at" else "whole"
    return "number" if name in SHOT_NUMBERS or name in DERIVED else "text"


def _items(lists: dict[str, list[Any]]) -> list[dict[str, Any]]:
    wire = {**lists, "at": times_text(lists["at"])}
    for name in SHOT_DOCUMENTS:
        if name in wire:
            wire[name] = [None if text is None else json.loads(text) for text in wire[name]]
    names = list(wire)
    return [dict(zip(names, row, strict=True)) for row in zip(*wire.values(), strict=True)]


# --- trend --------------------------------------------------------------------------------------


@router.get("/presses/{press}/trend")
def get_trend(
    request: Request,
    press: str,
    signal: Annotated[str, Query()] = "cushion_mm",
    since: From = None,
    to: To = None,
    points: Annotated[int, Query(ge=2, le=10_000)] = 1_000,
) -> Response:
    """One signal over time in about `points` pieces, the extremes of each kept.

    `at` is the first moment of a piece. `median`, and `p05` to `p95` around nine in ten of its shots,
    are null where they are not known: in summaries of earlier versions, until they are computed again.
    `grain_s` is 0 where the shots themselves were read, else the length of the summaries that were. `limits`
    are those of the baseline in force, or null.
    """
    read_signal(signal, SIGNALS)
    from_ms, to_ms = read_span(since, to)
    with reading(request, press) as (connection, found):
        row = questions.press_with_state(connection, found.press_id)
        trend = read_trend(
            connection,
            found,
            signal=signal,
            dose_lag=int(row["dose_lag_found"] or 0),
            from_ms=from_ms,
            to_ms=to_ms,
            points=points,
        )
        limits = _limits(connection, found.press_id, row["baseline_no"], signal)
        findings = questions.findings_page(
            connection, found.press_id, signal=signal, from_ms=from_ms, to_ms=to_ms, limit=2_000
        )
    return as_json(
        {
            "signal": signal,
            **_pieces(trend),
            "limits": limits,
            "findings": [finding_item(one) for one in reversed(findings)],
        }
    )


def _pieces(trend: Trend) -> dict[str, Any]:
    return {
        "grain_s": trend.grain_s,
        "at": times_text(trend.at_ms),
        "n": trend.n.tolist(),
        "min": _numbers(trend.low),
        "max": _numbers(trend.high),
        "mean": _numbers(trend.mean),
        **{name: _numbers(trend.spread[:, place]) for place, name in enumerate(("p05", "median", "p95"))},
    }


def _numbers(values: Any) -> list[float | None]:
    return [one if math.isfinite(one) else None for one in np.asarray(values).tolist()]


def _limits(
    connection: sa.Connection, press_id: int, baseline_no: int | None, signal: str
) -> dict[str, Any] | None:
    baseline = None if baseline_no is None else baseline_by_no(connection, press_id, baseline_no)
    one = None if baseline is None else baseline.signals.get("signals", {}).get(signal)
    if one is None:
        return None
    return {
        "baseline_no": baseline_no,
        **{name: one.get(name) for name in _LIMITS},
    }


def finding_item(row: questions.Row) -> dict[str, Any]:
    """A finding as the API writes it."""
    return {
        "signal": row["signal"],
        "rule": row["rule"],
        "from": when(row["from_ms"]),
        "to": when(row["to_ms"]),
        "from_counter": row["from_counter"],
        "to_counter": row["to_counter"],
        "marks": row["marks"],
        "extreme": row["extreme"],
        "baseline_no": row["baseline_no"] or None,
    }


assert not set(_LABELS) & set(_SELECTABLE)
assert set(SHOT_TEXTS) <= set(SHOT_COLUMNS)
