"""The guided way from an empty plant to the first judged press: what it says on each page, to whom."""

from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from server.access.actors import Actor
from server.show.first_steps import Begun, how_far
from server.store import tables as t
from server.store.database import Store
from server.store.plant import put_press
from server.store.record_tables import baselines
from tests.pages.plant import NOW, make_empty, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import VIEWER, Visitor


@pytest.fixture
def empty(tmp_path: Path) -> Store:
    return make_empty(tmp_path)


def with_press(store: Store, *, shots: bool = False, record: str = "") -> Visitor:
    """The empty plant with one press; `record` is the state of its startup record."""

    def fill(connection: sa.Connection) -> None:
        put_press(connection, "E 1", {}, now_ms=NOW)
        if shots:
            held = {"last_shot_ms": NOW - 5_000, "mold": "M-1", "material": ""}
            connection.execute(sa.update(t.press_states).values(**held))
        if record:
            connection.execute(
                sa.insert(baselines).values(
                    press_id=1, baseline_no=3, mold="M-1", material="", from_ms=1, to_ms=NOW - 5_000,
                    shots=200, state=record, signals="{}", note="", captured_by="ada", captured_ms=NOW,
                )
            )  # fmt: skip

    store.write(fill)
    return Visitor(page_server(store))


def test_the_first_step_adds_a_press_by_its_name(empty: Store) -> None:
    page = Visitor(page_server(empty)).get("/").text
    assert 'data-post="/api/v1/presses/{press}" data-method="PUT"' in page
    assert page.count('aria-current="step"') == 1


def test_a_press_that_reports_already_is_taken_in_from_the_first_step(empty: Store) -> None:
    kept = {
        "press": "N 2", "row_id": 1, "arrived_ms": NOW, "kind": "unknown_press", "code": "unknown_press",
        "message": "press N 2 is not in the plant", "raw": "{}", "replayable": True,
    }  # fmt: skip
    empty.write(lambda c: c.execute(sa.insert(t.quarantine).values(**kept)))
    page = Visitor(page_server(empty)).get("/").text
    assert "N 2 reports already." in page
    assert 'data-then="/presses/N%202">Take N 2 in</button>' in page


@pytest.mark.parametrize(
    ("known", "path", "door"),
    [
        ({}, "/", '<a class="button first-door" href="/import?press=E%201">Import a file</a>'),
        ({"shots": True}, "/", 'href="/presses/E%201">Open the chart of E 1</a>'),
        ({"shots": True}, "/presses/E%201", 'E%201/baselines#capture">Capture a startup record</a>'),
        ({"shots": True, "record": "draft"}, "/", 'href="/presses/E%201/baselines#b-3">Look at record 3</a>'),
    ],
)  # fmt: skip
def test_the_next_step_has_its_one_door(empty: Store, known: dict[str, Any], path: str, door: str) -> None:
    page = with_press(empty, **known).get(path).text
    assert door in page
    assert page.count('class="button first-door"') == 1


def test_the_import_page_has_the_press_chosen_it_was_opened_for(empty: Store) -> None:
    page = with_press(empty).get("/import?press=E%201").text
    assert '<option value="E 1" selected>' in page
    assert "Choose the file below." in page


@pytest.mark.parametrize("state", ["approved", "retired"])
def test_the_steps_are_gone_once_a_record_was_approved(empty: Store, state: str) -> None:
    visitor = with_press(empty, shots=True, record=state)
    for path in ("/", "/presses/E%201", "/presses/E%201/baselines", "/import"):
        assert "First steps" not in visitor.text(path)


def test_a_plant_that_runs_never_sees_them(tmp_path: Path) -> None:
    assert "First steps" not in Visitor(page_server(make_plant(tmp_path))).text("/")


@pytest.mark.parametrize("actor", [VIEWER, Actor("ines", "line_lead", "person")], ids=lambda one: one.role)
def test_whoever_may_not_reads_who_does_it(empty: Store, actor: Actor) -> None:
    with_press(empty)
    page = Visitor(page_server(empty, actor=actor)).get("/").text
    assert "Somebody with the role plant engineer does this next." in page
    assert "first-door" not in page


def test_the_press_that_is_furthest_leads() -> None:
    rows = [
        {"press_id": 1, "press": "A", "last_shot_ms": None},
        {"press_id": 2, "press": "B", "last_shot_ms": 5},
        {"press_id": 3, "press": "C", "last_shot_ms": 7},
    ]
    assert how_far([], {}) == Begun()
    assert how_far(rows[:1], {}).next_id == "shots"
    assert how_far(rows, {}) == Begun("B", has_shots=True)
    assert how_far(rows, {3: 4}) == Begun("C", has_shots=True, record_no=4)


def test_a_record_nothing_came_after_is_not_called_missing(empty: Store) -> None:
    visitor = with_press(empty, shots=True, record="approved")
    assert "Record 3 is approved and judges every shot after it" in visitor.text("/")
    assert "no startup record" not in visitor.text("/")
