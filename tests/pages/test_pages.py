"""Every page answers with its sentence, under the strict policy, from stored facts."""

import asyncio
import dataclasses
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import httpx
import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from server.access.actors import NOBODY, Actor
from server.routes.headers import PAGE_POLICY
from server.store import tables as t
from server.store.database import Store
from server.store.plant import put_press, put_settings
from tests.pages.plant import NOW, make_empty, make_plant
from tests.pages.server import page_server

PAGES = (
    "/", "/presses/P07", "/presses/P11", "/presses/Q%2001%20%C3%A4%2Bb", "/presses/P07/baselines",
    "/presses/P07/baselines/1", "/presses/P07/baselines/compare", "/presses/P07/setups",
    "/presses/Q%2001%20%C3%A4%2Bb/baselines", "/presses/Q%2001%20%C3%A4%2Bb/baselines/compare",
    "/presses/P07/data-quality", "/presses/P11/data-quality", "/molds",
    "/molds/M-113", "/molds/M-140", "/alarms", "/alarms?state=all", "/alarms/performance",
    "/settings/messages", "/containment", "/studies",
    "/studies?kind=drift-check&press=P07", "/valves", "/valves/P07/1",
    "/cases", "/cases?state=all", "/trials", "/import", "/sources", "/settings", "/help", "/score",
    "/reports",
    "/alarm-budget", "/find", "/find?q=p07",
    "/login",
)  # fmt: skip
EMPTY_PAGES = (
    "/", "/molds", "/alarms", "/containment", "/studies", "/valves", "/import", "/settings", "/help",
    "/find?q=p07", "/login",
)  # fmt: skip
VIEWER = Actor("vera", "viewer", "person")


@dataclasses.dataclass(frozen=True)
class Visitor:
    """Opens pages of an application without a network."""

    app: FastAPI

    def get(self, path: str, **headers: str) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
                return await client.get(path, headers={k.replace("_", "-"): v for k, v in headers.items()})

        return asyncio.run(ask())

    def text(self, path: str) -> str:
        """The page as a reader gets it: no tags, entities resolved, spaces single."""
        answer = self.get(path)
        assert answer.status_code == 200, answer.text[:300]
        return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    made = make_plant(tmp_path_factory.mktemp("pages"))
    yield made
    made.close()


@pytest.fixture(scope="module")
def visitor(store: Store) -> Visitor:
    return Visitor(page_server(store))


@pytest.fixture
def own_store(tmp_path: Path) -> Iterator[Store]:
    made = make_empty(tmp_path)
    yield made
    made.close()


@pytest.mark.parametrize("path", PAGES)
def test_a_page_opens_with_its_sentence_under_the_strict_policy(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == PAGE_POLICY
    assert answer.headers["cache-control"] == "no-store"
    assert len(re.findall(r"<h1>", answer.text)) == 1
    sentence = re.search(r"<h1>(.+?)</h1>", answer.text)
    assert sentence
    assert len(sentence[1]) > 8


@pytest.mark.parametrize("path", PAGES)
def test_a_page_holds_nothing_its_policy_forbids(visitor: Visitor, path: str) -> None:
    text = visitor.get(path).text
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"<style", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text)
    assert not re.search(r"(?:src|href)=\"(?:https?:)?//", text)


@pytest.mark.parametrize("path", PAGES)
def test_ids_of_a_page_are_single_and_labels_point_at_them(visitor: Visitor, path: str) -> None:
    text = visitor.get(path).text
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert not any(re.search(r"\s", one) for one in ids)
    for named in re.findall(r'aria-labelledby="([^"]+)"', text):
        assert named in ids


@pytest.mark.parametrize("path", EMPTY_PAGES)
def test_an_empty_plant_has_every_page(own_store: Store, path: str) -> None:
    assert Visitor(page_server(own_store)).get(path).status_code == 200


def test_an_empty_plant_says_the_way_out(own_store: Store) -> None:
    text = Visitor(page_server(own_store)).text("/")
    assert "No press sends shots yet." in text
    assert "/api/v1/shots" in text


def test_the_plant_shows_the_worst_press_first(visitor: Visitor) -> None:
    text = visitor.get("/").text
    assert re.findall(r'data-press="(P\d+)"', text)[:3] == ["P07", "P11", "P09"]
    assert "Three of 7 presses need someone. One of them now." in visitor.text("/")


def test_a_silent_press_says_for_how_long(visitor: Visitor) -> None:
    assert "Silent for 2 h." in visitor.text("/")


def test_a_press_nobody_judged_says_what_is_missing(visitor: Visitor) -> None:
    assert "Not enough data: no startup record to compare with" in visitor.text("/")
    assert "cannot be judged yet" in visitor.text("/presses/Q%2001%20%C3%A4%2Bb")


def test_the_plant_filters_by_area_mold_and_state(visitor: Visitor) -> None:
    shown = re.findall(r'data-press="([^"]+)"', visitor.get("/?area=Hall+B").text)
    assert shown == ["P07", "P11", "P09"]
    assert re.findall(r'data-press="([^"]+)"', visitor.get("/?mold=M-127").text) == ["P02"]
    assert re.findall(r'data-press="([^"]+)"', visitor.get("/?state=silent").text) == ["P09"]
    assert "No press fits" in visitor.text("/?area=Hall+B&mold=M-127")


def test_a_leaking_press_says_so_with_evidence_and_next_steps(visitor: Visitor) -> None:
    text = visitor.text("/presses/P07")
    assert "P07 Thistle is probably leaking past its valve: 93 %" in text
    assert "Swept stroke is 3.6 mm (4.8 %) above the startup record" in text
    assert "Before any data" in text
    assert text.index("Hot melt under pressure") < text.index("Look for melt at nozzle")


def test_a_caution_is_said_once_on_a_page(visitor: Visitor) -> None:
    assert visitor.text("/presses/P07").count("Purge guard closed") == 1


def test_only_pages_with_a_chart_load_its_library(visitor: Visitor) -> None:
    loading = [path for path in PAGES if "plotly" in visitor.get(path).text]
    odd = "/presses/Q%2001%20%C3%A4%2Bb"
    records = ("/presses/P07/baselines", f"{odd}/baselines")
    assert loading == ["/presses/P07", "/presses/P11", odd, *records]


def test_alarms_are_few_ranked_and_in_words(visitor: Visitor) -> None:
    text = visitor.text("/alarms")
    assert "Two things. One is yours now." in text
    assert text.index("P07 Thistle") < text.index("P11 Plover")
    assert "Cushion is 2.2 mm thinner than at startup, though the shot size was raised." in text
    assert "ines.okafor, 14:07: planned work" in text
    assert 'data-answer="P07-1" data-reason="going"' in visitor.get("/alarms").text


def test_the_mold_page_names_the_press_that_falls_short(visitor: Visitor) -> None:
    text = visitor.text("/molds/M-113")
    assert "M-113 is capable on two presses and not on P07." in text
    assert "the press stands out, not the mold" in text


def test_no_limit_is_invented(visitor: Visitor) -> None:
    text = visitor.text("/molds/M-140")
    assert "no limits of its drawing yet" in text
    assert "Ppk 1" not in text


def test_containment_names_boxes_and_lots_since_the_alarm(visitor: Visitor) -> None:
    text = visitor.text("/containment")
    assert "Two presses have made suspect parts." in text
    assert re.search(r"Boxes \d{4} to \d{4} \(\d+ boxes\)", text)
    assert 'data-csv="suspect-P07.csv"' in visitor.get("/containment").text


def test_an_answer_does_not_shorten_what_is_suspect(tmp_path: Path) -> None:
    own = make_plant(tmp_path)
    try:
        visitor = Visitor(page_server(own))
        before = visitor.text("/containment")
        own.write(lambda c: c.execute(sa.update(t.alarms).values(state="acknowledged", since_ms=NOW)))
        after = visitor.text("/containment")
    finally:
        own.close()
    assert after == before
    assert "Two presses have made suspect parts." in after


def test_an_alarm_of_the_valve_leads_to_its_boxes_and_lots(visitor: Visitor) -> None:
    cards = visitor.get("/alarms").text.split("<article")[1:]
    assert [card.count("Which boxes and lots") for card in cards] == [1, 1]


def test_a_study_stays_shut_until_its_caution_is_confirmed(visitor: Visitor) -> None:
    text = visitor.get("/studies").text
    assert text.count("data-after-confirm disabled") == text.count("data-confirm required") == 5


def test_a_fragment_is_the_page_without_its_head(visitor: Visitor) -> None:
    text = visitor.get("/", X_Fragment="1").text
    assert "<html" not in text
    assert 'data-live="rows"' in text
    assert 'data-live="opening"' in text


def test_every_live_part_of_a_page_is_in_its_fragment(visitor: Visitor) -> None:
    for path in PAGES:
        whole = re.findall(r'data-live="([^"]+)"', visitor.get(path).text)
        assert whole == re.findall(r'data-live="([^"]+)"', visitor.get(path, X_Fragment="1").text)


def test_what_does_not_exist_is_404_with_a_way_out(visitor: Visitor) -> None:
    for path in ("/presses/nobody", "/molds/nothing", "/presses/nobody/baselines"):
        answer = visitor.get(path)
        assert answer.status_code == 404
        assert "There is no such thing here." in answer.text
        assert 'href="/"' in answer.text


def test_who_is_not_signed_in_is_sent_to_the_login(store: Store) -> None:
    answer = Visitor(page_server(store, actor=NOBODY)).get("/presses/P07")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/login?next=/presses/P07"


def test_the_login_never_leads_elsewhere(store: Store) -> None:
    nobody = Visitor(page_server(store, actor=NOBODY))
    for trap in ("//trap.example", "https://trap.example", "/\\trap.example"):
        assert 'data-then="/"' in nobody.get(f"/login?next={quote(trap)}").text


def test_a_viewer_sees_no_button_that_would_be_refused(store: Store) -> None:
    viewer = Visitor(page_server(store, actor=VIEWER))
    for path in ("/presses/P07", "/alarms", "/molds/M-113", "/studies", "/valves", "/presses/P07/baselines"):
        text = viewer.get(path).text
        assert "data-post" not in text
        assert "data-answer" not in text


def test_a_line_lead_answers_alarms_and_leaves_configuration_alone(store: Store) -> None:
    lead = Visitor(page_server(store, actor=Actor("ines", "line_lead", "person")))
    assert "data-answer" in lead.get("/alarms").text
    assert "/events" in lead.get("/presses/P07").text
    assert 'data-method="PUT"' not in lead.get("/presses/P07").text
    assert "data-post" not in lead.get("/presses/P07/baselines").text


def test_names_with_markup_are_shown_as_text(own_store: Store) -> None:
    hostile = '<img src=x onerror=alert(1)>"'
    own_store.write(lambda c: put_press(c, hostile, {"name": hostile, "area": hostile}, now_ms=NOW))
    visitor = Visitor(page_server(own_store))
    for path in ("/", f"/presses/{quote(hostile, safe='')}", "/studies", "/valves"):
        answer = visitor.get(path)
        assert answer.status_code == 200
        assert "<img" not in answer.text


def test_units_of_the_plant_reach_every_page(own_store: Store) -> None:
    own_store.write(lambda c: put_settings(c, {"units": {"length": "in", "pressure": "psi"}}))
    own_store.write(lambda c: put_press(c, "P1", {"screw_diameter_mm": 50.8}, now_ms=NOW))
    assert "2.000 in" in Visitor(page_server(own_store)).text("/presses/P1")


def test_the_figure_covers_what_was_asked(visitor: Visitor) -> None:
    whole = visitor.get("/api/v1/presses/P07/figure?span=all&width=300").json()
    assert len(whole["times"][0]) == 300
    query = "from=2026-11-18T12:00:00&to=2026-11-18T13:00:00"
    hour = visitor.get(f"/api/v1/presses/P07/figure?{query}").json()
    assert len(hour["times"][0]) == 60
    assert hour["times"][0][0].startswith("2026-11-18 12:00")
    assert len(hour["data"]) == 6


def test_a_stretch_without_shots_is_an_empty_figure(visitor: Visitor) -> None:
    query = "from=2020-01-01T00:00:00Z&to=2020-01-02T00:00:00Z"
    assert visitor.get(f"/api/v1/presses/P07/figure?{query}").json()["data"] == []


def test_static_files_are_compressed_and_kept_for_a_year(visitor: Visitor) -> None:
    href = re.search(r'href="(/static/[^"]+base\.css)"', visitor.get("/").text)
    assert href
    answer = visitor.get(href[1], Accept_Encoding="br")
    assert answer.headers["content-encoding"] == "br"
    assert "immutable" in answer.headers["cache-control"]
    assert "max-age=31536000" in answer.headers["cache-control"]
    assert "box-sizing" in answer.text
    plain = visitor.get(href[1], Accept_Encoding="identity")
    assert "content-encoding" not in plain.headers
    assert plain.text == answer.text


def test_an_old_address_of_a_static_file_is_not_kept(visitor: Visitor) -> None:
    answer = visitor.get("/static/0000000000000000/css/base.css")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("path", ["../server/app.py", "..%2f..%2fpyproject.toml", "css/none.css", ""])
def test_nothing_but_static_files_is_served(visitor: Visitor, path: str) -> None:
    assert visitor.get(f"/static/0000000000000000/{path}").status_code == 404


def test_an_alarm_of_another_kind_says_what_to_do(own_store: Store) -> None:
    def fill(connection: sa.Connection) -> None:
        put_press(connection, "P1", {}, now_ms=NOW)
        connection.execute(
            sa.insert(t.alarms).values(
                press_id=1, alarm_no=1, kind="bottoming", state="unacknowledged", urgency="now",
                opened_ms=NOW, since_ms=NOW, active=True, open_mark=1, facts=json.dumps({"box": "7"}),
            )
        )  # fmt: skip

    own_store.write(fill)
    text = Visitor(page_server(own_store)).text("/alarms")
    assert "One thing. Now." in text
    assert "no cushion is left" in text
    assert "Do not raise the shot size." in text


def test_the_login_page_offers_no_page_that_asks_for_a_login(visitor: Visitor) -> None:
    text = visitor.get("/login").text
    assert re.findall(r'<a [^>]*href="(/[^"]*)"', text) == ["/"]
