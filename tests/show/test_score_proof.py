"""The page of the proof says what the file says, and the file is that of the model that ships."""

from server.show.frame import Actor
from server.show.plant_words import Plant
from server.show.score_proof import SETS, build_score
from server.store.database import Store
from server.store.plant import PLANT_DEFAULTS
from server.valve.model import MODEL
from server.valve.proof_report import LAYOUT
from server.valve.prove import PRESSES, SEED, table
from server.words.catalogue import shared_object
from server.words.times import Zone
from server.words.units import Units

NOW_MS = 1_790_000_000_000


def test_the_proof_that_ships_is_of_the_model_that_ships() -> None:
    found = shared_object("score_proof")
    assert (found["model_version"], found["model_digest"]) == (MODEL["version"], MODEL["digest"])
    assert (found["layout"], found["seed"]) == (LAYOUT, SEED)
    assert {one["id"] for one in found["sets"]} == set(SETS)
    for one in found["sets"]:
        assert 0.9 * PRESSES <= one["all"]["presses"] <= PRESSES
        assert one["seen"]["auc"] > max(one["seen"]["cushion_auc"], one["seen"]["ratio_auc"]) + 0.1
        assert len(one["all"]["at"]) == 3
    assert "AUC" in table(found)


def test_the_page_says_what_the_file_says(store: Store) -> None:
    plant = Plant(
        settings={**PLANT_DEFAULTS, "plant_name": "Test"},
        units=Units(),
        zone=Zone("UTC"),
        now_ms=NOW_MS,
        actor=Actor(),
    )
    with store.read() as connection:
        page = build_score(connection, plant)
    assert "0 failing and 0 sound valves inspected" in page.own.lines[1]
    assert page.own.acts == ()
    every = {one["id"]: one for one in shared_object("score_proof")["sets"]}["every"]["seen"]
    assert f"{100 * every['auc']:.0f} %" in page.answer
    ranking = next(one for one in page.tables if one.title.startswith("How well"))
    assert f"{every['auc']:.3f}" in ranking.rows[0][2]
    for one in page.tables:
        assert one.rows, one.title
        assert {len(row) for row in one.rows} == {len(one.head)}, one.title
    assert len(page.pictures) == 6
    assert all("stated" in picture.drawing for picture in page.pictures)
    assert any("inspections" in line for line in page.limits)
