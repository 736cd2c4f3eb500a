"""Fields of the API are explained by the entries of the help page: the same words, where the fields stand."""

from collections.abc import Iterator
from typing import Any

import pytest

from server.language import Language, spoken
from server.routes.described import ANSWERS, BODIES
from server.store.database import Store
from server.store.engine import upgrade
from server.words.help_api import CODED, FIELDS, field_text
from server.words.help_terms import entry_called
from tests.contract.reading_plant import AT, MOLD, Plant, build
from tests.security.callers import House, house


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    url = f"sqlite:///{tmp_path_factory.mktemp('described') / 'plant.db'}"
    upgrade(url)
    with house(url) as found:
        yield found


@pytest.fixture(scope="module")
def document(whole: House) -> dict[str, Any]:
    answer = whole.send("nobody", "GET", "/openapi.json")
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


@pytest.fixture(scope="module")
def plant(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    file = tmp_path_factory.mktemp("described") / "read.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    build(store)
    yield Plant(store)
    store.close()


def at(schema: dict[str, Any], path: str) -> dict[str, Any]:
    """The schema of the field a path leads to."""
    for step in path.split("."):
        schema = schema["properties"][step.removesuffix("[]")]
        schema = schema["items"] if step.endswith("[]") else schema
    return schema


def leads_to(answer: Any, path: str) -> bool:
    """Whether a real answer has the field."""
    for step in path.split("."):
        if step.removesuffix("[]") not in answer:
            return False
        answer = answer[step.removesuffix("[]")]
        if step.endswith("[]"):
            assert answer, f"nothing in {step} to look at"
            answer = answer[0]
    return True


@pytest.mark.parametrize("field", sorted({*FIELDS, *CODED}))
def test_every_explained_field_leads_to_entries_of_the_help_page(field: str) -> None:
    anchors = [FIELDS[field]] if field in FIELDS else list(CODED[field].anchors.values())
    assert anchors
    for anchor in anchors:
        entry = entry_called(anchor)
        assert entry is not None, anchor
        assert entry.meaning in field_text(field)


def test_answers_and_bodies_are_described_where_their_fields_stand(document: dict[str, Any]) -> None:
    for (method, path), fields in ANSWERS.items():
        content = document["paths"][path][method]["responses"]["200"]["content"]
        for field in fields:
            told = at(content["application/json"]["schema"], field)["description"]
            assert told == field_text(field.rpartition(".")[2]), (path, field)
    for (method, path), fields in BODIES.items():
        content = document["paths"][path][method]["requestBody"]["content"]
        for field in fields:
            assert at(content["application/json"]["schema"], field)["description"] == field_text(field)


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("/api/v1/presses", "/presses"),
        ("/api/v1/presses/{press}", AT),
        ("/api/v1/presses/{press}/leak", f"{AT}/leak"),
        ("/api/v1/presses/{press}/leak/history", f"{AT}/leak/history"),
        ("/api/v1/presses/{press}/containment", f"{AT}/containment"),
        ("/api/v1/presses/{press}/findings", f"{AT}/findings"),
        ("/api/v1/molds/{mold}/capability", f"/molds/{MOLD}/capability"),
    ],
)
def test_answers_have_the_fields_that_are_described(plant: Plant, path: str, asked: str) -> None:
    answer = plant.get(asked)
    leak = answer.get("estimates", {}).get("leak", {})
    for field in ANSWERS["get", path]:
        # An estimate that cannot be made has a reason instead.
        reason = field.startswith("estimates.leak.") and "reason" in leak
        assert reason or leads_to(answer, field), field


def test_a_field_that_was_forgotten_would_be_noticed(document: dict[str, Any]) -> None:
    schema = document["paths"]["/api/v1/alarms"]["get"]["responses"]["200"]["content"]["application/json"]
    with pytest.raises(KeyError):
        at(schema["schema"], "items[].nothing")
    assert not leads_to({"items": [{"kind": "leak"}]}, "items[].cause")


def test_the_document_is_in_the_language_of_the_source_whoever_asks_first() -> None:
    other = Language("xx", lambda text: f"xx {text}", lambda one, many, n: f"xx {one if n == 1 else many}")
    with spoken(other):
        for field in ("cpk", "rule", "causes"):
            assert "xx " not in field_text(field)
