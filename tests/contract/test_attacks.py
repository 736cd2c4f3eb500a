"""What nobody in good faith sends: it is refused with a reason, and never breaks the server."""

from collections.abc import Iterator

import httpx
import pytest
from fastapi import FastAPI

from server.routes import problems
from server.store.database import Store
from server.store.plant import put_press
from tests.access.plant import plant
from tests.pages.plant import NOW, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import Visitor


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    store: Store = make_plant(tmp_path_factory.mktemp("attacks"))
    store.write(lambda c: put_press(c, "\u00e9", {}, now_ms=NOW))
    app: FastAPI = page_server(store)
    problems.install(app)
    yield Visitor(app)
    store.close()


@pytest.mark.parametrize("act", ["approve", "retire"])
@pytest.mark.parametrize("number", ["9" * 30, "-1", str(1 << 63)])
def test_a_number_no_database_takes_is_refused(sqlite_url: str, act: str, number: str) -> None:
    with plant(sqlite_url, no_login=True) as here:
        here.caller()("PUT", "/api/v1/presses/P07", {})
        answer = here.caller()("POST", f"/api/v1/presses/P07/baselines/{number}/{act}", {})
        assert (answer.status_code, answer.json()["code"]) == (422, "invalid")


def test_without_login_a_host_may_not_hide_behind_a_user_name(sqlite_url: str) -> None:
    with plant(sqlite_url, no_login=True) as here:
        hosts = ("127.0.0.1:8000", "evil.example@127.0.0.1", "127.0.0.1.evil.example")
        told = [here.caller()("GET", "/api/v1/alarms", headers={"Host": host}) for host in hosts]
        assert [answer.status_code for answer in told] == [200, 403, 403]


@pytest.mark.parametrize(
    "path",
    [
        f"/api/v1/presses/P07/figure?span_ms={'9' * 25}",
        "/molds/M-113?from=0001-01-01&to=9999-12-31",
        "/molds/M-113?from=2026-11-01&to=9999-12-31",
        "/molds/M-113?from=9999-12-31&to=0001-01-01",
    ],
)
def test_times_beyond_every_calendar_are_refused(visitor: Visitor, path: str) -> None:
    answer: httpx.Response = visitor.get(path)
    assert answer.status_code == 422, answer.text[:300]


def test_a_page_is_found_however_its_letters_are_composed(visitor: Visitor) -> None:
    assert visitor.get("/presses/%C3%A9").status_code == 200
    assert visitor.get("/presses/e%CC%81").status_code == 200
    assert visitor.get("/presses/e%CC%81/baselines").status_code == 200


@pytest.mark.parametrize("path", ["/%09/evil.example", "/%0A/evil.example", "//evil.example", "/%5Cevil"])
def test_logging_in_leads_to_no_other_server(visitor: Visitor, path: str) -> None:
    # Browsers drop tabs and line ends from an address: "/<tab>/evil" would be "//evil".
    assert "evil" not in visitor.get(f"/login?next={path}").text
    assert 'data-then="/presses/P07"' in visitor.get("/login?next=/presses/P07").text
