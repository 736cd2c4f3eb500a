"""Finding things by a few words: the page without script, the same as JSON, and who may."""

import re
from collections.abc import Iterator
from urllib.parse import quote

import pytest

from server.access.actors import NOBODY
from server.contract import RUN_RULES
from server.store.database import Store
from server.words.catalogue import STUDY, shared_entries
from server.words.help_terms import help_groups
from tests.browser.test_every_page import _work
from tests.pages.plant import make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import Visitor


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    opened = make_plant(tmp_path_factory.mktemp("find"))
    opened.write(_work)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def visitor(store: Store) -> Visitor:
    return Visitor(page_server(store))


def found(visitor: Visitor, words: str, limit: int = 8) -> list[dict[str, object]]:
    answer = visitor.get(f"/api/v1/find?q={quote(words)}&limit={limit}")
    assert answer.status_code == 200, answer.text
    items: list[dict[str, object]] = answer.json()["items"]
    return items


def test_every_page_has_the_field_and_it_works_without_a_script(visitor: Visitor) -> None:
    for path in ("/", "/presses/P07", "/alarms", "/help", "/find"):
        page = visitor.get(path).text
        assert '<form class="find" action="/find" method="get" role="search"' in page, path
    assert 'action="/find"' not in visitor.get("/login").text


def test_what_is_called_so_stands_first_with_a_line_of_words(visitor: Visitor) -> None:
    first = found(visitor, "P07")[0]
    assert first == {
        "kind": "press", "group": "By that name", "name": "P07 Thistle", "page": "/presses/P07",
        "exact": True,
        "text": "Press, Hall B, runs M-113 PP-DEMO, lot B4, box 2231",
    }  # fmt: skip
    assert found(visitor, "p07-1")[0]["page"] == "/alarms#alarm-P07-1"
    assert found(visitor, "m-113")[0]["name"] == "M-113"
    assert found(visitor, "settings")[0]["page"] == "/settings"
    assert found(visitor, "Beyond a limit")[0]["page"] == "/help#beyond_limit"


def test_each_kind_of_thing_is_found(visitor: Visitor) -> None:
    kinds = {
        item["kind"] for words in ("P07", "PP-DEMO", "cushion", "molds") for item in found(visitor, words)
    }
    assert kinds >= {
        "press", "mold", "alarm", "case", "valve", "study", "startup_record", "material", "setup", "trial",
        "page", "help",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "title"),
    [
        ("case night", "Case 1 of P07"),
        ("alarms leak p11", "Alarm P11-1"),
        ("short-shot P07 study", "Study 1 of P07"),
        ("sheet ines", "Sheet 1 of P07"),
        ("rv-50-3", "RV-50-3"),
        ("startup record hall", ""),
    ],
)
def test_words_that_name_the_kind_lead_to_that_kind(visitor: Visitor, words: str, title: str) -> None:
    titles = [str(item["name"]) for item in found(visitor, words)]
    assert (title in titles) if title else not titles


def test_every_address_that_is_found_opens_and_has_its_place(visitor: Visitor) -> None:
    hrefs = {
        str(item["page"]) for words in ("p", "1", "m-", "leak", "shot") for item in found(visitor, words, 50)
    }
    assert len(hrefs) > 60
    pages: dict[str, str] = {}
    for href in sorted(hrefs - {"/docs"}):
        path, _, place = href.partition("#")
        if path not in pages:
            answer = visitor.get(path)
            assert answer.status_code == 200, href
            pages[path] = answer.text
        assert not place or f'id="{place}"' in pages[path], href


def test_nothing_found_says_what_can_be_looked_for(visitor: Visitor) -> None:
    text = visitor.text("/find?q=zeppelin")
    assert "Nothing is called “zeppelin”" in text
    assert "valves by part number or press" in text
    assert "What are you looking for?" in visitor.text("/find?q=++")


def test_more_than_is_shown_is_said(visitor: Visitor) -> None:
    answer = visitor.get("/api/v1/find?q=p&limit=2").json()
    assert "press" in answer["more"]
    assert sum(item["kind"] == "press" for item in answer["items"]) == 2
    assert "another word finds less" in visitor.text("/find?q=shot")


def test_what_is_typed_is_bounded_and_shown_as_it_stands(visitor: Visitor) -> None:
    assert visitor.get(f"/api/v1/find?q={'x' * 81}").status_code == 422
    assert visitor.get("/api/v1/find?q=").status_code == 422
    assert f"“{'x' * 80}”" in visitor.text(f"/find?q={'x' * 5000}")
    page = visitor.get("/find?q=%3Cb%3E%00%0A%25").text
    assert re.search(r"“&lt;b&gt; %”", page)
    assert visitor.get("/api/v1/find?q=%00%ED%A0%80").json()["items"] == []


def test_nobody_finds_anything_without_being_let_in(store: Store) -> None:
    stranger = Visitor(page_server(store, actor=NOBODY))
    assert stranger.get("/find?q=P07").headers["location"] == "/login?next=/find"


def test_help_entries_are_found_by_their_names(visitor: Visitor) -> None:
    for _, entries in help_groups():
        for entry in entries:
            hrefs = [item["page"] for item in found(visitor, entry.name, 50)]
            assert f"/help#{entry.id}" in hrefs, entry.name


def test_every_rule_signal_cause_and_check_is_explained() -> None:
    explained = {entry.id for _, entries in help_groups() for entry in entries}
    wanted = {
        *RUN_RULES,
        *shared_entries("signals"),
        *shared_entries("causes"),
        *(f"check-{k}" for k in STUDY),
    }
    assert wanted - explained == set()
    assert all(entry.meaning for _, entries in help_groups() for entry in entries)
