"""What a page shows when there is nothing to show yet, or nothing to be had: each such state, its way out.

That alarms stay readable without a network stands in `test_tablet.py`, that the wall screen says when it is
old in `test_wall.py`, that nobody is offered what would be refused in `tests/pages/test_offers.py`.
"""

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from playwright.sync_api import Browser, Page, Route, expect

from server.contract import SHOT_COLUMNS
from server.store import tables as t
from server.store.plant import Setup, keep_setup, put_mold, put_press, setup_digest
from server.store.shots import store_shots
from tests.browser.conftest import PageServer, serving
from tests.browser.test_browser import drawn, opened
from tests.pages.plant import NOW, make_empty

pytestmark = pytest.mark.browser

FIGURE = "**/figure?**"
STREAM = "**/api/v1/stream**"
STALE = "No connection since"
CHART = "[data-chart]"


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1400, "height": 900}, service_workers="block")
    yield context.new_page()
    context.close()


def fragment_refused(route: Route) -> None:
    """The page itself still comes, its renewals do not."""
    if "x-fragment" in route.request.headers:
        route.fulfill(status=503, content_type="application/problem+json", body="{}")
    else:
        route.continue_()


# --- the chart ------------------------------------------------------------------------------------


def test_a_chart_says_that_it_loads_until_it_is_drawn(page: Page, server: PageServer) -> None:
    let_go = threading.Event()

    def wait(route: Route) -> None:
        # The first picture is held back until the test has looked.
        if let_go.is_set():
            route.continue_()
        else:
            held.append(route)

    held: list[Route] = []
    page.route(FIGURE, wait)
    page.goto(f"{server.base}/presses/P07")
    expect(page.get_by_text("Loading the chart…")).to_be_visible()
    expect(page.locator(CHART)).to_have_attribute("aria-busy", "true")
    let_go.set()
    held[0].continue_()
    drawn(page)
    expect(page.get_by_text("Loading the chart…")).to_be_hidden()
    expect(page.locator(CHART)).to_have_attribute("aria-busy", "false")
    expect(page.get_by_role("button", name="Try again")).to_be_hidden()


@pytest.mark.parametrize("missing", [FIGURE, "**/plotly**.js"], ids=["the picture", "what draws it"])
def test_a_chart_that_cannot_be_loaded_says_so_and_is_tried_again(
    page: Page, server: PageServer, missing: str
) -> None:
    # A page that hears of something draws again by itself: here nothing but the button does.
    page.route(STREAM, lambda route: route.abort())
    page.route(f"{server.base}/presses/P07", fragment_refused)
    page.route(missing, lambda route: route.abort())
    page.goto(f"{server.base}/presses/P07")
    expect(page.locator("[data-chart-note]")).to_have_text("The chart could not be loaded.", timeout=15_000)
    page.unroute(missing)
    page.get_by_role("button", name="Try again").click()
    drawn(page)
    expect(page.locator("[data-chart-note]")).to_be_hidden()
    expect(page.get_by_role("button", name="Try again")).to_be_hidden()


def test_why_the_server_refused_a_chart_is_said(page: Page, server: PageServer) -> None:
    said = {"title": "Too many at once", "detail": "the server has much to do; try again in a minute"}
    page.route(
        FIGURE,
        lambda route: route.fulfill(
            status=503, content_type="application/problem+json", body=json.dumps(said)
        ),
    )
    page.goto(f"{server.base}/presses/P07")
    expect(page.locator("[data-chart-note]")).to_contain_text(said["detail"], timeout=15_000)


def test_a_stretch_without_shots_names_the_way_out(page: Page, server: PageServer) -> None:
    page.goto(f"{server.base}/presses/P07?from=2020-01-01T00:00&to=2020-01-02T00:00")
    note = page.locator("[data-chart-note]")
    expect(note).to_have_text("No shots in this stretch. Choose a longer one above.", timeout=15_000)
    page.get_by_role("button", name="all", exact=True).click()
    expect(note).to_be_hidden(timeout=15_000)
    expect(page.locator(".js-plotly-plot .scatterlayer path.js-line").first).to_be_attached()


# --- the page that grows old ----------------------------------------------------------------------


def test_a_page_that_hears_nothing_says_since_when_and_catches_up(
    browser: Browser, server: PageServer
) -> None:
    page = opened(browser, server, "/").page
    page.evaluate("document.querySelector('[data-live=opening]').dataset.seen = 'old'")
    page.evaluate("document.querySelector('h1').textContent = 'old'")
    expect(page.get_by_text(STALE)).to_be_hidden()
    page.context.set_offline(True)
    expect(page.get_by_text(STALE)).to_be_visible(timeout=15_000)
    page.context.set_offline(False)
    expect(page.get_by_text(STALE)).to_be_hidden(timeout=20_000)
    expect(page.get_by_role("heading", level=1)).to_contain_text("need someone")
    page.context.close()


def test_a_server_that_answers_with_trouble_makes_a_page_old_too(
    browser: Browser, server: PageServer
) -> None:
    page = opened(browser, server, "/").page
    page.route(f"{server.base}/", fragment_refused)
    server.heard.put("alarm")
    expect(page.get_by_text(STALE)).to_be_visible(timeout=15_000)
    page.unroute(f"{server.base}/")
    expect(page.get_by_text(STALE)).to_be_hidden(timeout=20_000)
    page.context.close()


# --- not enough data ------------------------------------------------------------------------------


@pytest.fixture
def young(tmp_path: Path) -> Iterator[PageServer]:
    """One press without a shot, one with three, a mold with limits and one without."""
    store = make_empty(tmp_path)

    def fill(connection: sa.Connection) -> None:
        limits = json.dumps({"part_weight_g": {"lower": 10.0, "upper": 11.0}})
        put_mold(connection, "M-5", {"part": "cap", "limits": limits}, now_ms=NOW)
        put_mold(connection, "M-6", {"part": "plug"}, now_ms=NOW)
        put_press(connection, "F01", {}, now_ms=NOW)
        put_press(connection, "F02", {}, now_ms=NOW)
        setup_id = setup_digest("M-5", "", "", "{}")
        keep_setup(connection, Setup(2, setup_id, "M-5", "", "", "{}", NOW - 600_000))
        held = {"shot_size_mm": 80.0, "cushion_mm": 6.0, "part_weight_g": 10.4}
        rows = [
            (NOW - 60_000 * (3 - i), i, setup_id, *(held.get(name) for name in SHOT_COLUMNS))
            for i in range(3)
        ]
        store_shots(connection, 2, rows)
        state = {"last_shot_ms": NOW - 60_000, "last_counter": 2, "last_arrival_ms": NOW, "mold": "M-5"}
        connection.execute(
            sa.update(t.press_states).where(t.press_states.c.press_id == 2).values(**state, material="")
        )

    store.write(fill)
    with serving(store) as made:
        yield made


def test_a_press_without_a_shot_says_where_they_come_from(page: Page, young: PageServer) -> None:
    page.goto(f"{young.base}/presses/F01")
    expect(page.get_by_role("heading", level=1)).to_have_text("F01 has not sent a shot yet.")
    expect(page.get_by_text("They come from a file, or from the press by itself.")).to_be_visible(
        timeout=15_000
    )
    expect(page.get_by_text("The newest shot is drawn here to scale once one has come.")).to_be_visible()
    expect(page.get_by_text("First its shots have to come")).to_be_visible()
    expect(page.get_by_role("link", name="Import a file")).to_be_visible()


def test_a_press_with_few_shots_draws_them_and_leads_to_its_record(page: Page, young: PageServer) -> None:
    page.goto(f"{young.base}/presses/F02")
    expect(page.get_by_role("heading", level=1)).to_have_text("F02 cannot be judged yet.")
    drawn(page)
    expect(page.get_by_role("button", name="all", exact=True)).to_have_attribute("aria-pressed", "true")
    page.get_by_role("link", name="Capture a startup record").click()
    expect(page.get_by_role("heading", name="Capture a startup record")).to_be_in_viewport()


@pytest.mark.parametrize(
    ("mold", "said"),
    [
        ("M-5", "the limits are entered, part weights are missing or too few."),
        ("M-6", "enter the limits of the drawing and send part weights with the shots."),
    ],
)
def test_a_mold_says_what_its_indices_wait_for(page: Page, young: PageServer, mold: str, said: str) -> None:
    page.goto(f"{young.base}/molds/{mold}")
    expect(page.get_by_text(f"There are no indices yet: {said}")).to_be_visible()


@pytest.mark.parametrize("path", ["/studies", "/valves", "/trials", "/cases"])
def test_where_a_press_is_chosen_and_there_is_none_the_way_to_one_is_shown(
    page: Page, tmp_path: Path, path: str
) -> None:
    with serving(make_empty(tmp_path)) as empty:
        page.goto(empty.base + path)
        expect(page.get_by_text("There is no press to choose yet.")).to_be_visible()
        page.get_by_role("link", name="The plant page").click()
        expect(page.get_by_role("heading", name="First steps")).to_be_visible()
        page.goto("about:blank")
