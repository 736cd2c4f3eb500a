"""The alarm budget as data and as a page: what is promised and seen, by press and by chart."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from server.clock import as_text
from server.contract import WATCHED_LEVELS, WATCHED_SCATTERS
from server.derived.alarm_budget_report import report_budget
from server.show.alarm_proof import proof_chapter, proof_tables
from server.show.build_alarm_budget import budget_answer
from server.store.database import Store
from server.store.plant import read_settings
from tests.contract.reading_plant import NOW, PRESS, START, build


@pytest.fixture(scope="module")
def store(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    file = tmp_path_factory.mktemp("budget") / "plant.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    build(store)
    yield store
    store.close()


def test_each_press_is_promised_its_part_and_the_charts_add_up(store: Store) -> None:
    with store.read() as connection:
        report = report_budget(connection, read_settings(connection), now_ms=NOW)
    presses = {one.press: one for one in report.presses}
    assert presses[PRESS].promised == pytest.approx(0.9 * 0.2)
    assert presses["P-bare"].promised is None
    assert presses["P-bare"].stage == "no_record"
    assert sum(one.promised for one in report.signals) == pytest.approx(report.per_week)
    assert {one.signal for one in report.signals} <= {*WATCHED_LEVELS, *WATCHED_SCATTERS}


def test_a_tighter_budget_costs_shots_and_the_plants_own_is_marked(store: Store) -> None:
    with store.read() as connection:
        report = report_budget(connection, read_settings(connection), now_ms=NOW)
    for move in (0.5, 1.0, 2.0):
        shots = [cost.shots[move] for cost in report.costs]
        assert shots == sorted(shots, reverse=True)
    assert [cost.per_press_week for cost in report.costs if cost.own] == [0.2]


def test_a_plant_that_tolerates_less_is_governed_by_its_shifts(store: Store) -> None:
    with store.read() as connection:
        settings = {**read_settings(connection), "alarm_budget_per_shift": 0.01}
        report = report_budget(connection, settings, now_ms=NOW)
    assert report.governed_by == "plant"
    assert report.budget.per_press == pytest.approx(0.01 * 21 / 3)


def test_a_young_press_says_what_it_lacks(store: Store) -> None:
    assert as_text(START) < as_text(NOW)
    with store.read() as connection:
        report = report_budget(connection, read_settings(connection), now_ms=NOW)
    young = next(one for one in report.presses if one.press == PRESS)
    assert young.stage == "learning"
    assert young.seen is None


def test_the_help_holds_the_proof_in_tables_without_markup_from_the_numbers() -> None:
    anchor, _, body = proof_chapter()
    assert anchor == "alarm-proof"
    assert body.count("<table") == len(proof_tables()) == 2
    assert not re.search(r"style=|<script", body)
    assert all(len(row) == len(table.head) for table in proof_tables() for row in table.rows)


def test_the_answer_speaks_of_what_is_there() -> None:
    assert budget_answer(0.0, 0, 0.0, 3).startswith("No press has a startup record")
    assert "No chart alarms came in" in budget_answer(1.0, 0, 2.0, 3)
