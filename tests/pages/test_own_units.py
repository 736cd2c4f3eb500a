"""Who reads in inches and psi meets no millimetre and no bar, but where these are what is meant."""

import dataclasses
import re
from collections.abc import Iterator

import pytest

from server.access.actors import OPEN
from server.language import N_, Measured, written_by
from server.store.database import Store
from server.words.units import Units
from tests.pages.plant import make_plant
from tests.pages.server import page_server
from tests.pages.test_language import Said
from tests.pages.test_pages import PAGES, Visitor

IMPERIAL = {"length": "in", "pressure": "psi", "temperature": "degF", "volume": "in3"}
_STORED = re.compile(r"\b(mm|bar|°C|cm³)\b")
#: Pages that say what is kept, how settings are chosen, or where rules of thumb come from.
SPARED = {"/help", "/settings"}
#: Relative alone; what resin makers write; an example of how to write a name.
MEANT = ("Recovery per mm", "g/cm³", "such as “hold pressure, bar”")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    made = make_plant(tmp_path_factory.mktemp("units"))
    yield made
    made.close()


@pytest.mark.parametrize("path", [path for path in PAGES if path not in SPARED])
def test_a_page_speaks_the_units_of_its_reader(store: Store, path: str) -> None:
    reader = dataclasses.replace(OPEN, units=IMPERIAL)
    said = Said()
    said.feed(Visitor(page_server(store, actor=reader)).get(path).text)
    left = [text for text in said.texts if _STORED.search(text) and not any(one in text for one in MEANT)]
    assert left == []


def test_a_kept_sentence_holds_stored_units_and_is_said_in_the_readers() -> None:
    creep, pressure = Measured("speed", 0.254, 3), Measured("pressure", 500, 0)
    text = N_("creeps {creep} at {pressure}", creep=creep, pressure=pressure)
    with written_by(Units(length="in", pressure="psi").text):
        assert (text == "creeps 0.254 mm/s at 500 bar", str(text)) == (
            True,
            "creeps 0.01000 in/s at 7,252 psi",
        )
    assert f"{text}" == "creeps 0.254 mm/s at 500 bar"
