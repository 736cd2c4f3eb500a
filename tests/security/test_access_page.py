"""The page of who may what shows each role its own parts and nothing of the others."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.store.engine import upgrade
from tests.security.callers import House, house


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("access-page") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


@pytest.mark.parametrize(
    ("who", "parts"),
    [
        ("viewer", {"oneself", "table"}),
        ("quality_lead", {"oneself", "table", "trail"}),
        ("plant_engineer", {"oneself", "table", "trail", "keys"}),
        ("administrator", {"oneself", "table", "trail", "keys", "people"}),
        ("administrator by pin", {"oneself", "table"}),
    ],
)
def test_each_sees_what_they_may_act_on(whole: House, who: str, parts: set[str]) -> None:
    text = whole.send(who, "GET", "/access").text
    every = ("oneself", "table", "trail", "keys", "people")
    assert {part for part in every if f'<section class="card" id="{part}"' in text} == parts
    assert "argon2" not in text
    assert "rtk_" not in text


def test_the_trail_is_filtered(whole: House) -> None:
    text = whole.send("quality_lead", "GET", "/access", params={"action": "key_created"}).text
    body = text.split('id="trail"')[1].split("<tbody>")[1]
    assert body.count("<tr>") == 6
    assert "person added" not in body


def test_the_table_on_the_page_is_the_one_that_decides(whole: House) -> None:
    text = whole.send("viewer", "GET", "/access").text
    row = text.split("Add people, change roles, reset passwords")[1].split("</tr>")[0]
    assert row.count("<td>yes</td>") == 1
    row = text.split("See pages, charts, alarms and lists")[1].split("</tr>")[0]
    assert row.count("<td>yes</td>") == 5
