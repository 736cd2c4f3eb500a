"""Finding: a page and a call that lead from a few letters to what is meant."""

from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import anyio
import httpx
import pytest
from fastapi import FastAPI

from server.app import build_app, build_objects
from server.contract import RUN_RULES
from server.settings import Settings
from server.words.catalogue import STUDY, shared_entries
from server.words.help_terms import help_groups
from tests.browser.test_every_page import _work
from tests.pages.plant import NOW, make_plant


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    store = make_plant(tmp_path)
    store.write(_work)
    store.close()
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'pages.db'}", no_login=True, child_process=False)
    objects = build_objects(settings, now_ms=lambda: NOW)
    yield build_app(objects, run_pipeline=False)
    objects.pipeline.close()
    objects.store.close()


def get(app: FastAPI, path: str, **query: str) -> httpx.Response:
    async def one() -> httpx.Response:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000") as client:
            return await client.get(path, params=query)

    return anyio.run(one)


def pages(app: FastAPI, text: str) -> list[str]:
    answer = get(app, "/api/v1/find", q=text)
    assert answer.status_code == 200, answer.text
    items: list[dict[str, Any]] = answer.json()["items"]
    return [item["page"] for item in items]


def test_a_code_leads_to_its_press_and_what_belongs_to_it(app: FastAPI) -> None:
    found = pages(app, "p07")
    assert found[0] == "/presses/P07"
    assert "/cases/P07/1" in found
    for page in found:
        assert get(app, page.partition("#")[0]).status_code == 200, page


def test_molds_materials_and_words_are_found(app: FastAPI) -> None:
    assert "/molds/M-113" in pages(app, "latch")
    assert pages(app, "cpm") == ["/help#cpm"]
    assert "/help#check-drift-check" in pages(app, "drift check")


def test_the_page_says_what_was_found_and_what_was_not(app: FastAPI) -> None:
    text = unescape(get(app, "/find", q="P07").text)
    assert "may be meant by “P07”" in text
    assert '<a href="/presses/P07">P07 Thistle</a>' in text
    nothing = unescape(get(app, "/find", q="zz<b>top").text)
    assert "Nothing here is called “zz<b>top”." in nothing
    assert "<b>top" not in get(app, "/find", q="zz<b>top").text
    assert "What are you looking for?" in get(app, "/find").text


def test_what_is_too_long_is_cut_on_the_page_and_refused_for_programs(app: FastAPI) -> None:
    assert get(app, "/find", q="x" * 500).status_code == 200
    assert get(app, "/api/v1/find", q="x" * 500).status_code == 422
    assert get(app, "/api/v1/find", q="").status_code == 422


def test_every_page_has_the_field_that_finds(app: FastAPI) -> None:
    for path in ("/", "/presses/P07", "/alarms", "/help"):
        assert 'action="/find"' in get(app, path).text


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
