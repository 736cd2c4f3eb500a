"""The phase-one report of a startup record, and what qualifies it."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.derived.baseline_report import baseline_report
from server.derived.qualification import qualification_of
from server.record import baselines
from server.record.events import record_event
from server.store.plant import Press
from server.store.records import Baseline, Study, add_study
from server.store.shots import store_shots
from tests.notify.plants import HOUR, MORNING, press_named, scratch
from tests.record.asking import NOW
from tests.record.shots import CYCLE_MS, made

DAY = 24 * HOUR


def captured(connection: sa.Connection, press: Press, **body: Any) -> Baseline:
    asked = {"mold": "M-113", "last_shots": 200, **body}
    return baselines.capture_baseline(connection, press, asked, who="eda", now_ms=NOW)[0]


def checked(
    connection: sa.Connection, press: Press, kind: str, verdict: str, at_ms: int, mold: str = ""
) -> None:
    add_study(connection, Study(press.press_id, 0, kind, at_ms, mold, {}, {}, verdict, "eda"))


def test_the_report_says_what_was_left_out_when_and_what_the_rest_comes_to() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 100, start_ms=MORNING, quality={10: "short"})
        second = MORNING + 100 * CYCLE_MS + HOUR
        made(connection, press, 160, start_ms=second, seed=8)
        report = baseline_report(connection, press, captured(connection, press, last_shots=260))
        swept = next(one for one in report.signals if one.signal == "swept_mm")
        assert swept.left_out == {"not_good": 1, "restart": 40}
        assert (swept.n, swept.unknown) == (219, 0)
        first = next(one for one in report.left_out if one.reason == "restart")
        assert (first.at_ms, first.counter, first.index) == (second, 1, 100)
        assert {"swept_mm", "cushion_mm", "shot_size_mm"} <= set(first.signals)
        # Independent values: scatter from neighbours and of all agree, and no correlation is claimed.
        assert swept.sigma_within == pytest.approx(0.05, rel=0.2)
        assert swept.sigma_lower is not None
        assert swept.sigma_upper is not None
        assert swept.sigma_lower < 0.05 < swept.sigma_upper
        assert swept.phi_lower is not None
        assert swept.phi_upper is not None
        assert swept.phi_lower < 0.0 < swept.phi_upper
        assert swept.step == pytest.approx(0.01)
        assert (swept.stable, swept.sufficient, swept.normal) == (True, True, True)
        # Estimated limits keep less than the 370 shots of known ones, and wider ones would keep them.
        assert swept.run_length_kept is not None
        assert swept.multiplier is not None
        assert 150 < swept.run_length_kept < 370
        assert 3.0 < swept.multiplier < 3.5
        assert [one.setup for one in report.made_with] == ["S1"]


def test_a_shot_that_came_later_moves_no_reason_to_another_shot() -> None:
    with scratch() as connection:
        press = press_named(connection)
        rows = made(connection, press, 200, start_ms=MORNING, quality={10: "short"})
        baseline = captured(connection, press)
        late = (MORNING + CYCLE_MS // 2, 9_999, *rows[0][2:])
        store_shots(connection, press.press_id, [late])
        report = baseline_report(connection, press, baseline)
        assert report.shots_changed
        assert {(one.at_ms, one.counter) for one in report.left_out} == {(None, None)}


def test_a_record_kept_before_there_were_reports_can_still_be_reported() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 200, start_ms=MORNING)
        kept = {"center": 74.0, "sigma": 0.05, "n": 190, "excluded": [[0, "warm_up"]]}
        baseline = captured(connection, press)
        old = Baseline(**{**vars(baseline), "signals": {"signals": {"swept_mm": kept}}})
        report = baseline_report(connection, press, old)
        (swept,) = report.signals
        assert (swept.mean, swept.phi, swept.normal, swept.sigma_total) == (None, None, None, None)
        assert (swept.sufficient, swept.unknown, report.missing) == (True, 9, {})


def test_a_record_is_qualified_with_both_checks_beside_it() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 200, start_ms=MORNING)
        baseline = captured(connection, press)

        def status() -> str:
            return qualification_of(connection, press, baseline).status

        assert status() == "relative_only"
        checked(connection, press, "drift-check", "fine", MORNING - DAY, mold="M-127")
        assert status() == "relative_only"
        checked(connection, press, "short-shot", "within", MORNING, mold="M-127")
        assert status() == "relative_only", "the fill of another mold says nothing of this one"
        checked(connection, press, "short-shot", "within", MORNING + HOUR, mold="M-113")
        assert status() == "qualified"
        checked(connection, press, "drift-check", "act", MORNING + DAY)
        found = qualification_of(connection, press, baseline)
        assert (found.status, found.checks[0].verdict) == ("relative_only", "act")
        assert [one.holds for one in found.checks] == [False, True]


@pytest.mark.parametrize(("days", "status"), [(29, "qualified"), (31, "relative_only")])
def test_checks_of_another_time_or_another_valve_qualify_nothing(days: int, status: str) -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 200, start_ms=MORNING)
        baseline = captured(connection, press)
        checked(connection, press, "drift-check", "fine", MORNING - days * DAY)
        checked(connection, press, "short-shot", "within", MORNING - days * DAY, mold="M-113")
        assert qualification_of(connection, press, baseline).status == status
        changed = {"kind": "valve_change", "at": "2026-03-31T00:00:00Z"}
        record_event(connection, press, changed, who="eda", now_ms=NOW)
        assert qualification_of(connection, press, baseline).status == "relative_only"
