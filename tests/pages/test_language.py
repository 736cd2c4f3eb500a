"""Pages in a language made up for the test: every word that stays English has been forgotten.

The made-up language writes each vowel of a text of the catalogue with an accent. What a page then says
without one is either the plant's own (names people gave, units, codes) or a text that never reached the
catalogue.
"""

import html
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Final

import pytest
import sqlalchemy as sa

from server import language
from server.store import tables as t
from server.store.database import Store
from tests.pages.plant import make_empty, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import EMPTY_PAGES, PAGES, Visitor

_ACCENTS: Final = str.maketrans("aeiou", "äëïöü")
#: Places to fill, tags and entities stay what they are.
_KEPT: Final = re.compile(r"\{[^}]*\}|%\(\w+\)s|<[^>]*>|&\w+;")
_SPOKEN_ATTRIBUTES: Final = frozenset(
    {"aria-label", "placeholder", "title", "alt", "data-sure", "data-done", "data-empty"}
)
#: The same in every language: units, kinds of files, names of standards and of what is typed.
_OWN: Final = frozenset(
    {
        "ringtell",
        "bar",
        "psi",
        "min",
        "degc",
        "degf",
        "mpa",
        "parquet",
        "csv",
        "xlsx",
        "utc",
        "berlin",
        "europe",
        "mail",
        "ean",
        "mqtt",
        "cet",
        "in",
    }
)


def accented(text: str) -> str:
    out, at = [], 0
    for kept in _KEPT.finditer(text):
        out += [text[at : kept.start()].translate(_ACCENTS), kept[0]]
        at = kept.end()
    return "".join(out) + text[at:].translate(_ACCENTS)


MADE_UP: Final = language.Language(
    "xx", accented, lambda one, many, count: accented(one if count == 1 else many), decimal=".", group=","
)


class Said(HTMLParser):
    """What a page says: its texts and the attributes that are read out; code and keys are not words."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._unsaid = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unsaid += tag in ("code", "kbd", "style", "script")
        self.texts += [value for name, value in attrs if name in _SPOKEN_ATTRIBUTES and value]

    def handle_endtag(self, tag: str) -> None:
        self._unsaid -= tag in ("code", "kbd", "style", "script")

    def handle_data(self, data: str) -> None:
        if not self._unsaid:
            self.texts.append(data)


def strays(page: str, own: frozenset[str]) -> list[str]:
    """Texts of a page with an English word in them."""
    said = Said()
    said.feed(page)
    found = []
    for text in said.texts:
        words = re.findall(r"[a-zA-Zäëïöüß]{3,}", html.unescape(text))
        left = [word for word in words if re.search("[aeiou]", word) and word.lower() not in own]
        if left:
            found.append(f"{' '.join(text.split())[:120]!r}: {', '.join(left[:6])}")
    return found


#: Tables and their columns that hold words people gave.
_GIVEN: Final = {
    "presses": "press name area", "molds": "mold part", "setups": "mold material setup",
    "plant_settings": "value", "events": "setting lot note author", "people": "name full_name",
    "valves": "part_number material_pair removed_reason found note author",
    "baselines": "note captured_by approved_note", "quarantine": "message", "studies": "result author",
    "alarm_steps": "who note",
}  # fmt: skip


def own_words(store: Store) -> frozenset[str]:
    """Words people gave the plant."""
    columns = [
        column
        for table, names in _GIVEN.items()
        for column in (t.metadata.tables[table].c[name] for name in names.split())
    ]
    found = set(_OWN)
    with store.read() as connection:
        for column in columns:
            for value in connection.scalars(sa.select(column).distinct()):
                found |= {word.lower() for word in re.findall(r"[^\W\d_]+", str(value or ""))}
    return frozenset(found)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    made = make_plant(tmp_path_factory.mktemp("language"))
    yield made
    made.close()


@pytest.mark.parametrize("path", PAGES)
def test_no_word_of_a_page_is_outside_the_catalogue(store: Store, path: str) -> None:
    with language.spoken(MADE_UP):
        answer = Visitor(page_server(store)).get(path)
    assert answer.status_code == 200
    assert strays(answer.text, own_words(store)) == []


@pytest.mark.parametrize("path", EMPTY_PAGES)
def test_nor_on_an_empty_plant(tmp_path: Path, path: str) -> None:
    store = make_empty(tmp_path)
    with language.spoken(MADE_UP):
        answer = Visitor(page_server(store)).get(path)
    assert strays(answer.text, own_words(store)) == []
    store.close()


def test_a_forgotten_word_would_be_noticed() -> None:
    page = f"<p>{accented('Nothing waits for you.')}</p><p>Press waits.</p><code>forgotten</code>"
    assert strays(page, _OWN) == ["'Press waits.': Press, waits"]
