"""Who may come in, who may do what, and what other sites cannot do."""

import json

import pytest

from server.access.actors import ROLE_PERMISSIONS, SCOPE_PERMISSIONS, Actor, need, permissions_of
from server.access.keys import hold_key, revoke_key, still_holds
from server.access.people import add_person, reset_password, set_active
from server.access.throttle import ADDRESS_TRIES, NAME_TRIES, WINDOW_MS, Throttle
from server.contract import ROLES, SCOPES
from server.errors import ForbiddenError, ThrottledError, UnauthorizedError
from server.store.device_keys import all_keys
from server.store.people import person_by_name
from server.store.tables import people, sessions
from tests.access.guessing import guess
from tests.access.plant import MORNING, PASSWORD, plant, with_password

PRESS = {"screw_diameter_mm": 45}


def test_every_role_and_scope_has_its_permissions() -> None:
    assert set(ROLE_PERMISSIONS) == set(ROLES)
    assert set(SCOPE_PERMISSIONS) == set(SCOPES)
    known = ROLE_PERMISSIONS["administrator"]
    assert all(allowed <= known for allowed in (*ROLE_PERMISSIONS.values(), *SCOPE_PERMISSIONS.values()))
    assert not any("people" in allowed for allowed in SCOPE_PERMISSIONS.values())


@pytest.mark.parametrize(
    ("role", "permission", "allowed"),
    [
        ("viewer", "read", True),
        ("viewer", "acknowledge", False),
        ("line_lead", "acknowledge", True),
        ("line_lead", "configure", False),
        ("quality_lead", "mold", True),
        ("quality_lead", "baseline", False),
        ("plant_engineer", "settings", True),
        ("plant_engineer", "people", False),
        ("administrator", "people", True),
    ],
)
def test_roles_decide(role: str, permission: str, allowed: bool) -> None:
    assert (permission in permissions_of(Actor("x", role, "person"))) == allowed


def test_a_key_for_one_press_reaches_no_other_and_not_the_plant() -> None:
    actor = Actor("key", "", "key", press="P07", scopes=frozenset({"act"}))
    need(actor, "record", press="P07")
    with pytest.raises(ForbiddenError, match="P08"):
        need(actor, "record", press="P08")
    with pytest.raises(ForbiddenError, match="whole plant"):
        need(actor, "settings")
    with pytest.raises(ForbiddenError, match="scope of read"):
        need(actor, "read", press="P07")


def test_nobody_is_told_to_log_in() -> None:
    with pytest.raises(UnauthorizedError, match="Bearer"):
        need(Actor("", "", "nobody"), "read")


# --- over HTTP ------------------------------------------------------------------------------------


def test_without_login_nothing_answers_and_pages_lead_to_the_login(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.caller()
        answer = call("GET", "/api/v1/alarms")
        assert (answer.status_code, answer.json()["code"]) == (401, "unauthorized")
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.headers["www-authenticate"].startswith("Bearer")
        page = call("GET", "/alarms?state=all", headers={"Accept": "text/html"})
        assert (page.status_code, page.headers["location"]) == (303, "/login?next=/alarms%3Fstate%3Dall")
        # Even an address that does not exist says nothing to strangers.
        assert call("GET", "/api/v1/nothing").status_code == 401


def test_roles_hold_over_http(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        viewer, engineer = here.person("vera", "viewer"), here.person("eda", "plant_engineer")
        refused = viewer("PUT", "/api/v1/presses/P07", PRESS)
        assert (refused.status_code, refused.json()["code"]) == (403, "forbidden")
        assert "plant_engineer" in refused.json()["detail"]
        assert engineer("PUT", "/api/v1/presses/P07", PRESS).status_code == 201
        assert viewer("GET", "/api/v1/presses/P07/baselines").status_code == 200
        assert viewer("GET", "/api/v1/me").json()["permissions"] == ["read"]


def test_keys_hold_their_scope_and_press(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        act = here.key(press="P07", scopes=("act",))
        assert act("PUT", "/api/v1/presses/P07", PRESS).status_code == 201
        assert act("PUT", "/api/v1/presses/P08", PRESS).status_code == 403
        assert act("GET", "/api/v1/presses/P07/baselines").status_code == 403
        assert act("PUT", "/api/v1/settings", {"prevalence": 0.1}).status_code == 403
        read = here.key(scopes=("read",))
        assert read("GET", "/api/v1/alarms").status_code == 200
        assert read("PUT", "/api/v1/presses/P07", PRESS).status_code == 403
        assert here.caller(Authorization="Bearer rtk_wrong")("GET", "/api/v1/alarms").status_code == 401
        assert here.caller(Authorization="Basic eDp5")("GET", "/api/v1/alarms").status_code == 401


def test_a_revoked_key_ends_at_once(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        read = here.key(scopes=("read",))
        assert read("GET", "/api/v1/alarms").status_code == 200
        token = read.headers["Authorization"].split()[1]
        with here.objects.store.read() as connection:
            held = hold_key(connection, token, now_ms=MORNING)
            (key,) = all_keys(connection)
            assert held is not None
            actor = held.actor
            assert still_holds(connection, actor, now_ms=MORNING)
        here.objects.store.write(lambda c: revoke_key(c, key.key_id, by="test", now_ms=MORNING))
        assert read("GET", "/api/v1/alarms").status_code == 401
        with here.objects.store.read() as connection:
            assert not still_holds(connection, actor, now_ms=MORNING)


def test_a_cookie_alone_changes_nothing(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("eda", "plant_engineer")
        call.headers.clear()
        assert call("GET", "/api/v1/alarms").status_code == 200
        assert call("PUT", "/api/v1/presses/P07", PRESS).status_code == 403
        other = {"Origin": "http://evil.example"}
        assert call("PUT", "/api/v1/presses/P07", PRESS, headers=other).status_code == 403
        both = {"Origin": "http://evil.example", "X-Ringtell": "page"}
        assert call("PUT", "/api/v1/presses/P07", PRESS, headers=both).status_code == 403
        assert call("PUT", "/api/v1/presses/P07", PRESS, headers={"Origin": "null"}).status_code == 403
        same = {"Origin": "http://127.0.0.1:8000"}
        assert call("PUT", "/api/v1/presses/P07", PRESS, headers=same).status_code == 201


def test_another_site_cannot_log_somebody_in(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        form = {"name": "vera", "password": PASSWORD, "next": "/alarms"}
        call = here.caller()
        assert call("POST", "/login", data=form, headers={"Origin": "http://evil.example"}).status_code == 403
        done = call("POST", "/login", data=form, headers={"Origin": "http://127.0.0.1:8000"})
        assert (done.status_code, done.headers["location"]) == (303, "/alarms")
        assert call("GET", "/api/v1/me").json()["name"] == "vera"


@pytest.mark.parametrize("target", ["//evil.example", "https://evil.example/", "/\\evil.example", "alarms"])
def test_the_login_leads_to_this_server_only(sqlite_url: str, target: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        form = {"name": "vera", "password": PASSWORD, "next": target}
        assert here.caller()("POST", "/login", data=form).headers["location"] == "/"


def test_the_cookie_is_kept_from_scripts_and_other_sites(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        body = {"name": "vera", "password": PASSWORD}
        plain = here.caller()("POST", "/api/v1/login", body).headers["set-cookie"]
        assert "HttpOnly" in plain
        assert "SameSite=lax" in plain
        assert "Secure" not in plain
        secure = here.caller()("POST", "https://127.0.0.1:8000/api/v1/login", body)
        assert "Secure" in secure.headers["set-cookie"]
        token = plain.split("ringtell_session=")[1].split(";")[0]
        with here.objects.store.read() as connection:
            kept = connection.execute(sessions.select()).all()
            hashes = connection.execute(people.select()).all()
        assert all(token.encode() not in bytes(row.token_hash) for row in kept)
        assert hashes[0].password_hash.startswith("$argon2id$")


def test_logging_out_ends_the_session_for_good(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("vera", "viewer")
        kept = dict(call.cookies)
        assert call("POST", "/api/v1/logout", {}).status_code == 200
        call.cookies = kept
        assert call("GET", "/api/v1/me").status_code == 401


def test_a_session_ends_with_its_time_and_with_its_person(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        vera, olek = here.person("vera", "viewer"), here.person("olek", "viewer")
        here.objects.store.write(lambda c: set_active(c, "olek", False, by="test", now_ms=MORNING))
        assert vera("GET", "/api/v1/me").status_code == 200
        assert olek("GET", "/api/v1/me").status_code == 401
        wrong = here.caller()("POST", "/api/v1/login", {"name": "olek", "password": PASSWORD})
        assert wrong.status_code == 401
        here.objects.clock += 12 * 3_600_000
        assert vera("GET", "/api/v1/me").status_code == 401


def test_a_one_time_password_opens_only_the_way_to_ones_own(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        welcome = here.objects.store.write(
            lambda c: add_person(c, "mina", "administrator", by="test", now_ms=MORNING)
        )
        call, other = here.caller(**{"X-Ringtell": "page"}), here.caller()
        body = {"name": "mina", "password": welcome.password}
        assert call("POST", "/api/v1/login", body).json()["must_change"] is True
        other("POST", "/api/v1/login", body)
        assert call("GET", "/api/v1/alarms").status_code == 403
        page = call("GET", "/alarms", headers={"Accept": "text/html"})
        assert page.headers["location"] == "/login?next=/alarms"
        for new, field in (("short", "new_password"), (welcome.password, "new_password")):
            bad = call("POST", "/api/v1/password", {"old_password": welcome.password, "new_password": new})
            assert (bad.status_code, bad.json()["field"]) == (422, field)
        wrong = call("POST", "/api/v1/password", {"old_password": "x", "new_password": PASSWORD})
        assert (wrong.status_code, wrong.json()["field"]) == (422, "old_password")
        good = call("POST", "/api/v1/password", {"old_password": welcome.password, "new_password": PASSWORD})
        assert good.status_code == 200
        assert call("GET", "/api/v1/alarms").status_code == 200
        # The other session of the same person, begun with the paper, is over.
        assert other("GET", "/api/v1/me").status_code == 401


def test_a_reset_password_ends_sessions(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.person("vera", "viewer")
        here.objects.store.write(lambda c: reset_password(c, "vera", by="test", now_ms=MORNING))
        assert call("GET", "/api/v1/me").status_code == 401
        with here.objects.store.read() as connection:
            person = person_by_name(connection, "vera")
        assert person is not None
        assert person.must_change


def test_guessing_is_slowed_and_the_answer_is_the_same_for_unknown_names(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        with_password(here.objects.store, "vera", "viewer")
        call = here.caller()
        answers = []
        for name in ("vera", "nobody"):
            wrong = [
                call("POST", "/api/v1/login", {"name": name, "password": "guess"}) for _ in range(NAME_TRIES)
            ]
            assert {answer.status_code for answer in wrong} == {401}
            answers.append(wrong[0].json())
        assert answers[0] == answers[1]
        right = {"name": "vera", "password": PASSWORD}
        slowed = call("POST", "/api/v1/login", right)
        assert slowed.status_code == 429
        assert 0 < int(slowed.headers["retry-after"]) <= WINDOW_MS // 1000
        here.objects.clock += WINDOW_MS + 1
        assert call("POST", "/api/v1/login", right).status_code == 200


def test_an_address_is_slowed_across_names() -> None:
    throttle = Throttle()
    for number in range(ADDRESS_TRIES):
        guess(throttle, f"name{number}", "10.0.0.1")
    with pytest.raises(ThrottledError):
        guess(throttle, "fresh", "10.0.0.1")
    guess(throttle, "fresh", "10.0.0.2")


# --- without login --------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost:8000", "[::1]:8000", "LOCALHOST"])
def test_without_login_this_machine_may_do_everything(sqlite_url: str, host: str) -> None:
    with plant(sqlite_url, no_login=True) as here:
        call = here.caller()
        assert call("PUT", "/api/v1/presses/P07", PRESS, host=host).status_code == 201
        assert call("GET", "/api/v1/me", host=host).json()["name"] == "no login"


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("rebound.example:8000", None),
        ("192.168.1.5:8000", None),
        ("127.0.0.1.evil.example", None),
        ("127.0.0.1:8000", "http://evil.example"),
        ("127.0.0.1:8000", "http://127.0.0.1:9000"),
        ("127.0.0.1:8000", "null"),
    ],
)
def test_without_login_no_other_name_and_no_other_site_is_answered(
    sqlite_url: str, host: str, origin: str | None
) -> None:
    with plant(sqlite_url, no_login=True) as here:
        headers = {} if origin is None else {"Origin": origin}
        answer = here.caller()("GET", "/api/v1/me", host=host, headers=headers)
        assert answer.status_code == 403
        assert json.loads(answer.text)["code"] == "forbidden"
