"""Studies: judged, kept, refused by field."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.errors import NotFoundError
from server.record import studies
from server.store.audit import audit_of
from server.store.records import list_studies
from server.words.study_words import result_facts
from tests.notify.plants import press_named, scratch
from tests.record.asking import NOW, refused


def study(connection: sa.Connection, kind: str, **body: Any) -> Any:
    press_named(connection, "P07", screw_diameter_mm=45.0)
    return studies.keep_study(connection, kind, {"press": "P07", **body}, who="eda", now_ms=NOW)


WEIGHTS = [10.0, 10.2, 9.9, 10.1, 10.0]


def test_a_short_shot_study_is_judged_and_kept() -> None:
    with scratch() as connection:
        kept = study(connection, "short-shot", mold="M-113", weights_g=WEIGHTS, limit_pct=5)
        # (10.2 - 9.9) / 10.04
        assert kept.result["percent_variation"] == pytest.approx(2.988, abs=0.001)
        ((press, again),) = list_studies(connection)
        assert (press, again.verdict, again.asked["weights_g"]) == ("P07", kept.verdict, WEIGHTS)
        assert [row.action for row in audit_of(connection, again.press_id)] == ["study_kept"]


def test_a_drift_check_takes_its_samples_in_any_order() -> None:
    with scratch() as connection:
        samples = [{"t_s": t, "position_mm": 30 - 0.05 * t} for t in range(30, -1, -2)]
        kept = study(connection, "drift-check", pressure_bar=150, samples=samples)
        assert kept.result["creep_mm_s"] == pytest.approx(0.05, abs=1e-9)
        # 0.05 mm/s on a screw of 45 mm: pi/4 * 45^2 * 0.05 mm3/s
        assert kept.result["leak_flow_cm3_s"] == pytest.approx(0.0795, abs=0.0001)


SAMPLES = [{"t_s": t, "position_mm": 30 - 0.05 * t} for t in range(0, 31, 2)]
EVERY_CAUTION = ["hot_melt", "heat_soak", "blocked_nozzle"]


@pytest.mark.parametrize(
    ("told", "missing"),
    [
        ({}, ["resin", "method", "confirmed"]),
        ({"resin": "pom", "method": "frozen_gate", "confirmed": ["hot_melt"]}, ["confirmed"]),
        ({"resin": "pom", "method": "frozen_gate", "confirmed": EVERY_CAUTION}, []),
    ],
)
def test_a_drift_check_sent_whole_says_what_was_not_stated(told: dict[str, Any], missing: list[str]) -> None:
    with scratch() as connection:
        kept = study(connection, "drift-check", pressure_bar=150, samples=SAMPLES, **told)
        assert kept.result["not_stated"] == missing
        said = dict(result_facts(kept.kind, kept.asked, kept.result))
        assert ("Not stated" in said) == bool(missing)
        assert ("cautions confirmed" in said.get("Not stated", "")) == ("confirmed" in missing)


@pytest.mark.parametrize("resin", ["pom", "pvc", "blowing"])
def test_a_drift_check_sent_whole_against_a_plug_is_refused_with_the_reason(resin: str) -> None:
    plug = {"pressure_bar": 150, "samples": SAMPLES, "method": "rated_plug", "plug_rated_bar": 200}
    with scratch() as connection:
        refused(lambda: study(connection, "drift-check", **plug, resin=resin), "method", "blocked nozzle")
        refused(lambda: study(connection, "drift-check", **plug), "resin", "resin is missing")


@pytest.mark.parametrize(
    ("kind", "body", "field"),
    [
        ("short-shot", {"weights_g": [1.0, 2.0]}, "weights_g"),
        ("short-shot", {"weights_g": [1.0, "x", 2.0]}, "weights_g[1]"),
        ("short-shot", {"weights_g": WEIGHTS, "limit_pct": 0}, "limit_pct"),
        ("drift-check", {"samples": []}, "pressure_bar"),
        ("drift-check", {"pressure_bar": 150, "samples": [{"t_s": 1}] * 3}, "samples[0].position_mm"),
        ("inspection", {"verdict": "fine"}, "verdict"),
        (
            "inspection",
            {"verdict": "good", "ring_diameter_mm": 46, "bore_diameter_mm": 45},
            "ring_diameter_mm",
        ),
        ("setting-trial", {"setting": "hold", "levels": [{"values": WEIGHTS}]}, "levels"),
        ("gate-seal", {"points": [{"hold_time_s": 1, "weight_g": 2}] * 6}, "points"),
        ("qualification", {"mold": "M", "verdict": "passed", "checks": {"dry": "failed"}}, "verdict"),
        ("qualification", {"mold": "M", "verdict": "passed", "checks": {"dry": "maybe"}}, "dry"),
    ],
)
def test_a_study_that_cannot_be_judged_is_refused(kind: str, body: dict[str, Any], field: str) -> None:
    with scratch() as connection:
        refused(lambda: study(connection, kind, **body), field)


def test_a_study_of_an_unknown_press_is_refused() -> None:
    body = {"press": "P99", "weights_g": WEIGHTS}
    with scratch() as connection, pytest.raises(NotFoundError, match="P99"):
        studies.keep_study(connection, "short-shot", body, who="eda", now_ms=NOW)


def test_an_inspection_works_out_the_clearance() -> None:
    with scratch() as connection:
        kept = study(connection, "inspection", verdict="worn", ring_diameter_mm=44.7, bore_diameter_mm=45.0)
        assert kept.result["clearance_mm"] == pytest.approx(0.15)
