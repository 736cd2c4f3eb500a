"""A press's page says what was set aside, and how far single shots are thinned out."""

import pytest
import sqlalchemy as sa

from server.show.frame import Actor
from server.show.kept_words import kept_words
from server.show.plant_words import Plant
from server.store import poison, quarantine
from server.store.database import Store
from server.store.evaluation import Checkpoint
from server.store.page_queries import press_with_state
from server.store.plant import PLANT_DEFAULTS, press_by_code, put_press
from server.store.thinning import Floor, keep_floor
from server.words.times import Zone
from server.words.units import Units

NOW_MS = 1_775_023_200_000
DAY_MS = 86_400_000


@pytest.fixture
def plant() -> Plant:
    return Plant(dict(PLANT_DEFAULTS), Units(PLANT_DEFAULTS["units"]), Zone("UTC"), NOW_MS, Actor())


def said(store: Store, plant: Plant) -> str:
    with store.read() as connection:
        row = press_with_state(connection, "P07")
        assert row is not None
        return kept_words(connection, plant, row)


def test_a_press_in_order_says_nothing(store: Store, plant: Plant) -> None:
    store.write(lambda c: put_press(c, "P07", {}, now_ms=NOW_MS))
    assert said(store, plant) == ""


def test_what_was_set_aside_is_said_with_the_way_out(store: Store, plant: Plant) -> None:
    def keep(connection: sa.Connection) -> None:
        put_press(connection, "P07", {}, now_ms=NOW_MS)
        row = quarantine.Apart(
            "P07", poison.KIND, "", "not_evaluable", "the shot of 14:03 cannot be evaluated", "{}", True
        )
        quarantine.keep_apart(connection, [row], now_ms=NOW_MS)

    store.write(keep)
    text = said(store, plant)
    assert text.startswith("1 shot was set aside")
    assert "the shot of 14:03" in text
    assert "ringtell db take-back --press P07" in text


def test_how_far_single_shots_are_thinned_is_said(store: Store, plant: Plant) -> None:
    def thin(connection: sa.Connection) -> None:
        put_press(connection, "P07", {}, now_ms=NOW_MS)
        press = press_by_code(connection, "P07")
        assert press is not None
        at_ms = NOW_MS - 400 * DAY_MS
        floor = Floor(at_ms, Checkpoint(at_ms, 1, 1, 1, b""))
        keep_floor(connection, press.press_id, floor, who="mara", now_ms=NOW_MS)

    store.write(thin)
    assert "single shots are thinned out" in said(store, plant)
    assert "2025" in said(store, plant)
