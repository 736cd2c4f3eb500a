"""Studies that are open: readings one by one, taken back, kept; cautions first; what a resin forbids."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.errors import ConflictError
from server.maths.results import Undetermined
from server.record import baselines, sheets, studies, weight_limits
from server.record.study_kinds import Judged
from server.store import sheets as kept
from server.store.audit import audit_of
from server.store.plant import Press, put_mold
from server.store.records import list_studies
from server.store.sheets import Sheet
from tests.notify.plants import press_named, scratch
from tests.record.asking import NOW, refused, waits_from
from tests.record.shots import made

WEIGHTS = [41.8, 41.6, 41.9, 41.7, 41.8, 41.75]
CAUTIONS = {kind: list(ids) for kind, ids in studies.CAUTIONS.items()}


def pressing(connection: sa.Connection) -> Press:
    put_mold(connection, "M-113", {}, now_ms=NOW)
    return press_named(connection, "P07", screw_diameter_mm=45.0)


def begun(connection: sa.Connection, press: Press, kind: str = "short-shot", **body: Any) -> Sheet:
    asked = {"kind": kind, "confirmed": CAUTIONS[kind], "mold": "M-113", **body}
    return sheets.open_sheet(connection, press, asked, who="eda", now_ms=NOW)


def weigh(connection: sa.Connection, press: Press, sheet: Sheet, *values: float, **body: Any) -> Any:
    for i, value in enumerate(values):
        sheets.add_readings(
            connection, press, sheet.sheet_no, {"value": value, **body}, who="eda", now_ms=NOW + i
        )
    return sheets.judge_now(
        connection, press, sheet, kept.readings_of(connection, press.press_id, sheet.sheet_no)
    )


def test_each_weight_is_kept_at_once_and_judged_with_those_before() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        few = weigh(connection, press, sheet, 41.8, 41.6)
        assert isinstance(few, Undetermined)
        assert "3" in few.reason
        now = weigh(connection, press, sheet, 41.9)
        assert isinstance(now, Judged)
        assert now.result["n"] == 3
        actions = [row.action for row in audit_of(connection, press.press_id)]
        assert actions.count("readings_added") == 3


def test_a_reading_sent_twice_counts_once() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        weigh(connection, press, sheet, 41.8, mark="scale-17")
        weigh(connection, press, sheet, 41.8, mark="scale-17")
        assert len(kept.readings_of(connection, press.press_id, sheet.sheet_no)) == 1


def test_a_typo_is_taken_back_and_stays_on_record() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        weigh(connection, press, sheet, *WEIGHTS, 418.0)
        sheets.withdraw_reading(connection, press, sheet.sheet_no, 7, who="eda", now_ms=NOW)
        readings = kept.readings_of(connection, press.press_id, sheet.sheet_no)
        assert (readings[6].first, readings[6].withdrawn_by) == (418.0, "eda")
        _, study = sheets.close_sheet(connection, press, sheet.sheet_no, None, who="eda", now_ms=NOW)
        assert study.asked["weights_g"] == WEIGHTS
        assert study.asked["withdrawn"] == 1


def test_a_kept_sheet_is_a_study_with_who_confirmed_the_cautions_and_part_of_the_score() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        weigh(connection, press, sheet, *WEIGHTS)
        done, study = sheets.close_sheet(connection, press, sheet.sheet_no, None, who="ida", now_ms=NOW + 5)
        assert (done.state, done.study_no) == ("kept", study.study_no)
        assert study.asked["confirmed"]["by"] == "eda"
        assert study.asked["confirmed"]["cautions"] == ["hot_melt"]
        assert waits_from(connection, press) == study.at_ms
        with pytest.raises(ConflictError, match="kept"):
            weigh(connection, press, sheet, 41.0)


def test_without_enough_weights_the_sheet_stays_open() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        refused(
            lambda: sheets.close_sheet(connection, press, sheet.sheet_no, None, who="eda", now_ms=NOW),
            "weights_g",
        )
        assert sheets.need_sheet(connection, press, sheet.sheet_no).state == "open"


def test_weights_under_hold_are_compared_with_those_without() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press)
        weigh(connection, press, sheet, 40.0, 41.0, 39.5, 40.5, 41.2, 39.8)
        now = weigh(connection, press, sheet, 44.0, 44.02, 43.99, 44.01, 44.0, 44.02, series="hold")
        assert now.result["hold"]["verdict"] == "repairs"
        assert now.result["n"] == 6


@pytest.mark.parametrize("resin", ["pom", "pvc", "blowing", "unknown"])
def test_a_plug_is_refused_with_a_resin_that_gasses(resin: str) -> None:
    with scratch() as connection:
        press = pressing(connection)
        body = {"resin": resin, "method": "rated_plug", "pressure_bar": 500, "plug_rated_bar": 1000}
        refused(lambda: begun(connection, press, "drift-check", **body), "method", "frozen gate")
        begun(connection, press, "drift-check", **{**body, "method": "frozen_gate"})


def test_a_plug_is_used_below_its_rating_only() -> None:
    with scratch() as connection:
        press = pressing(connection)
        body = {"resin": "pp", "method": "rated_plug", "pressure_bar": 900}
        refused(lambda: begun(connection, press, "drift-check", **body), "plug_rated_bar")
        refused(
            lambda: begun(connection, press, "drift-check", **body, plug_rated_bar=800), "pressure_bar", "800"
        )
        begun(connection, press, "drift-check", **body, plug_rated_bar=1000)


@pytest.mark.parametrize("kind", list(studies.CAUTIONS))
def test_no_study_begins_before_its_cautions_are_confirmed(kind: str) -> None:
    with scratch() as connection:
        press = pressing(connection)
        refused(lambda: begun(connection, press, kind, confirmed=[]), "confirmed", CAUTIONS[kind][0])


def test_a_drift_check_is_read_as_pairs() -> None:
    with scratch() as connection:
        press = pressing(connection)
        sheet = begun(connection, press, "drift-check", resin="pp", method="shut_gate", pressure_bar=500)
        pairs = [[2.0 * i, 30.0 - 0.2 * i] for i in range(20)]
        sheets.add_readings(
            connection, press, sheet.sheet_no, {"values": pairs, "source": "file"}, who="eda", now_ms=NOW
        )
        _, study = sheets.close_sheet(connection, press, sheet.sheet_no, None, who="eda", now_ms=NOW)
        assert study.result["creep_mm_s"] == pytest.approx(0.1)
        assert (study.asked["resin"], study.asked["method"]) == ("pp", "shut_gate")
        refused(
            lambda: weigh(connection, press, begun(connection, press), [1.0, 2.0]),  # type: ignore[arg-type]  # a pair where a number belongs
            "value",
        )


def test_the_limit_is_that_of_the_mold_then_of_the_class_then_the_starting_value() -> None:
    with scratch() as connection:
        press = pressing(connection)
        assert begun(connection, press, process_class="precise").asked["limit_pct"] == 2.0
        for mold, limit in (("", 1.6), ("M-113", 1.2)):
            asked = {"mold": mold, "process_class": "precise", "limit_pct": limit}
            weight_limits.put_limit(connection, asked, who="quinn", now_ms=NOW)
            assert begun(connection, press, process_class="precise").asked["limit_pct"] == limit
        back = {"mold": "M-113", "process_class": "precise", "limit_pct": None}
        weight_limits.put_limit(connection, back, who="quinn", now_ms=NOW)
        assert begun(connection, press, process_class="precise").asked["limit_pct"] == 1.6
        assert [row.action for row in audit_of(connection, 0)] == ["weight_limit_set"] * 3


def qualified(connection: sa.Connection, press: Press, *, now_ms: int = NOW) -> Sheet:
    sheet = begun(connection, press, "qualification", melt_density_g_cm3=0.75)
    rows: dict[str, Any] = {
        "transfer": [16.0, 16.01, 15.99, 16.0, 16.01, 16.0], "recovery": [1.4],
        "speed": [[20, 19.8], [60, 58.5], [100, 96.0]], "balance": [[80.0, 90.0], [80.1, 90.2], [79.9, 89.9]],
    }  # fmt: skip
    for series, values in rows.items():
        sheets.add_readings(
            connection, press, sheet.sheet_no, {"series": series, "values": values}, who="eda", now_ms=NOW
        )
    return sheets.close_sheet(connection, press, sheet.sheet_no, None, who="eda", now_ms=now_ms)[0]


def test_a_qualification_says_what_passed_and_what_was_not_done() -> None:
    with scratch() as connection:
        press = pressing(connection)
        weights = begun(connection, press)
        weigh(connection, press, weights, *WEIGHTS)
        sheets.close_sheet(connection, press, weights.sheet_no, None, who="eda", now_ms=NOW)
        sheet = qualified(connection, press)
        ((_, study),) = list_studies(connection, kind="qualification")
        assert study.verdict == "conditional"
        assert study.asked["checks"] == {"transfer": "passed", "recovery": "passed", "speed": "passed"}
        assert "hold pressure is reached" in study.result["text"]
        assert study.result["balance"]["lost_pct"] == pytest.approx(5.7, abs=0.1)
        assert [one["kind"] for one in study.asked["studies"]] == ["short-shot"]
        assert sheet.baseline_no is None


def test_a_qualification_is_kept_with_the_record_that_is_approved_next() -> None:
    with scratch() as connection:
        press = pressing(connection)
        made(connection, press, 100, start_ms=NOW - 3_600_000)
        sheet = qualified(connection, press)
        body = {"mold": "M-113", "last_shots": 80, "approve": True}
        baseline, _ = baselines.capture_baseline(connection, press, body, who="eda", now_ms=NOW)
        assert sheets.need_sheet(connection, press, sheet.sheet_no).baseline_no == baseline.baseline_no
        # One made while a record holds stands beside that.
        assert qualified(connection, press).baseline_no == baseline.baseline_no
