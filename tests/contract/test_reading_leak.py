"""The leak-likelihood over HTTP: its arithmetic, its onset, its age."""

import math
from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa

from server.access.actors import OPEN
from server.clock import as_text
from server.contract import LEAK_CAUSES
from server.store.database import Store
from server.store.records import Event, add_event
from tests.contract.reading_plant import (
    ALL,
    AT,
    CYCLE,
    NOW,
    ONSET,
    START,
    Plant,
    build,
    evaluate,
    fill,
    ramp,
    record,
)


@pytest.fixture(scope="module")
def plant(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    file = tmp_path_factory.mktemp("reading") / "plant.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    build(store)
    yield Plant(store)
    store.close()


@pytest.fixture(autouse=True)
def _usual(plant: Plant) -> Iterator[None]:
    yield
    plant.actor, plant.objects.at_ms = OPEN, NOW


# --- leak ---------------------------------------------------------------------------------------


def test_evidence_sums_to_the_log_odds_and_causes_to_one(plant: Plant) -> None:
    body = plant.get(f"{AT}/leak")
    assert body["status"] == "ok"
    assert sum(one["log_odds"] for one in body["evidence"]) == pytest.approx(body["log_odds"], abs=1e-9)
    assert body["evidence"][0]["signal"] == "prior"
    assert body["evidence"][0]["log_odds"] == body["prior_log_odds"]
    assert all(one["text"] for one in body["evidence"])
    assert body["likelihood"] == pytest.approx(1 / (1 + math.exp(-body["log_odds"])), abs=1e-12)
    assert sum(body["causes"].values()) == pytest.approx(1, abs=1e-9)
    assert sum(body["causes"][one] for one in LEAK_CAUSES) == pytest.approx(body["likelihood"], abs=1e-9)
    assert "transfer_pressure_bar" in body["missing"]
    assert "swept_mm" not in body["missing"]
    assert body["model_version"]


def test_the_onset_holds_the_shot_at_which_it_began(plant: Plant) -> None:
    onset = plant.get(f"{AT}/leak")["onset"]
    true = as_text(START + ONSET * CYCLE)
    assert onset["from"] <= true <= onset["to"]
    assert onset["from"] <= onset["at"] <= onset["to"]


@pytest.mark.parametrize("grain", ["server.derived.standing.RAW_SHOTS", None])
def test_the_onset_is_the_same_from_summaries(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, grain: str | None
) -> None:
    if grain:
        monkeypatch.setattr(grain, 100)
    onset = plant.get(f"{AT}/leak")["onset"]
    true = as_text(START + ONSET * CYCLE)
    assert onset["from"] <= true <= onset["to"]


def test_a_press_that_went_silent_is_stale_and_keeps_its_likelihood(plant: Plant) -> None:
    before = plant.get(f"{AT}/leak")
    plant.objects.at_ms = START + (ALL - 1) * CYCLE + 24 * 3_600_000 + 1
    body = plant.get(f"{AT}/leak")
    assert body["status"] == "stale"
    assert body["likelihood"] == before["likelihood"]
    assert plant.get("/presses")["items"][2]["leak_status"] == "stale"


def test_without_a_baseline_there_is_no_likelihood(plant: Plant) -> None:
    body = plant.get("/presses/P-bare/leak")
    assert (body["likelihood"], body["status"], body["missing"]) == (None, "no_baseline", ["baseline"])
    assert (body["causes"], body["evidence"], body["onset"]) == ({}, [], None)
    assert plant.get("/presses/P-new/leak")["status"] == "no_baseline"


def test_history_ends_where_the_press_stands(plant: Plant) -> None:
    whole = plant.get(f"{AT}/leak/history?limit=10000")["items"]
    assert plant.pages(f"{AT}/leak/history", 3) == whole
    assert [one["at"] for one in whole] == sorted(one["at"] for one in whole)
    for one in whole:
        assert one["prior_log_odds"] + sum(one["terms"].values()) == pytest.approx(one["log_odds"])
        assert sum(one["causes"].values()) == pytest.approx(1)
    later = as_text(START + ONSET * CYCLE)
    assert plant.get(f"{AT}/leak/history?from={later}&limit=10000")["items"] == [
        one for one in whole if one["at"] >= later
    ]


@pytest.mark.parametrize("raw", [6_000, 100])
def test_a_slow_rise_is_dated_at_its_beginning(
    store: Store, monkeypatch: pytest.MonkeyPatch, raw: int
) -> None:
    monkeypatch.setattr("server.derived.standing.RAW_SHOTS", raw)

    def begin(c: sa.Connection) -> int:
        press_id = fill(c, "P1", ALL, ramp)
        record(c, "P1")
        return press_id

    evaluate(store, store.write(begin))
    slow = Plant(store)
    onset = slow.get("/presses/P1/leak")["onset"]
    true = as_text(START + ONSET * CYCLE)
    assert onset["shows_in"] == "level"
    assert onset["from"] <= true <= onset["to"]
    # A step through a ramp would be seen some 200 shots late.
    assert onset["at"] < as_text(START + (ONSET + 100) * CYCLE)
    assert slow.get("/presses/P1/containment")["shots"] >= ALL - ONSET


def test_a_new_valve_starts_another_story(store: Store) -> None:
    changed = START + 700 * CYCLE

    def begin(c: sa.Connection) -> int:
        press_id = fill(c, "P1", ALL)
        record(c, "P1")
        add_event(c, Event(press_id, changed, 0, "valve_change", "", "", "", "", "", "open", changed))
        return press_id

    evaluate(store, store.write(begin))
    body = Plant(store).get("/presses/P1/leak")
    # The new valve has leaked from its first shot on, so no shot of it shows a change.
    assert body["likelihood"] >= 0.5
    assert body["onset"] is None
    assert Plant(store).get("/presses/P1/containment")["basis"] == "record"
