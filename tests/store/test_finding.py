"""What a few letters find, on both databases."""

import pytest
import sqlalchemy as sa

from server.store import finding
from server.store.database import Store
from server.store.plant import put_mold, put_press

NOW = 1_795_008_120_000


@pytest.fixture
def plant(any_store: Store) -> Store:
    def job(connection: sa.Connection) -> None:
        for code, name, area in (
            ("P1", "Wren", "Hall A"), ("P10", "Teal", "Hall A"), ("XP1", "Swift", "Hall B"),
            ("P_7", "50 % more", "Hall B"), ("P07", "Öre", "Hall B"),
        ):  # fmt: skip
            put_press(connection, code, {"name": name, "area": area}, now_ms=NOW)
        put_mold(connection, "M-1", {"part": "Latch cover"}, now_ms=NOW)

    any_store.write(job)
    return any_store


def codes(store: Store, text: str, *, limit: int = 9) -> list[str]:
    with store.read() as connection:
        return [row["press"] for row in finding.presses_with(connection, text, limit=limit)]


def test_what_is_just_called_so_comes_first_then_what_begins_so(plant: Store) -> None:
    assert codes(plant, "p1") == ["P1", "P10", "XP1"]
    assert codes(plant, "p1", limit=2) == ["P1", "P10"]


def test_names_and_areas_are_looked_at_whatever_their_case(plant: Store) -> None:
    assert codes(plant, "TEAL") == ["P10"]
    assert codes(plant, "hall b") == ["P07", "P_7", "XP1"]


def test_signs_that_stand_for_others_are_themselves(plant: Store) -> None:
    assert codes(plant, "%") == ["P_7"]
    assert codes(plant, "_") == ["P_7"]
    assert codes(plant, "'\";--") == []


def test_molds_are_found_by_their_part(plant: Store) -> None:
    with plant.read() as connection:
        assert [row["mold"] for row in finding.molds_with(connection, "latch", limit=9)] == ["M-1"]
