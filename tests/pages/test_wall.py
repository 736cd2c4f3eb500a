"""The wall screen's page: the loudest first, nothing to press, what has no place is counted."""

import re
from pathlib import Path

import pytest

from server.access.actors import NOBODY
from server.show.build_wall import CELLS_MOST
from tests.pages.plant import make_empty, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import VIEWER, Visitor
from tests.pages.wall_plant import many_presses

#: What somebody could press, follow or type into.
TOUCHED = re.compile(
    r"<(a|button|input|select|textarea|form|summary)\b|\stabindex=|data-(action|post|answer|tick)="
)


@pytest.fixture
def visitor(tmp_path: Path) -> Visitor:
    return Visitor(page_server(make_plant(tmp_path), actor=VIEWER))


def test_who_may_see_the_plant_may_see_the_wall_and_nobody_else(visitor: Visitor, tmp_path: Path) -> None:
    assert visitor.get("/wall").status_code == 200
    store = make_empty(tmp_path)
    assert Visitor(page_server(store, actor=NOBODY)).get("/wall").headers["location"] == "/login?next=/wall"


def test_there_is_nothing_to_press(visitor: Visitor) -> None:
    page = visitor.get("/wall").text
    assert not TOUCHED.search(page.partition("<body")[2])
    assert TOUCHED.search(visitor.get("/").text), "the pattern finds what can be pressed"


def test_what_is_not_as_usual_stands_first_and_large(visitor: Visitor) -> None:
    page = visitor.get("/wall").text
    large, _, small = page.partition("wall-cells")
    assert re.findall(r'data-press="([^"]+)"', large) == ["P07", "P11", "P02", "P09"]
    assert set(re.findall(r'data-press="([^"]+)"', small)) == {"P03", "P05", "Q 01 ä+b"}
    assert "Three of 7 presses need someone. One of them now." in visitor.text("/wall")
    assert "Silent for 2 h." in visitor.text("/wall")


def test_a_plant_in_order_shows_nothing_large(tmp_path: Path) -> None:
    page = Visitor(page_server(many_presses(tmp_path, 30))).get("/wall").text
    assert "wall-row" not in page
    assert "All 30 presses are quiet." in page


def test_the_plant_page_leads_to_the_wall_with_what_was_chosen(visitor: Visitor) -> None:
    assert 'href="/wall?area=Hall+B"' in visitor.get("/?area=Hall+B").text
    text = visitor.text("/wall?area=Hall+B")
    assert "Two of 3 presses need someone." in text or "Three of 3 presses" in text
    assert "P02" not in text


def test_presses_without_a_place_are_counted_and_the_loud_ones_named_as_such(tmp_path: Path) -> None:
    text = Visitor(page_server(many_presses(tmp_path, CELLS_MOST + 40))).text("/wall")
    assert "And 40 presses more, all of them quiet." in text
    (tmp_path / "loud").mkdir()
    many = many_presses(tmp_path / "loud", 90, loud=80, silent=5)
    page = Visitor(page_server(many))
    shown = len(set(re.findall(r'data-press="([^"]+)"', page.get("/wall").text)))
    left = re.search(r"And (\w+) presses more, (\w+) of them not as usual", page.text("/wall"))
    assert left
    assert int(left[1]) + shown == 90
    assert int(left[2]) == 85 - shown


def test_without_any_press_it_says_so(tmp_path: Path) -> None:
    assert "There is no press to show here." in Visitor(page_server(make_empty(tmp_path))).text("/wall")


def test_its_live_parts_are_in_its_fragment(visitor: Visitor) -> None:
    whole, part = visitor.get("/wall").text, visitor.get("/wall", X_Fragment="1").text
    assert "<body" not in part
    live = re.findall(r'data-live="(\w+)"', whole)
    assert live == ["opening", "wall"]
    assert set(live) <= set(re.findall(r'data-live="(\w+)"', part))
