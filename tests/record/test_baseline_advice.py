"""A new record is suggested after a recorded change alone; two records are compared as they are."""

from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS
from server.derived.baseline_advice import Advice, advice_for
from server.derived.baseline_compared import Compared, compare_records, compare_with_now
from server.maths.results import Undetermined
from server.record import baselines
from server.record.events import record_event
from server.record.setups import enter_setpoints
from server.store.plant import Press, Setup, keep_setup, put_mold, setup_digest
from server.store.questions import press_with_state
from server.store.records import Baseline
from server.store.shots import store_shots
from server.store.tables import press_states, rollups
from tests.notify.plants import HOUR, MORNING, press_named, scratch
from tests.record.asking import NOW
from tests.record.shots import CYCLE_MS, made

SECOND = MORNING + 300 * CYCLE_MS
SAID = "2026-04-01T07:41:00Z"


def captured(connection: sa.Connection, press: Press, **body: Any) -> Baseline:
    asked = {"mold": "M-113", "last_shots": 200, "approve": True, **body}
    return baselines.capture_baseline(connection, press, asked, who="eda", now_ms=NOW)[0]


def advice(connection: sa.Connection, press: Press) -> Advice:
    return advice_for(connection, press, press_with_state(connection, press.press_id))


def happened(connection: sa.Connection, press: Press, **event: Any) -> None:
    record_event(connection, press, {"at": SAID, **event}, who="eda", now_ms=NOW)


def test_without_a_recorded_change_nothing_is_suggested_however_the_press_runs() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        assert advice(connection, press).kind == "capture"
        draft = captured(connection, press, approve=False)
        assert (advice(connection, press).kind, advice(connection, press).draft) == ("approve", draft)
        baselines.approve(connection, press, draft.baseline_no, who="eda", now_ms=NOW)
        assert advice(connection, press).kind == "none"
        # Its level has moved by 40 sigma: that is what alarms are for, no reason for another record.
        shifted(connection, press, 240, start_ms=SECOND, by=2.0)
        for kind in ("lot", "mold_start", "top_up", "note"):
            happened(connection, press, kind=kind, lot="L2", note="x")
        happened(connection, press, kind="setting", setting="shot_size_mm")
        assert advice(connection, press).kind == "none"


@pytest.mark.parametrize(
    "event",
    [
        {"kind": "valve_change"},
        {"kind": "maintenance", "note": "new barrel"},
        {"kind": "setting", "setting": "hold_bar", "from": "400", "to": "450"},
    ],
)
def test_after_a_recorded_change_a_record_is_suggested_once_enough_shots_have_settled(
    event: dict[str, Any],
) -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        baseline = captured(connection, press)
        happened(connection, press, **event)
        # The same thing told twice, in the ledger and as an event, is one change.
        happened(connection, press, **{**event, "note": event.get("note", "the old one was worn")})
        made(connection, press, 150, start_ms=SECOND, seed=9)
        found = advice(connection, press)
        assert (found.kind, found.in_use) == ("wait", baseline)
        assert found.settled < 200
        made(connection, press, 150, start_ms=SECOND + 150 * CYCLE_MS, seed=10)
        found = advice(connection, press)
        assert (found.kind, found.settled) == ("renew", 200)
        assert [one.kind for one in found.changes] == [event["kind"]]
        assert found.from_ms == SECOND + 100 * CYCLE_MS
        # Suggested is not done: the old one stays until somebody approves another.
        assert found.in_use == baseline
        draft = captured(connection, press, approve=False)
        assert (advice(connection, press).kind, advice(connection, press).draft) == ("approve", draft)


def test_no_record_is_suggested_that_would_hold_a_leak_or_a_moving_level() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        captured(connection, press)
        happened(connection, press, kind="valve_change")
        shifted(connection, press, 240, start_ms=SECOND, by=np.linspace(0.0, 1.0, 240))
        assert advice(connection, press).kind == "unstable"
        leaks = {"leak_status": "ok", "log_odds": 2.0}
        connection.execute(
            sa.update(press_states).where(press_states.c.press_id == press.press_id).values(**leaks)
        )
        assert advice(connection, press).kind == "check_first"


def test_other_set_points_in_the_shots_or_entered_are_a_change() -> None:
    with scratch() as connection:
        press = press_named(connection)
        put_mold(connection, "M-113", {}, now_ms=MORNING)
        points(connection, press, '{"hold_bar":400.0}', 300, start_ms=MORNING)
        captured(connection, press)
        points(connection, press, '{"hold_bar":450.0}', 300, start_ms=SECOND)
        found = advice(connection, press)
        (change,) = found.changes
        assert (change.kind, change.what, change.from_value, change.to_value) == (
            "set_points", "hold_bar", "400", "450",
        )  # fmt: skip
        assert found.kind == "renew"
    with scratch() as connection:
        press = press_named(connection)
        put_mold(connection, "M-113", {}, now_ms=MORNING)
        made(connection, press, 300, start_ms=MORNING)
        captured(connection, press)
        made(connection, press, 300, start_ms=SECOND, seed=9)
        for at, hold in (("2026-04-01T06:00:00Z", 400), (SAID, 450)):
            body = {"mold": "M-113", "material": "PP", "setpoints": {"hold_bar": hold}, "at": at}
            enter_setpoints(connection, press, body, who="eda", now_ms=NOW)
        assert [one.kind for one in advice(connection, press).changes] == ["setting"]


def test_another_material_or_set_up_is_said_and_a_mold_that_is_back_finds_its_record() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        first = captured(connection, press, setup="S1")
        made(connection, press, 60, start_ms=SECOND, setup="S2", seed=9)
        assert advice(connection, press).others == ((first, "setup"),)
        made(connection, press, 60, start_ms=SECOND + HOUR, material="PA", seed=9)
        found = advice(connection, press)
        assert (found.kind, found.others) == ("capture", ((first, "material"),))
        made(connection, press, 60, start_ms=SECOND + 2 * HOUR, mold="M-127", seed=9)
        assert (advice(connection, press).kind, advice(connection, press).others) == ("capture", ())
        between = setup_digest("M-127", "PP", "S1", "{}")
        day = SECOND - SECOND % (24 * HOUR)
        summary = {"signal": "swept_mm", "n": 60, "mean": 1.0, "m2": 0.0, "low": 1.0, "high": 1.0}
        connection.execute(
            sa.insert(rollups).values(
                press_id=press.press_id, grain=86_400, bucket_ms=day, setup_id=between, **summary
            )
        )
        made(connection, press, 60, start_ms=SECOND + 3 * HOUR, seed=9)
        found = advice(connection, press)
        assert (found.kind, found.in_use, found.back_after) == ("none", first, "M-127")


# --- comparison ---------------------------------------------------------------------------------


def shifted(
    connection: sa.Connection, press: Press, n: int, *, start_ms: int, by: Any, spread: float = 0.05
) -> None:
    """Shots of the usual set-up whose swept stroke is longer by so much."""
    chance = np.random.default_rng(11)
    size = 80.0 + 0.3 * chance.standard_normal(n)
    cushion = size - 74.0 - by + spread * chance.standard_normal(n)
    digest = setup_digest("M-113", "PP", "S1", "{}")
    rows = []
    for i in range(n):
        values = {"shot_size_mm": round(float(size[i]), 2), "cushion_mm": round(float(cushion[i]), 2)}
        rows.append((start_ms + i * CYCLE_MS, i + 1, digest, *(values.get(name) for name in SHOT_COLUMNS)))
    store_shots(connection, press.press_id, rows)


def points(connection: sa.Connection, press: Press, setpoints: str, n: int, *, start_ms: int) -> None:
    """Shots of a set-up that says what the press is set to."""
    digest = setup_digest("M-113", "PP", "S1", setpoints)
    keep_setup(connection, Setup(press.press_id, digest, "M-113", "PP", "S1", setpoints, start_ms))
    chance = np.random.default_rng(start_ms % 1_000_003)
    rows = []
    for i in range(n):
        size = 80.0 + 0.3 * chance.standard_normal()
        values = {
            "shot_size_mm": round(size, 2),
            "cushion_mm": round(size - 74 + 0.05 * chance.standard_normal(), 2),
        }
        rows.append((start_ms + i * CYCLE_MS, i + 1, digest, *(values.get(name) for name in SHOT_COLUMNS)))
    store_shots(connection, press.press_id, rows)


def swept(found: Compared | Undetermined) -> Any:
    assert isinstance(found, Compared)
    return next(one for one in found.signals if one.signal == "swept_mm")


def test_two_records_show_what_was_put_between_them() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        first = captured(connection, press)
        shifted(connection, press, 300, start_ms=SECOND, by=0.1, spread=0.1)
        found = compare_records(connection, press, first, captured(connection, press))
        one = swept(found)
        # 0.1 mm over sqrt((0.05² + 0.1²)/2) is g = 1.26; both sigmas are known to some 5 %.
        assert one.means.lower < 0.1 < one.means.upper
        assert one.effect.lower < 1.265 < one.effect.upper
        assert one.sigmas.lower < 2.0 < one.sigmas.upper
        assert (one.moved, one.scattered, one.from_values, one.n) == (True, True, True, (200, 200))
        size = next(one for one in found.signals if one.signal == "shot_size_mm")
        assert (size.moved, size.scattered) == (False, False)


def test_a_record_whose_shots_changed_is_compared_by_what_was_kept_of_it() -> None:
    with scratch() as connection:
        press = press_named(connection)
        rows = made(connection, press, 300, start_ms=MORNING)
        first = captured(connection, press)
        shifted(connection, press, 300, start_ms=SECOND, by=0.1, spread=0.1)
        second = captured(connection, press)
        whole = swept(compare_records(connection, press, first, second))
        late = (rows[150][0] + 1, 9_999, *rows[150][2:])
        store_shots(connection, press.press_id, [late])
        kept = swept(compare_records(connection, press, first, second))
        assert (kept.from_values, kept.moved, kept.scattered) == (False, True, True)
        assert kept.means.difference == pytest.approx(whole.means.difference, abs=1e-9)
        assert kept.effect.g == pytest.approx(whole.effect.g, rel=0.05)
        assert kept.sigmas.ratio == pytest.approx(whole.sigmas.ratio, rel=0.05)


def test_now_is_compared_without_restarts_and_says_when_there_is_nothing_yet() -> None:
    with scratch() as connection:
        press = press_named(connection)
        made(connection, press, 300, start_ms=MORNING)
        first = captured(connection, press)
        assert isinstance(compare_with_now(connection, press, first), Undetermined)
        # An hour's pause first: forty shots of restart are left out.
        shifted(connection, press, 100, start_ms=SECOND + HOUR, by=1.5)
        found = compare_with_now(connection, press, first)
        assert swept(found).n == (200, 60)
        assert swept(found).means.difference == pytest.approx(1.5, abs=0.03)
