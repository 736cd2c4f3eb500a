"""Nobody is offered what would be refused: every button and form of every page, for every role and area."""

import dataclasses
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import unquote

import pytest

from server.access.actors import Actor, permissions_of
from server.contract import ROLES
from server.store.database import Store
from tests.browser.test_every_page import _work, page_paths
from tests.pages.plant import make_empty, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import Visitor
from tests.security.route_table import TABLE

_TAG = re.compile(r"<(?:form|button|input|a)\b[^>]*>")
_ATTRIBUTE = re.compile(r'\s([\w-]+)="([^"]*)"')
#: What opens without any permission: oneself, and the way in and out.
_ANYBODY = {"public", "known", "signed_in", "tablet"}
#: Where scripts of their own send to, by the attribute that wakes them.
_SCRIPTED = {
    "data-import": ("POST", "/api/v1/imports"),
    "data-undo": ("POST", "/api/v1/imports/{}/undo"),
    "data-answer": ("POST", "/api/v1/alarms/{}/acknowledge"),
}


@dataclasses.dataclass(frozen=True)
class Offer:
    """Something a page lets somebody do, and the press it is done to, where it is one."""

    path: str
    method: str
    address: str

    @property
    def needs(self) -> str:
        asked = self.address.partition("?")[0]
        for entry, needs in TABLE.items():
            method, _, template = entry.partition(" ")
            pattern = re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(template))
            if method == self.method and re.fullmatch(pattern, asked):
                return needs
        raise AssertionError(f"{self.path} offers {self.method} {self.address}, which is no address")

    @property
    def press(self) -> str:
        found = re.match(r"/api/v1/presses/([^/{}]+)", self.address) or re.match(
            r"/api/v1/alarms/(.+)-\d+/", self.address
        )
        return unquote(found[1]) if found else ""


def offers(path: str, page: str) -> Iterator[Offer]:
    for tag in _TAG.findall(page):
        has = {name: unescape(value) for name, value in _ATTRIBUTE.findall(tag)}
        words = set(re.findall(r"\s(data-[\w-]+)", tag))
        if "disabled" in tag.rstrip(">").split():
            continue
        for name, method in (("data-post", "POST"), ("data-action", "POST"), ("data-tick", "PUT")):
            if name in has:
                yield Offer(path, has.get("data-method", method), has[name])
        for name, (method, address) in _SCRIPTED.items():
            if name in words:
                yield Offer(path, method, address.format(has.get(name, "")))


def refused(store: Store, actor: Actor, paths: list[str]) -> set[str]:
    """Everything the pages offer this person in vain."""
    visitor, may = Visitor(page_server(store, actor=actor)), permissions_of(actor)
    found = set()
    for path in paths:
        for offer in offers(path, visitor.get(path).text):
            elsewhere = actor.presses is not None and offer.press and offer.press not in actor.presses
            if offer.needs not in _ANYBODY and (offer.needs not in may or elsewhere):
                found.add(f"{offer.path}: {offer.method} {offer.address}")
    return found


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    made = make_plant(tmp_path_factory.mktemp("offers"))
    made.write(_work)
    yield made
    made.close()


@pytest.fixture(scope="module")
def paths(store: Store) -> list[str]:
    return page_paths(page_server(store))


@pytest.mark.parametrize("role", ROLES)
def test_a_page_offers_only_what_the_role_may_do(store: Store, paths: list[str], role: str) -> None:
    assert refused(store, Actor("vera", role, "person"), paths) == set()


def test_a_page_offers_nothing_that_only_a_password_opens_to_a_short_number(
    store: Store, paths: list[str]
) -> None:
    assert refused(store, Actor("vera", "administrator", "person", by_pin=True), paths) == set()


def test_a_person_of_one_hall_is_offered_nothing_on_presses_of_another(
    store: Store, paths: list[str]
) -> None:
    hall = Actor(
        "ines", "plant_engineer", "person", areas=("Hall A",), presses=frozenset({"P02", "P03", "P05"})
    )
    assert refused(store, hall, paths) == set()


@pytest.mark.parametrize("role", ROLES)
def test_an_empty_plant_offers_only_what_the_role_may_do(tmp_path: Path, role: str) -> None:
    paths = ["/", "/import", "/molds", "/studies", "/valves", "/settings", "/access", "/alarms", "/cases"]
    assert refused(make_empty(tmp_path), Actor("vera", role, "person"), paths) == set()


def test_an_offer_in_vain_is_noticed() -> None:
    page = '<button data-action="/api/v1/presses/P07/accept" data-method="POST"><input data-answer="P07-1">'
    assert [(one.needs, one.press) for one in offers("/", page)] == [
        ("accept", "P07"),
        ("acknowledge", "P07"),
    ]


@pytest.mark.parametrize(
    ("path", "role"),
    [
        ("/import", "plant engineer"), ("/presses/P07/baselines", "plant engineer"),
        ("/settings", "plant engineer"), ("/molds/M-113", "quality lead"), ("/studies", "line lead"),
        ("/valves", "line lead"), ("/presses/P07", "line lead"), ("/alarms", "line lead"),
        ("/cases", "line lead"), ("/trials", "line lead"),
    ],
)  # fmt: skip
def test_whoever_looks_on_reads_which_role_it_takes(store: Store, path: str, role: str) -> None:
    said = f"You look on here. To change something takes the role {role}, or one above it."
    assert said in Visitor(page_server(store, actor=Actor("vera", "viewer", "person"))).text(path)
    assert "You look on here" not in Visitor(page_server(store)).text(path)


def test_outside_ones_areas_it_is_said_that_the_press_lies_there(store: Store) -> None:
    hall = Actor("ines", "plant_engineer", "person", areas=("Hall A",), presses=frozenset({"P02"}))
    visitor = Visitor(page_server(store, actor=hall))
    assert "You look on here: this press lies outside your areas." in visitor.text("/presses/P07")
    assert "You look on here" not in visitor.text("/presses/P02")
