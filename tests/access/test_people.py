"""People over HTTP: added, changed, limited to areas, shut out; their sessions listed, idle and ended."""

import pytest

from server.access.passwords import guessable, hash_new_password, hash_new_pin
from server.access.throttle import NAME_TRIES, NAME_TRIES_ANYWHERE, Throttle
from server.access.tokens import hash_password, is_outdated
from server.errors import InvalidError, ThrottledError
from server.routes.cookies import SESSION
from server.store.audit import PLANT, audit_of
from server.store.people import change_person, person_by_name
from server.store.tables import sessions
from tests.access.guessing import guess
from tests.access.plant import MORNING, PASSWORD, Caller, Plant, plant, with_password

MINUTE = 60_000


def actions(here: Plant) -> list[str]:
    with here.objects.store.read() as connection:
        return [row.action for row in audit_of(connection, PLANT)]


def first_login(here: Plant, name: str, one_time: str) -> Caller:
    call = here.caller(**{"X-Ringtell": "page"})
    assert call("POST", "/api/v1/login", {"name": name, "password": one_time}).json()["must_change"]
    own = {"old_password": one_time, "new_password": "a lamp above the door"}
    assert call("POST", "/api/v1/password", own).status_code == 200
    return call


def test_an_administrator_adds_changes_and_shuts_out(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        root = here.person("root", "administrator")
        body = {"name": "lena", "role": "line_lead", "full_name": "Lena Ott", "areas": ["Hall 2"]}
        added = root("POST", "/api/v1/people", body)
        assert added.status_code == 201
        lena = first_login(here, "lena", added.json()["one_time_password"])
        assert lena("GET", "/api/v1/me").json()["areas"] == ["Hall 2"]
        changed = root("PUT", "/api/v1/people/lena", {"role": "viewer", "areas": []})
        assert (changed.json()["role"], changed.json()["areas"]) == ("viewer", [])
        assert lena("GET", "/api/v1/me").json()["role"] == "viewer"
        assert root("PUT", "/api/v1/people/lena", {"active": False}).status_code == 200
        assert lena("GET", "/api/v1/me").status_code == 401
        listed = root("GET", "/api/v1/people").json()["items"]
        assert {one["name"]: one["active"] for one in listed} == {"lena": False, "root": True}
        assert not any("hash" in field or "argon2" in str(one) for one in listed for field in one)
        assert actions(here)[:3] == ["person_shut_out", "person_changed", "password_changed"]
        with here.objects.store.read() as connection:
            change = next(row for row in audit_of(connection, PLANT) if row.action == "person_changed")
        assert change.before == {"role": "line_lead", "areas": ["Hall 2"]}
        assert change.after == {"role": "viewer", "areas": []}


def test_a_new_one_time_password_ends_every_session(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        root, vera = here.person("root", "administrator"), here.person("vera", "viewer")
        answer = root("POST", "/api/v1/people/vera/reset", {})
        assert vera("GET", "/api/v1/me").status_code == 401
        first_login(here, "vera", answer.json()["one_time_password"])


@pytest.mark.parametrize("change", [{"role": "viewer"}, {"active": False}])
def test_the_last_administrator_stays(sqlite_url: str, change: dict[str, object]) -> None:
    with plant(sqlite_url) as here:
        root = here.person("root", "administrator")
        refused = root("PUT", "/api/v1/people/root", change)
        assert (refused.status_code, refused.json()["code"]) == (409, "conflict")
        here.person("second", "administrator")
        assert root("PUT", "/api/v1/people/root", change).status_code == 200


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"name": "a b", "role": "viewer"}, "name"),
        ({"name": "x", "role": "king"}, "role"),
        ({"name": "x", "role": "viewer", "areas": "Hall 2"}, "areas"),
        ({"name": "x", "role": "viewer", "areas": [""]}, "areas"),
        ({"name": "x", "role": "viewer", "mail": "x" * 200}, "mail"),
        ({"name": "x", "role": "viewer", "password": "given by mail"}, "password"),
        ({"name": "x"}, "role"),
    ],
)
def test_what_is_wrong_with_a_new_person_is_said(
    sqlite_url: str, body: dict[str, object], field: str
) -> None:
    with plant(sqlite_url) as here:
        refused = here.person("root", "administrator")("POST", "/api/v1/people", body)
        assert (refused.status_code, refused.json()["field"]) == (422, field)


# --- areas --------------------------------------------------------------------------------------


def test_a_line_lead_of_one_area_acts_there_and_sees_all(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        engineer, root = here.person("eda", "plant_engineer"), here.person("root", "administrator")
        for press, area in (("P01", "Hall 1"), ("P02", "Hall 2")):
            assert engineer("PUT", f"/api/v1/presses/{press}", {"area": area}).status_code == 201
        lena = here.person("lena", "line_lead")
        assert root("PUT", "/api/v1/people/lena", {"areas": ["Hall 2"]}).status_code == 200
        event = {"kind": "note", "note": "looked at it"}
        assert lena("POST", "/api/v1/presses/P02/events", event).status_code == 201
        refused = lena("POST", "/api/v1/presses/P01/events", event)
        assert (refused.status_code, "Hall 2 only" in refused.json()["detail"]) == (403, True)
        assert lena("POST", "/api/v1/presses/nowhere/events", event).status_code == 403
        assert lena("GET", "/api/v1/presses/P01/baselines").status_code == 200
        # A press that moves takes the permission along, in the same session.
        engineer("PUT", "/api/v1/presses/P01", {"area": "Hall 2"})
        assert lena("POST", "/api/v1/presses/P01/events", event).status_code == 201


# --- sessions -----------------------------------------------------------------------------------


def test_sessions_are_listed_and_ended_one_by_one_and_all(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        here_one = here.person("vera", "viewer")
        others = [here.caller(**{"X-Ringtell": "page"}) for _ in range(3)]
        for call in others:
            call("POST", "/api/v1/login", {"name": "vera", "password": PASSWORD})
        listed = here_one("GET", "/api/v1/sessions").json()["items"]
        assert [one["is_this_one"] for one in listed].count(True) == 1
        assert len(listed) == 4
        mine = others[0]("GET", "/api/v1/sessions").json()["items"]
        first = next(one["id"] for one in mine if one["is_this_one"])
        assert here_one("DELETE", f"/api/v1/sessions/{first}").status_code == 200
        assert others[0]("GET", "/api/v1/me").status_code == 401
        assert here_one("DELETE", f"/api/v1/sessions/{first}").status_code == 404
        assert here_one("DELETE", "/api/v1/sessions").json() == {"ended": 2}
        assert here_one("GET", "/api/v1/me").status_code == 200
        assert others[1]("GET", "/api/v1/me").status_code == 401


def test_nobody_ends_the_session_of_another_but_administrators(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        vera, olek = here.person("vera", "viewer"), here.person("olek", "plant_engineer")
        (of_vera,) = vera("GET", "/api/v1/sessions").json()["items"]
        assert olek("DELETE", f"/api/v1/sessions/{of_vera['id']}").status_code == 404
        assert olek("DELETE", "/api/v1/people/vera/sessions").status_code == 403
        assert olek("GET", "/api/v1/people/vera/sessions").status_code == 403
        root = here.person("root", "administrator")
        (seen,) = root("GET", "/api/v1/people/vera/sessions").json()["items"]
        assert seen["id"] == of_vera["id"]
        assert root("DELETE", f"/api/v1/people/vera/sessions/{seen['id']}").status_code == 200
        assert vera("GET", "/api/v1/me").status_code == 401
        assert root("DELETE", "/api/v1/people/olek/sessions").json() == {"ended": 1}


def test_a_session_ends_when_nobody_is_there(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda, vera = here.person("eda", "plant_engineer"), here.person("vera", "viewer")
        for _ in range(3):
            here.objects.clock += 100 * MINUTE
            assert eda("GET", "/api/v1/me").status_code == 200
        here.objects.clock += 121 * MINUTE
        assert eda("GET", "/api/v1/me").status_code == 401
        # Who can only look may hang on a wall.
        assert vera("GET", "/api/v1/me").status_code == 200


def test_a_page_that_keeps_itself_current_is_nobody(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        for _ in range(2):
            here.objects.clock += 61 * MINUTE
            answer = eda("GET", "/api/v1/alarms", headers={"X-Fragment": "1"})
        assert answer.status_code == 401


def test_use_is_written_down_now_and_then_not_every_time(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")

        def seen() -> int:
            with here.objects.store.read() as connection:
                return int(connection.execute(sessions.select()).one().seen_ms)

        here.objects.clock += 30_000
        eda("GET", "/api/v1/me")
        assert seen() == MORNING
        here.objects.clock += 31_000
        eda("GET", "/api/v1/me")
        assert seen() == MORNING + 61_000


def test_a_login_gives_a_fresh_token_and_ends_the_one_before(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("vera", "viewer")
        former = call.cookies[SESSION]
        assert call("POST", "/api/v1/login", {"name": "vera", "password": PASSWORD}).status_code == 200
        assert call.cookies[SESSION] != former
        old = here.caller()
        old.cookies = {SESSION: former}
        assert old("GET", "/api/v1/me").status_code == 401
        # A token somebody planted is never taken over.
        planted = here.caller(**{"X-Ringtell": "page"})
        planted.cookies = {SESSION: "known-to-another"}
        planted("POST", "/api/v1/login", {"name": "vera", "password": PASSWORD})
        assert planted.cookies[SESSION] != "known-to-another"


def test_under_tls_the_cookie_is_of_this_host_alone(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        call = here.caller(**{"X-Ringtell": "page"})
        body = {"name": "vera", "password": PASSWORD}
        cookie = call("POST", "https://127.0.0.1:8000/api/v1/login", body).headers["set-cookie"]
        assert cookie.startswith("__Host-ringtell_session=")
        for part in ("Path=/", "Secure", "HttpOnly", "SameSite=lax"):
            assert part in cookie
        assert "domain" not in cookie.lower()
        assert call("GET", "https://127.0.0.1:8000/api/v1/me").status_code == 200
        # A cookie set without TLS, by whoever sits in between, is not taken over TLS.
        plain = here.caller()
        plain.cookies = {SESSION: call.cookies["__Host-ringtell_session"]}
        assert plain("GET", "https://127.0.0.1:8000/api/v1/me").status_code == 401


def test_a_request_the_browser_says_is_of_another_site_is_refused(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("eda", "plant_engineer")
        body = {"screw_diameter_mm": 45}
        for site in ("cross-site", "same-site"):
            answer = call("PUT", "/api/v1/presses/P07", body, headers={"Sec-Fetch-Site": site})
            assert answer.status_code == 403
        own = call("PUT", "/api/v1/presses/P07", body, headers={"Sec-Fetch-Site": "same-origin"})
        assert own.status_code == 201


# --- passwords ----------------------------------------------------------------------------------


def test_an_outdated_hash_is_made_anew_at_the_next_login(sqlite_url: str) -> None:
    from argon2 import PasswordHasher

    weak = PasswordHasher(time_cost=1, memory_cost=8 * 1024, parallelism=1).hash(PASSWORD)
    assert is_outdated(weak)
    assert not is_outdated(hash_password(PASSWORD))
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")

        def kept() -> str:
            with here.objects.store.read() as connection:
                person = person_by_name(connection, "vera")
            assert person is not None
            return person.password_hash

        here.objects.store.write(lambda c: change_person(c, 1, password_hash=weak))
        body = {"name": "vera", "password": PASSWORD}
        assert here.caller()("POST", "/api/v1/login", body).status_code == 200
        assert kept() != weak
        assert not is_outdated(kept())
        assert here.caller()("POST", "/api/v1/login", body).status_code == 200


@pytest.mark.parametrize(
    "password",
    [
        "Password12345678",
        "p@ssw0rdp@ssw0rd",
        "passwordsummer2026",
        "qwertyuiop123456",
        "123456789012345678",
        "abcabcabcabcabcabc",
        "ringtellringtell1",
        "InjectionMoulding",
        "administrator2026!",
    ],
)
def test_what_is_guessed_first_is_refused(password: str) -> None:
    assert guessable(password)
    with pytest.raises(InvalidError, match="guessed first"):
        hash_new_password("vera", old="", new=password)


@pytest.mark.parametrize(
    "password",
    [
        "correct horse 12",
        "only ever three moulds",
        "ein Fass ohne Boden",
        "zebra-quilt-9-lantern",
        "ЯблокоПадаетВниз",
    ],
)
def test_a_sentence_needs_no_sign_and_no_digit(password: str) -> None:
    assert hash_new_password("vera", old="", new=password).startswith("$argon2id$")


def test_words_of_the_place_and_of_the_person_do_not_count() -> None:
    with pytest.raises(InvalidError, match="guessed first"):
        hash_new_password("vera", old="", new="Okoye Okoye Okoye 1", context=("Ngozi Okoye", "Lindenwerk"))
    with pytest.raises(InvalidError, match="guessed first"):
        hash_new_password("vera", old="", new="lindenwerk2026-17", context=("Lindenwerk Nord",))


def test_length_is_asked_for_and_a_long_sentence_taken() -> None:
    with pytest.raises(InvalidError, match="14 characters; 15 to 200"):
        hash_new_password("vera", old="", new="correct horse!")
    assert hash_new_password("vera", old="", new="seven green boats " * 11)


@pytest.mark.parametrize(
    "pin", ["12345", "123456", "654321", "111111", "121212", "abcdef", "135791357913x", "246802"]
)
def test_a_short_number_that_is_tried_first_is_refused(pin: str) -> None:
    with pytest.raises(InvalidError, match="pin"):
        hash_new_pin(pin)


def test_a_stranger_cannot_easily_shut_somebody_out() -> None:
    throttle = Throttle()
    for _ in range(NAME_TRIES):
        guess(throttle, "vera", "10.0.0.1")
    with pytest.raises(ThrottledError):
        guess(throttle, "vera", "10.0.0.1")
    guess(throttle, "vera", "10.0.0.2")
    for number in range(NAME_TRIES_ANYWHERE - NAME_TRIES - 1):
        guess(throttle, "vera", f"10.1.0.{number}")
    with pytest.raises(ThrottledError):
        guess(throttle, "vera", "10.0.0.2")
