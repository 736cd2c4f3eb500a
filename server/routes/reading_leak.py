"""The leak-likelihood of a press: now, over time, and what it makes suspect."""

import dataclasses
import math
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from server.contract import CAUSES
from server.derived.estimates import RunOut, estimates_of
from server.derived.standing import (
    find_onset,
    likelihood_of,
    onset_item,
    shown_status,
)
from server.maths.results import Undetermined
from server.routes.calls import objects_of, when
from server.routes.reading_query import (
    Cursor,
    From,
    Limit,
    To,
    as_json,
    decode_cursor,
    page,
    read_span,
    read_time,
    reading,
)
from server.show.judged import read_judgement
from server.store import questions
from server.store.plant import read_settings
from server.store.records import baseline_by_no
from server.valve.estimates import LeakEstimate
from server.valve.evidence import FACTS, likelihood
from server.valve.evidence_words import settled_by, term_sentence
from server.valve.model import MODEL
from server.valve.recalibration import KEPT_TERMS
from server.words.prior_words import prior_lines
from server.words.shifts import shift_at
from server.words.times import Zone

router = APIRouter()


@router.get("/presses/{press}/leak")
def get_leak(request: Request, press: str) -> dict[str, Any]:
    """How likely the valve leaks, what that rests on, what may be behind it and since when.

    `likelihood` is null while the press is not judged; `status` says why and `missing` what for.
    """
    now_ms = objects_of(request).now_ms()
    with reading(request, press) as (connection, found):
        row = questions.press_with_state(connection, found.press_id)
        number = row["baseline_no"]
        baseline = None if number is None else baseline_by_no(connection, found.press_id, number)
        onset = find_onset(connection, found, row, baseline)
        estimates = estimates_of(
            connection, found, row, baseline, onset_from_ms=onset.from_ms if onset else None
        )
    value = likelihood_of(row)
    answer: dict[str, Any] = {
        "press": found.press,
        "likelihood": value,
        "status": shown_status(row, now_ms=now_ms),
        "missing": [one for one in (row["missing"] or "").splitlines() if one],
        "prior_log_odds": row["prior_log_odds"],
        "onset": onset_item(onset, when),
        "estimates": {"leak": _leak_item(estimates.leak), "run_out": _run_out_item(estimates.run_out)},
        "as_of": when(row["score_ms"] if value is not None else row["evaluated_ms"]),
        "baseline_no": number,
        "model_version": MODEL["version"],
    }
    if value is None:
        return {**answer, "log_odds": None, "causes": {}, "evidence": []}
    return {**answer, "log_odds": row["log_odds"], **_grounds(row)}


def _leak_item(leak: LeakEstimate | Undetermined) -> dict[str, Any]:
    return {"reason": leak.reason} if isinstance(leak, Undetermined) else dataclasses.asdict(leak)


def _run_out_item(run_out: RunOut | Undetermined) -> dict[str, Any]:
    if isinstance(run_out, Undetermined):
        return {"reason": run_out.reason}
    return {
        "at": when(run_out.at_ms),
        "from": when(run_out.from_ms),
        "to": when(run_out.to_ms),
        "shots": run_out.shots,
        "cushion_mm": run_out.cushion_mm,
        "per_1000_shots_mm": run_out.per_1000_mm,
    }


def _grounds(row: questions.Row) -> dict[str, Any]:
    """Causes by id, and the evidence: the parts of the prior first, then each term of the model."""
    judgement = read_judgement(row)
    facts = {name: judgement.facts.get(name, math.nan) for name in FACTS}
    prior = prior_lines(judgement.prior_parts, total=judgement.prior_log_odds)
    evidence = [{"signal": signal, "log_odds": value, "text": text} for signal, value, text in prior]
    for term, log_odds in judgement.terms.items():
        text = term_sentence(term, log_odds=log_odds, facts=facts)
        evidence.append({"signal": term, "log_odds": log_odds, "text": text})
    return {
        "causes": dict(judgement.causes),
        "evidence": evidence,
        "settled_by": list(settled_by(facts)),
        "facts": {name: one if math.isfinite(one) else None for name, one in facts.items()},
    }


@router.get("/presses/{press}/leak/history")
def get_history(
    request: Request,
    press: str,
    since: From = None,
    to: To = None,
    limit: Limit = 100,
    cursor: Cursor = None,
) -> Response:
    """Kept scores in order of time: one where the score moved, and one every fifty shots."""
    from_ms, to_ms = read_span(since, to)
    after = decode_cursor(cursor, [int, int])
    with reading(request, press) as (connection, found):
        rows = questions.scores_page(
            connection, found.press_id, from_ms=from_ms, to_ms=to_ms, after=after, limit=limit + 1
        )
    return as_json(
        page([_score(row) for row in rows], limit, [[row["at_ms"], row["counter"]] for row in rows])
    )


def _score(row: questions.Row) -> dict[str, Any]:
    return {
        "at": when(row["at_ms"]),
        "counter": row["counter"],
        "likelihood": likelihood(row["log_odds"]),
        "log_odds": row["log_odds"],
        "prior_log_odds": row["prior_log_odds"],
        "terms": _named(KEPT_TERMS, row["terms"]),
        "causes": _named(CAUSES, row["causes"]),
        "baseline_no": row["baseline_no"],
        "model_version": row["model_version"],
    }


def _named(names: tuple[str, ...], blob: bytes) -> dict[str, float]:
    """Numbers by name; empty where a score of an older model has others."""
    numbers = np.frombuffer(blob, dtype="<f8").tolist()
    return dict(zip(names, numbers, strict=True)) if len(numbers) == len(names) else {}


@router.get("/presses/{press}/containment")
def get_containment(
    request: Request, press: str, since: Annotated[str | None, Query()] = None
) -> dict[str, Any]:
    """Suspect shots, and the lots, boxes, serials, molds and shifts they are found by.

    `basis` says where the stretch begins: `since` as asked, `onset` at the early end of the
    estimated onset, `bottoming` where the screw went to its end, `record` after the baseline
    where a leak is likely but cannot be dated, `none`
    where nothing is suspect.
    """
    asked_ms = read_time("since", since)
    with reading(request, press) as (connection, found):
        row = questions.press_with_state(connection, found.press_id)
        number = row["baseline_no"]
        baseline = None if number is None else baseline_by_no(connection, found.press_id, number)
        onset = find_onset(connection, found, row, baseline)
        begin, basis = asked_ms, "since"
        if begin is None:
            begin, basis = _begin(row, onset.from_ms if onset else None, baseline.to_ms if baseline else None)
        suspects = None if begin is None else questions.suspects(connection, found.press_id, from_ms=begin)
        shifts = [] if begin is None else _shifts(connection, found.press_id, begin)
    return {
        "press": found.press,
        "basis": basis,
        "since": when(begin),
        "onset": onset_item(onset, when),
        "likelihood": likelihood_of(row),
        "shots": suspects.shots if suspects else 0,
        "first_at": when(suspects.first_ms) if suspects else None,
        "last_at": when(suspects.last_ms) if suspects else None,
        "lots": suspects.lots if suspects else [],
        "boxes": suspects.boxes if suspects else [],
        "serials": suspects.serials if suspects else [],
        "serial_count": suspects.serial_count if suspects else 0,
        "molds": suspects.molds if suspects else [],
        "shifts": shifts,
    }


def _begin(row: questions.Row, onset_ms: int | None, record_ms: int | None) -> tuple[int | None, str]:
    """From when on shots are suspect; the earlier of the onset and the screw at its end."""
    bottoming = row["bottoming_since_ms"]
    begins = [one for one in (onset_ms, bottoming) if one is not None]
    if begins:
        earliest = min(begins)
        return earliest, "onset" if earliest == onset_ms else "bottoming"
    value = likelihood_of(row)
    if value is not None and value >= 0.5 and record_ms is not None:
        return record_ms + 1, "record"
    return None, "none"


def _shifts(connection: Any, press_id: int, from_ms: int) -> list[dict[str, Any]]:
    """Shifts with shots in them, in order."""
    settings = read_settings(connection)
    zone = Zone(str(settings["time_zone"]))
    found: dict[int, str] = {}
    for quarter in questions.shot_hours(connection, press_id, from_ms=from_ms):
        shift = shift_at(max(quarter, from_ms), starts=settings["shifts"], zone=zone)
        found[shift.from_ms] = shift.name
    return [{"name": name, "from": when(at)} for at, name in sorted(found.items())]
