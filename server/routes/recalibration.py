"""The score against the plant's own inspections, over HTTP."""

import dataclasses
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from server.derived.inspected import Record, inspection_record
from server.maths.results import Undetermined
from server.record.recalibration import change_recalibration
from server.routes.calls import allow, objects_of, when, write
from server.store.plant import read_settings

router = APIRouter()


@router.get("/score/recalibration")
def get_recalibration(request: Request) -> dict[str, Any]:
    """What inspections make of the score, whether or not that is put on it.

    `result` holds shift and slope of the log-odds with their intervals, or the `reason` why there is
    none; `applied` is what the scores carry now.
    """
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        return _answer(inspection_record(connection), read_settings(connection)["recalibration"])


@router.post("/score/recalibration")
def post_recalibration(request: Request, body: Annotated[Any, Body()] = None) -> dict[str, Any]:
    """`{"apply": true}` puts the correction on every score, false takes it off; both judge again."""
    who, now_ms = allow(request, "settings").name, objects_of(request).now_ms()

    def job(connection: Any) -> tuple[bool, dict[str, Any]]:
        changed = change_recalibration(connection, body, who=who, now_ms=now_ms)
        record = inspection_record(connection)
        return changed, _answer(record, read_settings(connection)["recalibration"])

    changed, answer = write(request, job)
    if changed:
        objects_of(request).wake()
    return answer


def _answer(record: Record, applied: Any) -> dict[str, Any]:
    result = record.result
    if isinstance(result, Undetermined):
        shown: dict[str, Any] = {"reason": result.reason}
    else:
        shown = dataclasses.asdict(result)
    return {
        "inspections": [
            {
                "press": one.press,
                "study_no": one.study_no,
                "at": when(one.at_ms),
                "log_odds": one.log_odds,
                "found": {True: "failed", False: "good", None: "worn"}[one.failing],
            }
            for one in record.inspected
        ],
        "without_a_score": record.unpaired,
        "worn_left_out": record.worn,
        "result": shown,
        "applied": None if applied is None else {**applied, "at": when(applied["at_ms"])},
        "assumes": (
            "which valves were opened depended on the score and on checks on record, on nothing else that"
            " tells a failing valve"
        ),
    }
