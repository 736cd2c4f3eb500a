"""Device keys: shown once, handed over without a gap, revoked at once, use written down now and then."""

import pytest

from server.store.audit import PLANT, audit_of
from server.store.tables import device_keys
from tests.access.plant import Caller, Plant, plant

HOUR = 3_600_000


def bearer(here: Plant, token: str) -> Caller:
    return here.caller(Authorization=f"Bearer {token}")


def test_a_key_is_shown_once_and_only_its_digest_is_kept(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        made = eda("POST", "/api/v1/keys", {"press": "P07", "scopes": ["read"], "name": "gateway 7"})
        assert made.status_code == 201
        token = made.json()["token"]
        assert bearer(here, token)("GET", "/api/v1/me").json()["press"] == "P07"
        assert token not in eda("GET", "/api/v1/keys").text
        with here.objects.store.read() as connection:
            row = connection.execute(device_keys.select()).one()
            assert token not in repr(row)
            assert len(row.token_hash) == 32
            trail = audit_of(connection, PLANT)
        assert token not in repr(trail)


def test_two_keys_hold_at_once_until_the_old_one_ends(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        old = eda("POST", "/api/v1/keys", {"scopes": ["read"]}).json()
        new = eda("POST", f"/api/v1/keys/{old['id']}/rotate", {"overlap_hours": 2}).json()
        assert (new["replaces"], new["scopes"], new["press"]) == (old["id"], ["read"], None)
        both = [bearer(here, one["token"]) for one in (old, new)]
        assert [call("GET", "/api/v1/me").status_code for call in both] == [200, 200]
        here.objects.clock += 2 * HOUR - 1
        assert [call("GET", "/api/v1/me").status_code for call in both] == [200, 200]
        here.objects.clock += 1
        assert [call("GET", "/api/v1/me").status_code for call in both] == [401, 200]


def test_a_key_has_one_successor_and_a_revoked_one_none(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        old = eda("POST", "/api/v1/keys", {"scopes": ["read"]}).json()
        path = f"/api/v1/keys/{old['id']}"
        assert eda("POST", f"{path}/rotate", {"overlap_hours": -1}).status_code == 422
        new = eda("POST", f"{path}/rotate", None).json()
        assert eda("POST", f"{path}/rotate", {}).status_code == 409
        assert eda("DELETE", f"/api/v1/keys/{new['id']}").status_code == 200
        assert bearer(here, new["token"])("GET", "/api/v1/me").status_code == 401
        assert eda("POST", f"/api/v1/keys/{new['id']}/rotate", {}).status_code == 404
        assert eda("POST", f"{path}/rotate", {}).status_code == 201
        assert eda("DELETE", "/api/v1/keys/999").status_code == 404


def test_use_of_a_key_is_written_down_now_and_then(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda = here.person("eda", "plant_engineer")
        made = eda("POST", "/api/v1/keys", {"scopes": ["read"]}).json()
        call = bearer(here, made["token"])

        def used() -> object:
            return eda("GET", "/api/v1/keys").json()["items"][0]["last_used_at"]

        assert used() is None
        call("GET", "/api/v1/me")
        first = used()
        assert first is not None
        here.objects.clock += 59_000
        call("GET", "/api/v1/me")
        assert used() == first
        here.objects.clock += 2_000
        call("GET", "/api/v1/me")
        assert used() != first


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"scopes": ["people"]}, "scopes"),
        ({"scopes": []}, "scopes"),
        ({"scopes": {"read": 1}}, "scopes"),
        ({"press": "a/b"}, "press"),
        ({"name": "x" * 100}, "name"),
        ({"token": "mine"}, "token"),
    ],
)
def test_what_is_wrong_with_a_key_is_said(sqlite_url: str, body: dict[str, object], field: str) -> None:
    with plant(sqlite_url) as here:
        refused = here.person("eda", "plant_engineer")("POST", "/api/v1/keys", body)
        assert (refused.status_code, refused.json()["field"]) == (422, field)


def test_no_key_makes_keys_and_none_reads_the_trail(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        call = here.key(scopes=("ingest", "read", "act"))
        for path in ("GET /keys", "POST /keys", "GET /audit", "GET /people", "POST /tablets"):
            method, _, rest = path.partition(" ")
            assert call(method, f"/api/v1{rest}", {}).status_code == 403, path
        assert call("GET", "/api/v1/sessions").status_code == 409
