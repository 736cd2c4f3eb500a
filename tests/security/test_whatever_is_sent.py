"""Requests made up from the OpenAPI document, sent by everybody: nothing fails, nothing leaks.

Each operation gets a few requests with invented parameters and bodies, half of them about things that
exist, and they are sent by every role, every kind of key, somebody of one area, and nobody, in turn.
`pytest -m campaign tests/security` sends many more.
"""

import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import anyio
import httpx
import pytest
import schemathesis
import sqlalchemy as sa
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis.core.result import Ok

from server.store.engine import upgrade
from server.store.tables import audit, presses
from tests.security.callers import House, Who, house
from tests.security.route_table import ENDLESS, ENDS_ITSELF, TABLE
from tests.security.test_route_table import BY_BODY, OF_THE_PLANT, may

#: Requests an operation: in the usual run, and in a campaign.
FEW, MANY = 2, 40
#: What exists, by the name of a part of an address.
KNOWN = {
    "press": ("P01", "P02"), "alarm_id": ("P01-1", "P02-1"), "mold": ("M-1",), "number": (1,),
    "handover_no": (1,), "route_no": (1,), "name": ("viewer",), "kind": ("leak", "short-shot"),
}  # fmt: skip
#: Fields bodies have here and there; what stands in them is invented.
FIELDS = (
    "press", "name", "kind", "at", "note", "minutes", "mold", "material", "weights_g", "from", "to", "shots",
    "step", "ticked", "why", "hours", "until", "outlet", "recipient", "options", "columns", "signal", "value",
    "setting", "lot", "limits", "demand", "area", "scopes", "reason", "owner", "about", "verdict", "data",
    "fitted_at", "shots_before", "style", "subgroups", "size", "counter", "at_ms", "units", "rules",
)  # fmt: skip
_SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=12),
    st.sampled_from(("P01", "P02", "M-1", "2026-04-01T05:00:00Z", "\0", "=1+1", 10**30, -1, 0, 1.5, "leak")),
)  # fmt: skip
_VALUES = st.one_of(_SCALARS, st.lists(_SCALARS, max_size=4), st.dictionaries(st.text(max_size=5), _SCALARS))
_BODIES = st.one_of(
    st.none(), _VALUES, st.dictionaries(st.sampled_from(FIELDS), _VALUES, min_size=1, max_size=5)
)


@dataclasses.dataclass(frozen=True)
class Asked:
    """A request as it is sent, and which press its address names."""

    entry: str
    path: str
    query: dict[str, Any]
    body: Any
    press: str | None

    @property
    def text(self) -> str:
        return f"{self.path} {self.query} {json.dumps(self.body)}"


@pytest.fixture
def whole(tmp_path: Path) -> Iterator[House]:
    url = f"sqlite:///{tmp_path / 'plant.db'}"
    upgrade(url)
    with house(url) as found:
        yield found


def operations(whole: House) -> list[Any]:
    found = list(schemathesis.openapi.from_dict(whole.app.openapi()).get_all_operations())
    read = [one.ok() for one in found if isinstance(one, Ok)]
    assert len(read) == len(found), "the document holds an operation that cannot be read"
    return read


def entry_of(operation: Any) -> str:
    return f"{operation.method.upper()} {operation.path}"


def requests_to(operation: Any, *, many: int) -> list[Asked]:
    """So many different requests to one operation, the same ones every time."""
    made: list[Asked] = []

    @seed(20_260_401)
    @settings(
        max_examples=many, database=None, deadline=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(operation.as_strategy(), _BODIES, st.integers(0, 3))
    def make(case: Any, body: Any, which: int) -> None:
        parts = dict(case.path_parameters or {})
        for name in parts:
            if name in KNOWN and which:
                parts[name] = KNOWN[name][which % len(KNOWN[name])]
        path = operation.path
        for name, value in parts.items():
            path = path.replace("{" + name + "}", quote(str(value), safe=""))
        press = str(parts.get("press", parts.get("alarm_id", ""))).removesuffix("-1")
        query = {str(name): value for name, value in (case.query or {}).items()}
        sent = None if operation.method == "get" else body
        made.append(Asked(entry_of(operation), path, query, sent, press or None))

    make()
    return made


def fault_of(who: Who, asked: Asked, answer: httpx.Response) -> str | None:
    """What is wrong with an answer, in a sentence."""
    told = f"{who.name} · {asked.entry} · {asked.text[:200]}: {answer.status_code} {answer.text[:160]}"
    # Nothing evaluates here, and `/readyz` says so; a busy server says when to come back.
    if answer.status_code >= 500 and asked.entry != "GET /readyz" and "retry-after" not in answer.headers:
        return f"failed: {told}"
    if answer.status_code >= 400:
        return None
    press = None if asked.entry in OF_THE_PLANT else asked.press
    known = press if press in KNOWN["press"] else None
    if not (who.press and asked.entry in BY_BODY) and not may(who, asked.entry, press=known):
        return f"should not be let in: {told}"
    if who.press == "P02" and "P01" in answer.text and "P01" not in asked.text:
        return f"speaks of another press: {told}"
    return None


def send_all(whole: House, requests: list[Asked]) -> list[str]:
    async def all_of_it() -> list[str]:
        faults = []
        async with whole.client() as client:
            for place, asked in enumerate(requests):
                # In turn: of two requests to an operation everybody sends one.
                for who in list(whole.callers.values())[place % 2 :: 2]:
                    answer = await client.request(
                        asked.entry.split(" ", 1)[0], asked.path, params=asked.query, json=asked.body,
                        headers=who.headers,
                    )  # fmt: skip
                    fault = fault_of(who, asked, answer)
                    faults += [fault] if fault else []
        return faults

    return anyio.run(all_of_it)


def acts_elsewhere(whole: House) -> list[str]:
    """Acts on the press of the other area by whoever may only act on P02."""
    strangers = [who for who in whole.callers.values() if who.areas or who.press]
    names = {who.name.replace(" ", "-") for who in strangers if who.areas}
    with whole.objects.store.read() as connection:
        rows = connection.execute(
            sa.select(audit.c.who, audit.c.action)
            .join(presses, presses.c.press_id == audit.c.press_id)
            .where(presses.c.press == "P01")
        ).all()
    return [f"{row.who} {row.action}" for row in rows if row.who in names]


def check(whole: House, *, many: int) -> None:
    skipped = ENDLESS | ENDS_ITSELF
    asked = [
        one
        for operation in operations(whole)
        if entry_of(operation) not in skipped
        for one in requests_to(operation, many=many)
    ]
    faults = send_all(whole, asked) + acts_elsewhere(whole)
    assert not faults, f"{len(faults)} of {len(asked)} requests:\n" + "\n".join(faults[:20])


def test_the_document_speaks_of_every_route_of_the_api(whole: House) -> None:
    described = {entry_of(one) for one in operations(whole)}
    api = {entry for entry in TABLE if entry.split(" ", 1)[1].startswith("/api/")}
    # A piece of a page, for the page that asks for it.
    assert api - described == {"GET /api/v1/presses/{press}/figure"}


def test_whatever_is_sent_nothing_fails_and_nothing_leaks(whole: House) -> None:
    check(whole, many=FEW)


@pytest.mark.campaign
def test_however_much_is_sent_nothing_fails_and_nothing_leaks(whole: House) -> None:
    check(whole, many=MANY)


def test_a_leak_would_be_noticed(whole: House) -> None:
    asked = Asked("GET /api/v1/presses", "/api/v1/presses", {}, None, None)
    leaking = httpx.Response(200, text='{"press": "P01"}')
    own = Asked("GET /api/v1/presses/{press}", "/api/v1/presses/P02", {}, None, "P02")
    assert "another press" in (fault_of(whole.callers["key read of P02"], own, leaking) or "")
    assert "let in" in (fault_of(whole.callers["key read of P02"], asked, leaking) or "")
    assert "let in" in (fault_of(whole.callers["nobody"], asked, leaking) or "")
    assert "failed" in (fault_of(whole.callers["viewer"], asked, httpx.Response(500)) or "")
    assert fault_of(whole.callers["viewer"], asked, leaking) is None
