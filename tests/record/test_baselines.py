"""Baselines: what goes in comes out, what cannot be is refused with the way out."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.errors import ConflictError, NotFoundError
from server.record import baselines
from server.store.audit import audit_of
from server.store.plant import Press
from server.store.records import baselines_of
from tests.notify.plants import HOUR, MORNING, press_named, scratch
from tests.record.asking import NOW, refused, waits_from
from tests.record.shots import CYCLE_MS, made


def captured(connection: sa.Connection, press: Press, **body: Any) -> Any:
    asked = {"mold": "M-113", "last_shots": 200, **body}
    asked = {name: value for name, value in asked.items() if value is not None}
    return baselines.capture_baseline(connection, press, asked, who="eda", now_ms=NOW)


def test_a_baseline_finds_the_level_and_scatter_that_were_put_in() -> None:
    with scratch() as connection:
        press = press_named(connection)
        rows = made(connection, press, 300, start_ms=MORNING)
        baseline, found = captured(connection, press, approve=True, note="startup")
        swept = baseline.signals["signals"]["swept_mm"]
        # 200 shots: the mean is known to 0.05/sqrt(200), the scatter to about 5 % (one sigma each).
        assert swept["center"] == pytest.approx(74.0, abs=4 * 0.0045)
        assert swept["sigma_total"] == pytest.approx(0.05, rel=0.2)
        assert swept["lower"] < 73.9 < 74.1 < swept["upper"]
        assert (baseline.state, baseline.approved_by, baseline.shots) == ("approved", "eda", 200)
        assert (baseline.from_ms, baseline.to_ms) == (rows[100][0], rows[-1][0])
        assert (baseline.material, baseline.setup, found.missing) == ("PP", None, {})
        assert waits_from(connection, press) == baseline.to_ms
        actions = [row.action for row in audit_of(connection, press.press_id)]
        assert sorted(actions) == ["baseline_approved", "baseline_captured"]


def test_the_dose_lag_is_found_and_kept_with_the_baseline() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING, lag=1)
        baseline, _ = captured(connection, press)
        assert baseline.signals["dose_lag"] == 1
        assert baseline.signals["signals"]["swept_mm"]["sigma_total"] == pytest.approx(0.05, rel=0.2)
        assert baseline.signals["cycle_ms"] == 20_000.0


def test_restarts_and_bad_shots_are_left_out_and_listed() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 100, start_ms=MORNING, quality={10: "short", 11: "flash", 12: "good"})
        made(connection, press, 100, start_ms=MORNING + 100 * CYCLE_MS + HOUR, seed=8)
        baseline, _ = captured(connection, press)
        excluded = dict(baseline.signals["signals"]["swept_mm"]["excluded"])
        assert {10: excluded.get(10), 11: excluded.get(11), 12: excluded.get(12)} == {
            10: "not_good",
            11: "not_good",
            12: None,
        }
        assert [i for i, why in excluded.items() if why == "restart"] == list(range(100, 140))


def test_too_few_shots_name_the_way_out() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 29, start_ms=MORNING)
        refused(lambda: captured(connection, press), "last_shots", "29 of 30", "larger last_shots")
        assert baselines_of(connection, press.press_id) == []


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"mold": None}, "mold"),
        ({"mold": "M-999"}, "mold"),
        ({"last_shots": None}, "last_shots"),
        ({"last_shots": 0}, "last_shots"),
        ({"from": "2026-04-01T06:00:00Z"}, "last_shots"),
        ({"last_shots": None, "from": "2026-04-01T07:00:00Z", "to": "2026-04-01T06:00:00Z"}, "to"),
        ({"last_shots": None, "from": "2026-04-01T23:00:00Z"}, "from"),
        ({"setup": "S9"}, "mold"),
        ({"approve": "yes"}, "approve"),
    ],
)
def test_a_baseline_that_cannot_be_is_refused(body: dict[str, Any], field: str) -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 60, start_ms=MORNING)
        refused(lambda: captured(connection, press, **body), field)


def test_two_materials_need_a_name() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 60, start_ms=MORNING)
        made(connection, press, 100, start_ms=MORNING + HOUR, material="PA", seed=9)
        refused(lambda: captured(connection, press), "material", "PA, PP")
        baseline, _ = captured(connection, press, material="PA")
        # The press stood still while it was changed: what it made right afterwards is a restart.
        assert [why for _, why in baseline.signals["signals"]["swept_mm"]["excluded"]] == ["restart"] * 40
        assert (baseline.material, baseline.from_ms) == ("PA", MORNING + HOUR)


def test_a_baseline_is_approved_once_and_retired_for_good() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 60, start_ms=MORNING)
        number = captured(connection, press)[0].baseline_no
        assert waits_from(connection, press) is None
        first = baselines.approve(connection, press, number, who="eda", now_ms=NOW)
        again = baselines.approve(connection, press, number, who="olek", now_ms=NOW + 1)
        assert (first.approved_by, again.approved_by) == ("eda", "eda")
        assert baselines.retire(connection, press, number, who="eda", now_ms=NOW).state == "retired"
        with pytest.raises(ConflictError, match="retired"):
            baselines.approve(connection, press, number, who="eda", now_ms=NOW)
        with pytest.raises(NotFoundError):
            baselines.retire(connection, press, 99, who="eda", now_ms=NOW)
