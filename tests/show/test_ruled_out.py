"""Next steps know what the data already say: ruled out, done, or open."""

import dataclasses
import math
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from server.record.events import record_event
from server.record.setting_trials import plan
from server.show.frame import Actor
from server.show.judged import Judgement, read_judgement
from server.show.pages import StepRow
from server.show.plant_words import Plant, Since, plant_at
from server.show.ruled_out import with_data
from server.store.database import Store
from server.store.page_queries import Row, press_with_state
from server.store.plant import need_press
from tests.pages.plant import DAY, NOW, make_plant

STEPS = tuple(
    StepRow(id=one, text=one)
    for one in ("dosing", "melt", "temperatures", "screw_wear", "clamp", "lot", "setting", "short_shot",
                "drift_check", "setting_trial", "stop")
)  # fmt: skip
SINCE = Since(NOW - 2 * DAY, NOW - 3 * DAY, NOW - DAY)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = make_plant(tmp_path)
    yield made
    made.close()


@dataclasses.dataclass(frozen=True)
class Looked:
    row: Row
    judgement: Judgement
    plant: Plant


def looked(c: sa.Connection, **facts: float) -> Looked:
    row = press_with_state(c, "P07")
    assert row is not None
    judgement = read_judgement(row)
    changed = dataclasses.replace(judgement, facts={**judgement.facts, **facts})
    return Looked(row, changed, plant_at(c, now_ms=NOW, actor=Actor()))


def told(c: sa.Connection, since: Since | None = SINCE, **facts: float) -> dict[str, StepRow]:
    seen = looked(c, **facts)
    rows = with_data(c, seen.row, STEPS, seen.judgement, since, seen.plant)
    return {row.id: row for row in rows if row.says}


def test_steps_the_shots_speak_against_say_so_with_the_figures(store: Store) -> None:
    with store.read() as c:
        rows = told(c)
    assert all(rows[one].ruled_out for one in ("dosing", "melt", "temperatures", "screw_wear", "clamp"))
    assert "× 1.00" in rows["dosing"].says
    assert "stop" not in rows, "nothing speaks against stopping"


@pytest.mark.parametrize(
    ("fact", "value", "open_again"),
    [
        ("shot_size_scatter", 1.6, {"dosing"}),
        ("recovery_scatter", 1.6, {"melt"}),
        ("recovery_change_pct", 8.0, {"melt", "screw_wear"}),
        ("peak_change_pct", -4.0, {"temperatures"}),
        ("weight_change_pct", 1.2, {"clamp"}),
    ],
)
def test_what_has_changed_is_ruled_out_no_more(
    store: Store, fact: str, value: float, open_again: set[str]
) -> None:
    with store.read() as c:
        assert set(told(c)) - set(told(c, SINCE, **{fact: value})) == open_again


def test_a_signal_that_is_not_sent_rules_nothing_out(store: Store) -> None:
    with store.read() as c:
        rows = told(c, shot_size_scatter=math.nan, weight_change_pct=math.nan, peak_change_pct=math.nan)
    assert not {"dosing", "clamp", "temperatures"} & set(rows)


def test_without_a_new_lot_about_the_onset_the_lot_is_ruled_out(store: Store) -> None:
    later = Since(NOW - DAY // 2, NOW - DAY // 2, NOW)
    with store.read() as c:
        assert "lot" not in told(c), "there was one, on the day before"
        assert told(c)["setting"].ruled_out
        assert "lot" not in told(c, None), "an onset nobody knows rules nothing out"
    body = {"kind": "setting", "setting": "hold pressure", "at": "2026-11-18T02:00:00Z"}
    store.write(lambda c: record_event(c, need_press(c, "P07"), body, who="olek", now_ms=NOW))
    with store.read() as c:
        assert "setting" not in told(c, later)


def test_a_check_done_lately_stands_with_its_verdict_and_a_trial_that_runs(store: Store) -> None:
    asked = {"setting": "decompression", "levels": [4, 6]}
    store.write(lambda c: plan(c, need_press(c, "P07"), asked, who="ines", now_ms=NOW))
    with store.read() as c:
        rows = told(c)
    assert rows["short_shot"].says.endswith("does not repeat.")
    assert not rows["short_shot"].ruled_out
    assert rows["setting_trial"].says == "Trial 1 of decompression runs."
    assert "drift_check" not in rows
