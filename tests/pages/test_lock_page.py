"""The way in: a login, on a shared tablet the question who is there; how long to wait; people changed."""

from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from server.access.passwords import hash_new_pin
from server.access.people import need_person
from server.store.engine import upgrade
from server.store.people import change_person
from tests.security.callers import House, house


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("lock-page") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


def test_a_shared_tablet_asks_who_is_there_and_offers_those_with_a_short_number(whole: House) -> None:
    person_id = whole.objects.store.write(lambda c: need_person(c, "line_lead").person_id)
    whole.objects.store.write(lambda c: change_person(c, person_id, pin_hash=hash_new_pin("270915")))
    of_tablet = whole.callers["administrator by pin"].headers["Cookie"].partition("; ")[2]
    asked = {"headers": {"Cookie": of_tablet}, "params": {"next": "/alarms?state=all"}}
    text = whole.send("nobody", "GET", "/login", **asked).text
    assert "<h1>Who is there?</h1>" in text
    assert 'data-post="/api/v1/tablet/enter" data-then="/alarms?state=all"' in text
    assert 'type="radio" name="name"' in text
    assert text.count("data-digit=") == 11
    assert "With name and password" in text


def test_elsewhere_nobody_learns_the_names(whole: House) -> None:
    text = whole.send("nobody", "GET", "/login").text
    assert "Who is there?" not in text
    assert 'type="radio"' not in text
    assert "<h1>Sign in" in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("wrong=1", "Name or password is wrong."),
        ("wait=90", "The next one is looked at in 90 seconds"),
        ("wait=900", "The next one is looked at in 15 minutes"),
        ("wait=1", "Try again in a few seconds."),
    ],
)
def test_the_login_says_what_was_wrong_and_how_long_to_wait(whole: House, query: str, said: str) -> None:
    assert said in unescape(whole.send("nobody", "GET", f"/login?{query}").text)


def test_a_page_on_a_tablet_locks_itself_and_lets_people_change_over(whole: House) -> None:
    on_tablet = whole.send("administrator by pin", "GET", "/alarms").text
    assert 'data-lock-after="300"' in on_tablet
    assert "data-change-over" in on_tablet
    elsewhere = whole.send("administrator", "GET", "/alarms").text
    assert "data-lock-after" not in elsewhere
    assert "data-change-over" not in elsewhere


def test_the_settings_hold_when_a_tablet_locks(whole: House) -> None:
    assert 'name="lock_after_min"' in whole.send("plant_engineer", "GET", "/settings").text


def test_an_administrator_finds_everybody_with_what_may_be_changed(whole: House) -> None:
    body = {"name": "lena b", "role": "line_lead"}
    assert whole.send("administrator", "POST", "/api/v1/people", json=body).status_code == 422
    full = {"name": "lena.b", "role": "line_lead", "areas": ["Hall 2", "Hall 3"], "full_name": "Lena Birch"}
    assert whole.send("administrator", "POST", "/api/v1/people", json=full).status_code == 201
    text = whole.send("administrator", "GET", "/access").text
    part = text.split("lena.b (Lena Birch)")[1].split("</details>")[0]
    assert 'data-post="/api/v1/people/lena.b" data-method="PUT"' in part
    assert 'value="Hall 2, Hall 3" data-type="names"' in part
    assert '<option value="line_lead" selected>' in part
    assert 'value="Lena Birch"' in part
