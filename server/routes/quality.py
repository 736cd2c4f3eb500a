"""`GET /api/v1/presses/{press}/data-quality`: how far a press's record can be trusted."""

import dataclasses
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request

from server.derived.record_quality import RecordQuality, record_quality
from server.maths.results import Undetermined
from server.routes.calls import allow, code_of, objects_of, when
from server.store.plant import need_press, read_settings
from server.words.importing import lag_text
from server.words.quality import all_concerns

router = APIRouter(prefix="/api/v1", tags=["reading"])


@router.get("/presses/{press}/data-quality")
def get_quality(request: Request, press: str, days: Annotated[int, Query(ge=1, le=90)] = 14) -> Any:
    """Completeness by day, clock, sensors, units, and each concern with its way out."""
    code = code_of(press)
    allow(request, "read", press=code)
    objects = objects_of(request)
    now_ms = objects.now_ms()
    with objects.store.read() as connection:
        found = record_quality(
            connection,
            need_press(connection, code),
            days=days,
            zone=ZoneInfo(read_settings(connection)["time_zone"]),
            now_ms=now_ms,
        )
    return quality_item(found)


def quality_item(found: RecordQuality) -> dict[str, Any]:
    """The judgement as the API writes it; what cannot be said is null with its reason."""
    clock, lag = found.clock, found.dose_lag
    return {
        "press": found.press,
        "from": when(found.from_ms),
        "completeness": found.completeness.share,
        "days": [
            {
                "day": date,
                "stored": day.stored,
                "expected": day.expected,
                "resets": day.resets,
                "leaps": day.leaps,
            }
            for date, day in zip(found.dates, found.completeness.days, strict=True)
        ],
        "gaps": [
            {
                "from": when(gap.from_ms),
                "to": when(gap.to_ms),
                "from_counter": gap.from_counter,
                "to_counter": gap.to_counter,
                "missing": gap.missing,
            }
            for gap in found.completeness.gaps
        ],
        "clock": None if isinstance(clock, Undetermined) else dataclasses.asdict(clock),
        "clock_reason": clock.reason if isinstance(clock, Undetermined) else "",
        "sensors": {field: dataclasses.asdict(one) for field, one in found.sensors.items()},
        "dose_lag": {
            "set": found.dose_lag_set,
            "detected": None if isinstance(lag, Undetermined) else lag.lag,
            "ratio": None if isinstance(lag, Undetermined) else lag.ratio,
            "needed": None if isinstance(lag, Undetermined) else lag.needed,
            "text": lag_text(lag, set_to=found.dose_lag_set),
        },
        "apart": dict(found.apart),
        "shots_looked_at": found.shots,
        "concerns": [dataclasses.asdict(one) for one in all_concerns(found)],
    }
