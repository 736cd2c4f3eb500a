"""Shared tablets: enrolled, people change over by short number, locked when left, struck off at once."""

import threading
import time
from typing import Any

import pytest

from server.access.people import add_person
from server.access.tablets import PIN_TRIES, pin_tried
from server.access.throttle import WINDOW_MS
from server.routes.cookies import SESSION, TABLET
from server.store.audit import PLANT, audit_of
from server.store.database import Store
from server.store.people import person_by_name
from tests.access.plant import MORNING, PASSWORD, Caller, Plant, plant

PIN = "270915"
MINUTE = 60_000


def with_pin(here: Plant, name: str, role: str, pin: str = PIN) -> Caller:
    call = here.person(name, role)
    assert call("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": pin}).status_code == 200
    return call


def enrolled(here: Plant) -> Caller:
    tablet = here.person("eda", "plant_engineer")
    answer = tablet("POST", "/api/v1/tablets", {"name": "Hall 2 east"})
    assert answer.status_code == 201
    assert SESSION not in answer.cookies or not answer.cookies[SESSION]
    tablet.cookies = {TABLET: tablet.cookies[TABLET]}
    return tablet


def enter(tablet: Caller, name: str, pin: str = PIN) -> int:
    return tablet("POST", "/api/v1/tablet/enter", {"name": name, "pin": pin}).status_code


def test_people_change_over_with_a_short_number_each(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "lena", "line_lead")
        with_pin(here, "tom", "line_lead", "801623")
        here.person("vera", "viewer")
        tablet = enrolled(here)
        shown = tablet("GET", "/api/v1/tablet").json()
        assert (shown["name"], [one["name"] for one in shown["people"]]) == ("Hall 2 east", ["lena", "tom"])
        assert enter(tablet, "lena") == 200
        first = tablet.cookies[SESSION]
        assert tablet("GET", "/api/v1/me").json()["name"] == "lena"
        assert enter(tablet, "tom", "801623") == 200
        assert tablet("GET", "/api/v1/me").json()["name"] == "tom"
        # Nothing of the one before is left.
        tablet.cookies[SESSION] = first
        assert tablet("GET", "/api/v1/me").status_code == 401


def test_a_short_number_is_worth_nothing_without_the_tablet(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "lena", "line_lead")
        elsewhere = here.caller(**{"X-Ringtell": "page"})
        assert enter(elsewhere, "lena") == 401
        assert elsewhere("GET", "/api/v1/tablet").status_code == 401
        assert elsewhere("POST", "/api/v1/login", {"name": "lena", "password": PIN}).status_code == 401


def test_a_short_number_opens_what_the_line_does_and_no_more(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "mina", "administrator")
        tablet = enrolled(here)
        assert enter(tablet, "mina") == 200
        assert tablet("GET", "/api/v1/alarms").status_code == 200
        refused = tablet("PUT", "/api/v1/settings", {"prevalence": 0.1})
        assert (refused.status_code, "password" in refused.json()["detail"]) == (403, True)
        assert tablet("GET", "/api/v1/people").status_code == 403
        assert tablet("POST", "/api/v1/login", {"name": "mina", "password": PASSWORD}).status_code == 200
        assert tablet("GET", "/api/v1/people").status_code == 200


@pytest.mark.parametrize("by_password", [False, True])
def test_a_tablet_left_alone_is_locked(sqlite_url: str, by_password: bool) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)
        if by_password:
            tablet("POST", "/api/v1/login", {"name": "lena", "password": PASSWORD})
        else:
            enter(tablet, "lena")
        here.objects.clock += 4 * MINUTE
        assert tablet("GET", "/api/v1/me").status_code == 200
        here.objects.clock += 5 * MINUTE + 1
        assert tablet("GET", "/api/v1/me").status_code == 401


def test_the_plant_says_how_soon_a_tablet_locks(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("ed2", "plant_engineer")
        assert eda("PUT", "/api/v1/settings", {"lock_after_min": 2}).status_code == 200
        with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)
        assert tablet("GET", "/api/v1/tablet").json()["lock_after_s"] == 120
        enter(tablet, "lena")
        here.objects.clock += 2 * MINUTE
        assert tablet("GET", "/api/v1/me").status_code == 401


def test_guessing_is_slowed_and_then_the_number_is_void(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        lena = with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)
        tried = 0
        while tried < PIN_TRIES:
            status = enter(tablet, "lena", "999991")
            assert status in (401, 429)
            if status == 429:
                here.objects.clock += WINDOW_MS + 1
            else:
                tried += 1
        here.objects.clock += WINDOW_MS + 1
        assert enter(tablet, "lena") == 401
        with here.objects.store.read() as connection:
            assert "pin_void" in [row.action for row in audit_of(connection, PLANT)]
        lena("POST", "/api/v1/login", {"name": "lena", "password": PASSWORD})
        assert lena("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": PIN}).status_code == 200
        assert enter(tablet, "lena") == 200


def test_unknown_names_and_names_without_a_number_look_alike(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        here.person("vera", "viewer")
        with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)
        answers = {
            tablet("POST", "/api/v1/tablet/enter", {"name": name, "pin": "314159"}).text
            for name in ("vera", "nobody", "lena")
        }
        assert len(answers) == 1


def test_a_number_is_set_with_the_password_only_and_kept_as_argon2id(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        lena = here.person("lena", "line_lead")
        assert lena("PUT", "/api/v1/pin", {"password": "wrong", "pin": PIN}).status_code == 422
        assert lena("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": "1234"}).status_code == 422
        assert lena("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": PIN}).status_code == 200
        with here.objects.store.read() as connection:
            person = person_by_name(connection, "lena")
        assert person is not None
        assert (person.pin_hash or "").startswith("$argon2id$")
        assert PIN not in repr(person)
        assert lena("PUT", "/api/v1/pin", {"password": PASSWORD, "pin": None}).json() == {"has_pin": False}


def test_a_lost_tablet_is_struck_off_with_all_that_runs_on_it(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_pin(here, "lena", "line_lead")
        tablet = enrolled(here)
        enter(tablet, "lena")
        root = here.person("root", "administrator")
        (known,) = root("GET", "/api/v1/tablets").json()["items"]
        assert known["last_used_at"] is not None
        assert root("DELETE", f"/api/v1/tablets/{known['id']}").status_code == 200
        assert tablet("GET", "/api/v1/me").status_code == 401
        assert enter(tablet, "lena") == 401
        assert root("DELETE", f"/api/v1/tablets/{known['id']}").status_code == 404


def test_guesses_sent_at_the_same_moment_are_counted_each(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    store.write(lambda c: add_person(c, "lena", "line_lead", by="eda", now_ms=MORNING))

    def wrong(connection: Any) -> None:
        lena = person_by_name(connection, "lena")
        assert lena is not None
        pin_tried(connection, lena, right=False, now_ms=MORNING)

    other = threading.Thread(target=lambda: store.write(wrong))

    def first(connection: Any) -> None:
        wrong(connection)
        other.start()
        for _ in range(200):
            with store.read() as looking:
                waits = "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock'"
                if looking.exec_driver_sql(waits).scalar_one():
                    return
            time.sleep(0.01)
        raise AssertionError("the other guess does not wait")

    store.write(first)
    other.join(timeout=20)
    with store.read() as connection:
        lena = person_by_name(connection, "lena")
    store.close()
    assert lena is not None
    assert lena.pin_wrong == 2
