"""What people did in the invented plant: it goes through the same functions, and comes to what it should."""

import dataclasses
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from server.app import build_objects
from server.demo import people_and_plant, pour_press
from server.demo_plant import PressHistory, plant_scenario, press_history
from server.settings import Settings
from server.store.cases import actions_of, case_by_no, notes_of
from server.store.plant import Press, need_press, read_settings
from server.store.records import list_studies, valves_of
from server.store.sheets import sheets_of
from server.store.trials import trial_by_no
from server.store.valve_life import all_spares

UNTIL = 1_790_000_000_000
DAY = 86_400_000


def _nearby(history: PressHistory) -> PressHistory:
    """Its startup, and the shots around what was done: no other is looked at."""
    at = history.columns["at_ms"]
    done = [step.at_ms for step in history.work]
    near = (at > min(done) - 4 * DAY) & (at < max(done) + DAY)
    near[:700] = True
    columns = {name: values[near] for name, values in history.columns.items()}
    return dataclasses.replace(history, columns=columns)


@pytest.fixture(scope="module")
def plant(_migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[sa.Connection]:
    file = tmp_path_factory.mktemp("demo") / "plant.db"
    shutil.copy(_migrated_file, file)
    objects = build_objects(Settings(database_url=f"sqlite:///{file}"), now_ms=lambda: UNTIL)
    scenario = plant_scenario()
    objects.store.write(lambda connection: people_and_plant(connection, scenario, now_ms=UNTIL))
    for press in scenario.presses:
        if press.plan.get("work"):
            history = _nearby(press_history(scenario, press, until_ms=UNTIL))
            pour_press(objects, press, history, now_ms=UNTIL)
    with objects.store.read() as connection:
        yield connection
    objects.store.close()


def press_of(plant: sa.Connection, code: str) -> Press:
    return need_press(plant, code)


def test_a_case_is_closed_with_the_verdict_its_shots_bear_out(plant: sa.Connection) -> None:
    press = press_of(plant, "P06")
    case = case_by_no(plant, press.press_id, 1)
    assert case is not None
    assert (case.is_open, case.verdict, case.evidence["verdict"]) == (False, "fixed", "fixed")
    assert [one.kind for one in actions_of(plant, case)] == ["valve"]
    ((_, proof),) = list_studies(plant, press_id=press.press_id, kind="proof")
    assert proof.asked["counts"]
    assert valves_of(plant, press.press_id)[-1].outcome == "failed"


def test_a_case_is_open_with_notes_an_action_and_weights(plant: sa.Connection) -> None:
    press = press_of(plant, "P07")
    case = case_by_no(plant, press.press_id, 1)
    assert case is not None
    assert case.is_open
    assert [one.kind for one in actions_of(plant, case)] == ["hardware"]
    assert len(notes_of(plant, case)) == 2
    assert {sheet.state for sheet in sheets_of(plant, press.press_id)} == {"kept", "open"}


def test_a_trial_has_ended_and_shows_nothing_where_nothing_was_changed(plant: sa.Connection) -> None:
    trial = trial_by_no(plant, press_of(plant, "P14").press_id, 1)
    assert trial is not None
    assert (trial.ended_as, trial.result["decided_at"]) == ("complete", None)
    assert max(level["ratio"] for level in trial.result["levels"]) < 1.6


def test_a_qualification_stands_beside_the_startup_record(plant: sa.Connection) -> None:
    (sheet,) = sheets_of(plant, press_of(plant, "P12").press_id)
    assert (sheet.kind, sheet.state, sheet.baseline_no) == ("qualification", "kept", 1)


def test_the_shelf_and_what_valves_cost_are_entered(plant: sa.Connection) -> None:
    assert {one.lead_days for one in all_spares(plant)} == {14.0, 21.0, 35.0}
    settings = read_settings(plant)
    assert all(settings[name] > 0 for name in ("cost_change", "cost_failure", "shots_between_stops"))
    assert np.isfinite(settings["cost_scrap_per_1000"])
