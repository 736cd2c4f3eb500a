"""What a security audit asks beside roles, keys and the trail; DEVELOPERS.md lists it all with its tests."""

import logging
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.routing import Route

from server.access.people import ONE_TIME_MS, add_person, reset_password
from server.access.tokens import new_token, password_fits
from server.store.engine import upgrade
from tests.access.plant import MORNING, PASSWORD, plant
from tests.security.callers import House, house

ROOT = Path(__file__).resolve().parents[2]
OWN = "a lamp above the door"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("requirements") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


# --- passwords ----------------------------------------------------------------------------------


def test_a_password_given_out_once_ends_after_a_week(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        welcome = here.objects.store.write(
            lambda c: add_person(c, "mina", "viewer", by="test", now_ms=MORNING)
        )
        body = {"name": "mina", "password": welcome.password}
        here.objects.clock = MORNING + ONE_TIME_MS - 1
        assert here.caller()("POST", "/api/v1/login", body).status_code == 200
        here.objects.clock = MORNING + ONE_TIME_MS
        late = here.caller()("POST", "/api/v1/login", body)
        assert late.status_code == 401
        assert "not used in time" in late.json()["detail"]
        form = here.caller()("POST", "/login", data=body)
        assert form.headers["location"] == "/login?ended=1"
        # Who has not got it learns nothing of that.
        wrong = here.caller()("POST", "/api/v1/login", {**body, "password": "x"})
        assert "not used in time" not in wrong.json()["detail"]


def test_ones_own_password_never_ends(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        here.person("root", "administrator")
        welcome = here.objects.store.write(
            lambda c: add_person(c, "mina", "viewer", by="test", now_ms=MORNING)
        )
        call = here.caller(**{"X-Ringtell": "page"})
        call("POST", "/api/v1/login", {"name": "mina", "password": welcome.password})
        new = {"old_password": welcome.password, "new_password": OWN}
        assert call("POST", "/api/v1/password", new).status_code == 200
        here.objects.clock = MORNING + 10 * ONE_TIME_MS
        assert here.caller()("POST", "/api/v1/login", {"name": "mina", "password": OWN}).status_code == 200
        again = here.objects.store.write(
            lambda c: reset_password(c, "mina", by="root", now_ms=here.objects.clock)
        )
        here.objects.clock += ONE_TIME_MS
        reset = {"name": "mina", "password": again.password}
        assert here.caller()("POST", "/api/v1/login", reset).status_code == 401


def test_every_character_of_a_password_counts_and_any_may_stand_in_it(sqlite_url: str) -> None:
    long = "wir üben 🎺 sehr lang " * 9 + "z"
    with plant(sqlite_url) as here:
        call = here.person("vera", "viewer")
        new = {"old_password": PASSWORD, "new_password": long}
        assert call("POST", "/api/v1/password", new).status_code == 200
        tries = {long: 200, long[:-1]: 401, long[:-1] + "y": 401}
        for password, status in tries.items():
            body = {"name": "vera", "password": password}
            assert here.caller()("POST", "/api/v1/login", body).status_code == status, password[-2:]


def test_the_login_that_says_it_ended_says_who_helps(whole: House) -> None:
    assert "An administrator gives out another" in whole.send("nobody", "GET", "/login?ended=1").text


def test_without_a_hash_no_password_fits() -> None:
    assert not password_fits(None, PASSWORD)
    assert not password_fits("not a hash", PASSWORD)


# --- tokens -------------------------------------------------------------------------------------


def test_tokens_are_long_and_never_the_same() -> None:
    made = {new_token() for _ in range(200)}
    assert len(made) == 200
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", one) for one in made)


def test_a_token_in_an_address_opens_nothing(whole: House) -> None:
    cookie = whole.callers["administrator"].headers["Cookie"]
    token = cookie.partition("=")[2].partition(";")[0]
    for name in ("token", "access_token", "session", "key", "authorization", "__Host-ringtell"):
        answer = whole.send("nobody", "GET", "/api/v1/presses", params={name: token})
        assert answer.status_code == 401, name


# --- what is sent -------------------------------------------------------------------------------


def test_nobody_sets_of_themselves_what_only_administrators_set(whole: House) -> None:
    more = {"role": "administrator", "must_change": False, "active": True, "person_id": 1, "name": "viewer"}
    body = {"old_password": "x" * 20, "new_password": OWN, **more}
    whole.send("viewer", "POST", "/api/v1/password", json=body)
    me = whole.send("viewer", "GET", "/api/v1/me").json()
    assert (me["name"], me["role"]) == ("viewer", "viewer")


def test_what_an_act_does_not_take_is_not_kept(whole: House) -> None:
    hidden = {"password_hash": "x", "must_change": False, "pin_hash": "x", "person_id": 99, "active": True}
    body = {"name": "otto", "role": "viewer", **hidden}
    assert whole.send("administrator", "POST", "/api/v1/people", json=body).status_code == 422
    known = whole.send("administrator", "GET", "/api/v1/people").json()["items"]
    assert "otto" not in [one["name"] for one in known]


def test_a_value_in_the_address_never_stands_for_one_of_the_body(whole: House) -> None:
    asked = {"params": {"name": "eva", "role": "administrator"}, "json": {"role": "viewer"}}
    assert whole.send("administrator", "POST", "/api/v1/people", **asked).status_code == 422
    twice = [("limit", "1"), ("limit", "x")]
    assert whole.send("administrator", "GET", "/api/v1/presses", params=twice).status_code == 422


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", "application/x-www-form-urlencoded"])
def test_an_act_takes_json_only(whole: House, kind: str) -> None:
    asked = {"content": b'{"name": "ute", "role": "viewer"}', "headers": {"Content-Type": kind}}
    answer = whole.send("administrator", "POST", "/api/v1/people", **asked)
    assert answer.status_code in (400, 415, 422)


def test_text_of_people_is_never_run_by_a_template(whole: House) -> None:
    text = '{{ 7 * 191 }}{% raw %}<b onclick="x()">"\'</b>'
    body = {"name": "lia", "role": "viewer", "full_name": text}
    assert whole.send("administrator", "POST", "/api/v1/people", json=body).status_code == 201
    page = whole.send("administrator", "GET", "/access").text
    assert "1337" not in page
    assert "<b onclick" not in page
    assert "{{ 7 * 191 }}{% raw %}&lt;b onclick" in page


# --- what is answered ---------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/static/", "/static/css", "/static/js/", "/api/v1/", "/api/"])
def test_folders_are_not_listed(whole: House, path: str) -> None:
    assert whole.send("administrator", "GET", path, follow_redirects=True).status_code == 404


@pytest.mark.parametrize("path", ["/", "/access", "/settings", "/login", "/api/v1/people", "/api/v1/me"])
def test_nothing_that_is_of_somebody_is_kept_on_the_way(whole: House, path: str) -> None:
    assert whole.send("administrator", "GET", path).headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/", "/api/v1/presses", "/openapi.json", "/login", "/healthz"])
def test_every_answer_says_its_type_and_not_what_made_it(whole: House, path: str) -> None:
    answer = whole.send("administrator", "GET", path, follow_redirects=True)
    assert answer.status_code == 200
    kind = answer.headers["content-type"]
    assert kind.startswith(("text/html; charset=utf-8", "application/json", "image/svg+xml"))
    assert {"server", "x-powered-by"} & set(answer.headers) == set()


@pytest.mark.parametrize("method", ["TRACE", "CONNECT", "PATCH", "PROPFIND", "DEBUG"])
def test_a_method_nobody_uses_is_refused(whole: House, method: str) -> None:
    for path in ("/", "/api/v1/presses"):
        assert whole.send("administrator", method, path, headers={"X-Ringtell": "1"}).status_code == 405


def test_no_other_site_may_read_what_is_answered(whole: House) -> None:
    other = {"Origin": "https://elsewhere.example", "Access-Control-Request-Method": "GET"}
    for method in ("GET", "OPTIONS"):
        answer = whole.send("administrator", method, "/api/v1/presses", headers=other)
        assert not [name for name in answer.headers if name.startswith("access-control-")]


def test_what_nobody_foresaw_tells_its_reason_to_the_log_alone(
    whole: House, caplog: pytest.LogCaptureFixture
) -> None:
    def fails() -> None:
        raise RuntimeError("table people in /srv/plant.db")

    app: FastAPI = whole.app
    app.router.routes.insert(0, Route("/api/v1/fails", lambda request: fails()))
    try:
        with caplog.at_level(logging.ERROR, "ringtell"):
            answer = whole.send("administrator", "GET", "/api/v1/fails")
    finally:
        del app.router.routes[0]
    assert answer.status_code == 500
    assert answer.json()["title"] == "Something failed"
    assert "plant.db" not in answer.text
    assert "RuntimeError" not in answer.text
    assert answer.headers["x-request-id"]
    assert "table people in /srv/plant.db" in caplog.text
    assert app.debug is False


# --- the table of requirements ------------------------------------------------------------------


def requirements() -> list[tuple[str, str, str]]:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    _, _, table = text.partition("| no. | what | test, or open |")
    rows = [line.strip("| ").split(" | ") for line in table.splitlines()[2:] if line.startswith("|")]
    return [(row[0].strip(), row[1].strip(), " | ".join(row[2:]).strip()) for row in rows]


def test_every_requirement_has_a_test_or_is_open() -> None:
    rows = requirements()
    assert len(rows) > 100
    for number, what, proof in rows:
        assert what, number
        assert "`tests/" in proof or proof.startswith(("open", "by design")), f"{number}: {proof}"


@pytest.mark.parametrize("proof", sorted({proof for _, _, proof in requirements()}))
def test_the_tests_it_names_exist(proof: str) -> None:
    for file, name in re.findall(r"`(tests/[\w/.]+?\.py)(?:::(\w+))?`", proof):
        source = (ROOT / file).read_text(encoding="utf-8")
        assert not name or re.search(rf"def {name}\w*\(", source), f"{file} has no {name}"
