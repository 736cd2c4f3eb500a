"""Molds, their capability across presses, and the rows that were kept apart."""

import dataclasses
from collections.abc import Mapping
from typing import Annotated, Any, Final

import numpy as np
import sqlalchemy as sa
from fastapi import APIRouter, Query, Request
from numpy.typing import NDArray

from server.contract import SIGNALS
from server.derived.capability import DrawingLimits, PressCapability, press_capability
from server.derived.mold_limits import in_force
from server.errors import InvalidError
from server.language import N_
from server.maths.results import Undetermined
from server.routes.calls import allow, objects_of, when
from server.routes.maths import capability_answer, nothing_said, stability_answer
from server.routes.reading_query import (
    Cursor,
    From,
    Limit,
    To,
    asked_code,
    decode_cursor,
    page,
    read_signal,
    read_span,
)
from server.show.mold_words import DEMAND_PPK, lane_verdict, verdict_of
from server.store import questions
from server.store.mold_versions import versions_of
from server.store.page_queries import document, presses_of_molds
from server.store.plant import Press, all_molds, need_mold, press_by_id, setups_with_mold
from server.store.records import Baseline, baselines_of

router = APIRouter()


@router.get("/molds")
def get_molds(request: Request, limit: Limit = 100, cursor: Cursor = None) -> dict[str, Any]:
    """Every mold, by code, with its limits and the presses it ran on."""
    allow(request, "read")
    key = decode_cursor(cursor, [str])
    with objects_of(request).store.read() as connection:
        rows = [one for one in all_molds(connection) if key is None or one["mold"] > key[0]]
        where = presses_of_molds(connection)
    rows = sorted(rows, key=lambda one: str(one["mold"]))[: limit + 1]
    items = [_mold(row, where.get(row["mold"], [])) for row in rows]
    return page(items, limit, [[row["mold"]] for row in rows])


@router.get("/molds/{mold}")
def get_mold(request: Request, mold: str) -> dict[str, Any]:
    """A mold: part, cavities, demand, limits, and the presses it ran on."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        found = need_mold(connection, asked_code("mold", mold))
        return _mold(found, presses_of_molds(connection).get(found["mold"], []))


@router.get("/molds/{mold}/versions")
def get_versions(request: Request, mold: str) -> dict[str, Any]:
    """Limits and demand of a mold over the years: since when, by whom, why. The newest first."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        found = need_mold(connection, asked_code("mold", mold))
        versions = versions_of(connection, found["mold"])
    items = [
        {
            "version": one.version_no,
            "since": when(one.since_ms),
            "limits": one.limits,
            "demand": one.demand,
            "who": one.who,
            "why": one.why,
        }
        for one in reversed(versions)
    ]
    return {"items": items, "next_cursor": None}


def _mold(row: Mapping[str, Any], presses: list[str]) -> dict[str, Any]:
    return {
        "mold": row["mold"],
        "part": row["part"],
        "cavities": row["cavities"],
        "demand": document(row["demand"]),
        "limits": document(row["limits"]),
        "details": document(row["details"]),
        "created_at": when(row["created_ms"]),
        "presses": presses,
    }


# --- capability ---------------------------------------------------------------------------------


@router.get("/molds/{mold}/capability")
def get_capability(
    request: Request,
    mold: str,
    signal: Annotated[str, Query()] = "part_weight_g",
    press: Annotated[str | None, Query(description="one press; all without it")] = None,
    since: From = None,
    to: To = None,
) -> dict[str, Any]:
    """How well each press makes this mold's part, on its newest shots, 20,000 at most.

    The same judgement as on the mold page, to the last digit: stability first, then what
    autocorrelation leaves of the sample (`phi`, `n_effective`), then indices whose intervals know it.
    Limits are those of the drawing and never invented: without any there is no index, only how far
    the press is from its own baseline.
    """
    allow(request, "read")
    read_signal(signal, SIGNALS)
    span = read_span(since, to)
    with objects_of(request).store.read() as connection:
        found = need_mold(connection, asked_code("mold", mold))
        held = in_force(connection, found, until_ms=span[1])
        limits = _limits(held.limits.get(signal))
        demand = held.demand.get("ppk") or DEMAND_PPK
        ask = _Ask(found["mold"], signal, limits, demand, *span)
        setups: dict[int, list[int]] = {}
        for one in setups_with_mold(connection, found["mold"]):
            setups.setdefault(one.press_id, []).append(one.setup_id)
        presses = [press_by_id(connection, press_id) for press_id in setups]
        if press is not None:
            presses = [_asked(presses, asked_code("press", press), found["mold"])]
        items = [
            _press(connection, one, setups[one.press_id], ask)
            for one in sorted(presses, key=lambda one: one.press)
        ]
    return {
        "mold": found["mold"],
        "part": found["part"],
        "signal": signal,
        "limits": limits or None,
        "demand_ppk": demand,
        "limits_version": None if held.version is None else held.version.version_no,
        "items": items,
        "next_cursor": None,
    }


def _asked(presses: list[Press], code: str, mold: str) -> Press:
    for one in presses:
        if one.press == code:
            return one
    ran = ", ".join(sorted(one.press for one in presses)) or "no press yet"
    raise InvalidError(
        N_("press {code!r} has no shots with mold {mold!r}; it ran on: {ran}", code=code, mold=mold, ran=ran),
        field="press",
    )


def _limits(given: Any) -> dict[str, float]:
    if not isinstance(given, Mapping):
        return {}
    return {name: float(given[name]) for name in ("lower", "upper", "target") if given.get(name) is not None}


@dataclasses.dataclass(frozen=True)
class _Ask:
    """Which values are judged, and against what."""

    mold: str
    signal: str
    limits: Mapping[str, float]
    demand: float
    from_ms: int | None
    to_ms: int | None


def _press(connection: sa.Connection, press: Press, setup_ids: list[int], ask: _Ask) -> dict[str, Any]:
    one = press_capability(
        connection,
        press.press_id,
        signal=ask.signal,
        setup_ids=setup_ids,
        limits=DrawingLimits(**ask.limits),
        from_ms=ask.from_ms,
        to_ms=ask.to_ms,
    )
    values, at_ms, steady = one.values, one.at_ms, one.found.stability
    answer: dict[str, Any] = {
        "press": press.press,
        "stability": stability_answer(steady),
        "n": len(values),
        "n_effective": {"mean": one.found.n_effective_mean, "scatter": one.found.n_effective_scatter},
        "phi": one.found.phi,
        "from": when(int(at_ms[0])) if len(at_ms) else None,
        "to": when(int(at_ms[-1])) if len(at_ms) else None,
        "mean": float(values.mean()) if len(values) else None,
    }
    if ask.limits:
        return answer | _indices(one, ask)
    baselines = baselines_of(connection, press.press_id, state="approved")
    known = [one for one in baselines if one.mold == ask.mold]
    return answer | _consistency(values, known, ask.signal)


def _indices(one: PressCapability, ask: _Ask) -> dict[str, Any]:
    judged, steady = one.found.capability, one.found.stability
    if isinstance(judged, Undetermined):
        nothing = nothing_said(one.found.n, judged.reason)
        del nothing["mean"]
        return {**nothing, "verdict": "undetermined", "text": judged.reason}
    word, detail, _ = lane_verdict(judged, steady, demand=ask.demand)
    return {
        **capability_answer(judged),
        "verdict": verdict_of(judged, steady, demand=ask.demand),
        "text": f"{word}, {detail}; demand {ask.demand:g}",
    }


def _consistency(
    values: NDArray[np.float64],
    baselines: list[Baseline],
    signal: str,
) -> dict[str, Any]:
    """Without limits: the values against the newest baseline that knows the signal."""
    answer: dict[str, Any] = {"sigma_within": None, "sigma_total": None, "verdict": "no_limits"}
    if len(values) > 1:
        answer["sigma_total"] = float(values.std(ddof=1))
        answer["sigma_within"] = float(np.abs(np.diff(values)).mean()) / 1.1283791670955126
    known = [one for one in baselines if signal in one.signals.get("signals", {})]
    if not known or answer["sigma_total"] is None:
        why = "no baseline knows this signal" if len(values) > 1 else f"{len(values)} of 2 values needed"
        return {**answer, "consistency": None, "text": f"No limits of the drawing, so no index; {why}."}
    one = known[-1].signals["signals"][signal]
    center, sigma = float(one["center"]), float(one["sigma"])
    outside = np.abs(values - center) > 3.0 * sigma
    shift, ratio = (float(values.mean()) - center) / sigma, answer["sigma_total"] / sigma
    moved = abs(shift) > 1.0 or ratio > 1.5
    text = (
        f"{abs(shift):.1f} σ {'above' if shift >= 0 else 'below'} the baseline, scatter {ratio:.1f} times it"
    )
    return {
        **answer,
        "consistency": {
            "baseline_no": known[-1].baseline_no,
            "center": center,
            "sigma": sigma,
            "shift_sigma": shift,
            "scatter_ratio": ratio,
            "share_outside": float(outside.mean()),
        },
        "verdict": "not_consistent" if moved else "consistent",
        "text": f"No limits of the drawing, so no index: {text}.",
    }


# --- rows kept apart ----------------------------------------------------------------------------


_APART: Final = ("kind", "field", "code", "message", "raw", "replayable", "source")


@router.get("/quarantine")
def get_quarantine(
    request: Request, press: str | None = None, limit: Limit = 100, cursor: Cursor = None
) -> dict[str, Any]:
    """Rows that were not taken, newest first, each with its raw text and the reason.

    `press` need not be one of the plant: shots of unknown presses wait here.
    """
    code = None if press is None else asked_code("press", press)
    allow(request, "read", press=code)
    after = decode_cursor(cursor, [int, int])
    with objects_of(request).store.read() as connection:
        rows = questions.quarantine_page(connection, press=code, after=after, limit=limit + 1)
    items = [
        {
            "id": str(row["row_id"]),
            "press": row["press"],
            "arrived_at": when(row["arrived_ms"]),
            **{
                name: row[name]
                for name in ("kind", "field", "code", "message", "raw", "replayable", "source")
            },
        }
        for row in rows
    ]
    return page(items, limit, [[row["arrived_ms"], row["row_id"]] for row in rows])
