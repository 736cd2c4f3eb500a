"""What a browser shows when something is amiss: a page with words and a way out, for programs a problem."""

from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.routing import Route

from server.errors import BusyError, StorageError
from server.store.engine import upgrade
from tests.security.callers import House, house

BROWSER = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("trouble") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


def opened(whole: House, path: str, *, who: str = "viewer") -> Any:
    return whole.send(who, "GET", path, headers=BROWSER)


def failing(whole: House, error: Exception, path: str = "/fails") -> Any:
    def fails(_request: Request) -> None:
        raise error

    app: FastAPI = whole.app
    app.router.routes.insert(0, Route("/{rest:path}", fails))
    try:
        return opened(whole, path)
    finally:
        del app.router.routes[0]


def test_an_address_that_is_none_says_so_and_leads_back(whole: House) -> None:
    answer = opened(whole, "/presess/P01")
    assert answer.status_code == 404
    assert "<h1>There is no such page here.</h1>" in answer.text
    assert '<a class="button" href="/">To the plant</a>' in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")


def test_what_is_not_ones_own_to_open_says_so(whole: House) -> None:
    answer = opened(whole, "/", who="key ingest")
    assert answer.status_code == 403
    assert "This page is not yours to open." in answer.text
    assert 'href="/login"' in answer.text


def test_an_address_that_cannot_be_taken_names_what_is_wrong(whole: House) -> None:
    answer = opened(whole, "/login?wait=soon")
    assert answer.status_code == 422
    assert "wait" in answer.text


def test_a_server_that_cannot_answer_now_says_so_and_offers_the_same_address_again(whole: House) -> None:
    for error, status in ((BusyError("writes wait; 2 s", retry_after_s=2), 503), (StorageError("full"), 507)):
        answer = failing(whole, error)
        assert answer.status_code == status
        assert answer.headers["retry-after"]
        assert '<a class="button" href="/fails">Try again</a>' in answer.text


def test_what_nobody_foresaw_is_a_page_with_the_id_of_its_log_line(whole: House) -> None:
    answer = failing(whole, RuntimeError("in /srv/plant.db"))
    assert answer.status_code == 500
    assert "Something failed here." in answer.text
    assert answer.headers["x-request-id"] in answer.text
    assert "plant.db" not in answer.text


def test_the_way_out_leads_to_this_server_whatever_the_address_was(whole: House) -> None:
    text = failing(whole, RuntimeError("x"), 'http://127.0.0.1:8000//evil.example/"><b>').text
    assert 'href="/evil.example/%22%3E%3Cb%3E"' in unescape(text)
    assert "<b>" not in text


def test_who_may_read_finds_from_there_what_the_address_did_not_lead_to(whole: House) -> None:
    field = 'action="/find" method="get" role="search"'
    assert field in opened(whole, "/presess/P01").text
    assert field in failing(whole, RuntimeError("x")).text
    assert field not in opened(whole, "/presess/P01", who="key ingest").text
    nobody = opened(whole, "/login?wait=soon", who="nobody")
    assert nobody.status_code == 422
    assert field not in nobody.text


def test_programs_and_parts_of_pages_get_a_problem(whole: House) -> None:
    nowhere = whole.send("viewer", "GET", "/nowhere", headers={"Accept": "*/*"})
    part = whole.send("viewer", "GET", "/nowhere", headers={**BROWSER, "X-Fragment": "1"})
    api = opened(whole, "/api/v1/presses/P77")
    for answer in (nowhere, part, api):
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["status"] == 404
