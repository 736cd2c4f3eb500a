"""Every route asked by everybody: nobody, each role, each kind of key, somebody of one area, by PIN."""

from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import anyio
import httpx
import pytest

from server.access.actors import PIN_PERMISSIONS, ROLE_PERMISSIONS, SCOPE_PERMISSIONS, Permission
from server.store.engine import upgrade
from tests.security.callers import PRESSES, House, Who, house, routes_of
from tests.security.route_table import ENDLESS, ENDS_ITSELF, OTHER_PARTS, PARTS, QUERIES, TABLE

WORDS = {"public", "signed_in", "known", "tablet"}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("security") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


def test_every_route_is_in_the_table_and_the_table_names_no_other(whole: House) -> None:
    found = {f"{method} {path}" for method, path in routes_of(whole.app)}
    assert found - set(TABLE) == set(), "enter these into tests/security/route_table.py"
    assert set(TABLE) - found == set(), "these routes are gone"


def test_the_table_speaks_of_permissions_there_are() -> None:
    assert set(TABLE.values()) <= WORDS | set(get_args(Permission))
    used = set(TABLE.values()) - WORDS
    assert used == set(get_args(Permission)), "a permission no route asks for is none"


def path_of(entry: str, *, press: str) -> str:
    path = entry.split(" ", 1)[1]
    parts = {**PARTS, **OTHER_PARTS.get(entry, {}), "press": press, "alarm_id": f"{press}-1"}
    for name, value in parts.items():
        path = path.replace("{" + name + "}", value)
    assert "{" not in path, f"tests/security/route_table.py does not say what stands for a part of {path}"
    return path


def may(who: Who, entry: str, *, press: str | None) -> bool:
    """What the table says, in one place and in other words than the server's."""
    wanted = TABLE[entry]
    if wanted == "public":
        return True
    if wanted == "tablet":
        return "ringtell_tablet" in who.headers.get("Cookie", "")
    if wanted in ("signed_in", "known"):
        return bool(who.role) or (wanted == "known" and bool(who.scopes))
    if who.scopes:
        allowed = any(wanted in SCOPE_PERMISSIONS[scope] for scope in who.scopes)
        is_page = not entry.split(" ", 1)[1].startswith("/api/")
        return allowed and (not who.press or (who.press == press and not is_page))
    permissions = ROLE_PERMISSIONS.get(who.role, frozenset())
    if "pin" in who.name:
        permissions &= PIN_PERMISSIONS
    in_area = not who.areas or wanted == "read" or (press is not None and PRESSES[press] in who.areas)
    return wanted in permissions and in_area


def about(entry: str, press: str) -> str | None:
    """The press a request is about, as far as the address says."""
    if entry in OF_THE_PLANT:
        return None
    return press if "{press}" in entry or "{alarm_id}" in entry else None


#: A key of one press is let in by its body: rows for other presses are refused, none are taken.
BY_BODY = frozenset({"POST /api/v1/shots", "POST /api/v1/studies/{kind}", "PUT /api/v1/sources/{name}"})
#: Taking a press into the plant is a matter of the plant.
OF_THE_PLANT = frozenset({"POST /api/v1/presses/{press}/accept"})
ENTRIES = sorted(set(TABLE) - ENDLESS - ENDS_ITSELF)


async def ask(client: httpx.AsyncClient, who: Who, entry: str, press: str) -> httpx.Response:
    method = entry.split(" ", 1)[0]
    body: dict[str, str] | None = None if method in ("GET", "DELETE") else {}
    return await client.request(
        method, path_of(entry, press=press), headers=who.headers, params=QUERIES.get(entry), json=body
    )


def verdict(who: Who, entry: str, press: str, answer: httpx.Response) -> str | None:
    """What is wrong with an answer, in a sentence."""
    told = f"{who.name} · {entry} · {press}: {answer.status_code} {answer.text[:120]}"
    # Nothing evaluates here, and `/readyz` says so.
    if answer.status_code >= 500 and entry != "GET /readyz":
        return f"failed: {told}"
    allowed = may(who, entry, press=about(entry, press))
    if TABLE[entry] == "signed_in" and who.scopes:
        return None if answer.status_code == 409 else f"a key is no person: {told}"
    if not allowed:
        expected = 401 if who.name == "nobody" or TABLE[entry] == "tablet" else 403
        return None if answer.status_code == expected else f"expected {expected}: {told}"
    return f"should be let in: {told}" if answer.status_code in (401, 403) else None


@pytest.mark.parametrize("name", [
    "nobody", "viewer", "line_lead", "quality_lead", "plant_engineer", "administrator",
    "line_lead of Hall 2", "administrator by pin", "key ingest", "key read", "key act",
    "key ingest of P02", "key read of P02", "key act of P02",
])  # fmt: skip
def test_everybody_is_answered_as_the_table_says(whole: House, name: str) -> None:
    async def all_of_it() -> list[str]:
        faults = []
        async with whole.client() as client:
            for entry in ENTRIES:
                for press in PRESSES if about(entry, "P01") else ("P01",):
                    who = whole.callers[name]
                    if who.press and entry in BY_BODY:
                        continue
                    answer = await ask(client, who, entry, press)
                    fault = verdict(who, entry, press, answer)
                    faults += [fault] if fault else []
        return faults

    faults = anyio.run(all_of_it)
    assert not faults, "\n".join(faults)


def test_nobody_is_let_in_where_an_answer_would_not_end(whole: House) -> None:
    for entry in ENDLESS:
        assert whole.send("nobody", *entry.split(" ", 1)).status_code == 401
        assert whole.send("key ingest", *entry.split(" ", 1)).status_code == 403
        assert whole.send("key read of P02", *entry.split(" ", 1)).status_code == 403


def test_a_key_of_one_press_brings_shots_of_no_other(whole: House) -> None:
    shot = {"counter": 1, "at": "2026-04-01T05:00:00Z", "shot_size_mm": 80.0, "cushion_mm": 6.0}
    for press, status in (("P02", 200), ("P01", 403)):
        body = {"press": press, "mold": "M-1", "shots": [shot]}
        assert whole.send("key ingest of P02", "POST", "/api/v1/shots", json=body).status_code == status
    mixed = [{**shot, "press": press, "mold": "M-1", "counter": 2} for press in ("P02", "P01")]
    assert whole.send("key ingest of P02", "POST", "/api/v1/shots", json={"shots": mixed}).status_code == 403


def test_strangers_hear_nothing_of_what_there_is(whole: House) -> None:
    for path in ("/api/v1/presses/P01", "/api/v1/presses/none", "/api/v1/no-such-thing", "/molds/M-1"):
        answer = whole.send("nobody", "GET", path)
        assert (answer.status_code, "P01" in answer.json()["detail"]) == (401, False), path
