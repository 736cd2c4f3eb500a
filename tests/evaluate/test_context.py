"""A record is read once, and each press still has its own watch of it."""

import dataclasses
import json

import pytest

from server.evaluate.context import watch_of
from server.store.plant import Press

ROW = {
    "baseline_no": 3,
    "mold": "M-1",
    "material": "PP",
    "setup": None,
    "to_ms": 1_000,
    "signals": json.dumps(
        {
            "signals": {
                "swept_mm": {"center": 60.0, "sigma": 0.1, "step": 0.01, "n": 400},
                "cushion_mm": {"center": 6.0, "sigma": 0.1, "step": 0.01, "n": 400},
            },
            "cycle_ms": 20_000.0,
        }
    ),
}


def press(**given: object) -> Press:
    named = {field.name: None for field in dataclasses.fields(Press)}
    return Press(**{**named, "press_id": 1, "press": "P1", **given})  # type: ignore[arg-type]  # of any column


def test_what_a_row_says_is_in_its_watch() -> None:
    watch = watch_of(ROW, press(), false_alarms_a_week=1.0)
    other = watch_of({**ROW, "baseline_no": 4, "mold": "M-2"}, press(), false_alarms_a_week=1.0)
    assert (watch.baseline_no, watch.mold, watch.to_ms) == (3, "M-1", 1_000)
    assert (other.baseline_no, other.mold) == (4, "M-2")
    assert watch.reference is other.reference


def test_a_press_that_says_where_its_bottom_is_has_a_watch_of_its_own() -> None:
    usual = watch_of(ROW, press(), false_alarms_a_week=1.0)
    told = watch_of(ROW, press(bottom_mm=1.5, dose_lag=1), false_alarms_a_week=1.0)
    assert (usual.reference.bottom_mm, told.reference.bottom_mm, told.dose_lag) == (0.3, 1.5, 1)


def test_numbers_of_a_record_cannot_be_written_to() -> None:
    watch = watch_of(ROW, press(), false_alarms_a_week=1.0)
    with pytest.raises(ValueError, match="read-only"):
        watch.center[0] = 1.0
