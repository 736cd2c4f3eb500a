"""The wall screen in a browser: everything on one screen, however many presses; it says when it is old."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import PageServer, serving, watch
from tests.browser.test_browser import _CONTRAST, until
from tests.pages.wall_plant import many_presses

pytestmark = pytest.mark.browser

#: What reaches beyond the screen, or is cut off within its own line: words must end before their edge.
_BEYOND = """
[...document.querySelectorAll('main *')].filter((one) => {
  const box = one.getBoundingClientRect();
  const beyond = box.bottom > innerHeight + 0.5 || box.right > innerWidth + 0.5;
  return box.width && beyond && !one.closest('.unseen');
}).map((one) => one.outerHTML.slice(0, 80))
"""
_SCROLLS = (
    "[document.documentElement.scrollHeight > innerHeight, document.documentElement.scrollWidth > innerWidth]"
)
_CUT = """
[...document.querySelectorAll('.wall-share, .wall-when, .wall-row .cause, .wall-cells strong, .wall h1')]
  .filter((one) => one.scrollWidth > one.clientWidth + 1 || one.scrollHeight > one.clientHeight + 2)
  .map((one) => one.textContent)
"""

_SMALLEST = """
Math.min(...[...document.querySelectorAll('main p, main li, main h1, main h2, main small')]
  .filter((one) => one.textContent.trim()).map((one) => parseFloat(getComputedStyle(one).fontSize)))
"""


def opened(
    browser: Browser,
    base: str,
    *,
    scheme: Literal["light", "dark"] = "light",
    size: tuple[int, int] = (1920, 1080),
) -> Page:
    context = browser.new_context(color_scheme=scheme, viewport={"width": size[0], "height": size[1]})
    watched = watch(context.new_page())
    watched.page.goto(f"{base}/wall", wait_until="load")
    until(watched.page, "document.documentElement.dataset.ready === '1'")
    assert watched.complaints == []
    assert watched.violations() == []
    return watched.page


@pytest.mark.parametrize(
    ("count", "loud", "silent"),
    [(1, 0, 0), (1, 1, 0), (14, 4, 1), (24, 0, 0), (60, 0, 0), (60, 9, 3), (60, 60, 0), (200, 30, 9)],
)
def test_everything_stands_on_one_screen(
    browser: Browser, tmp_path: Path, count: int, loud: int, silent: int
) -> None:
    with serving(many_presses(tmp_path, count, loud=loud, silent=silent)) as server:
        page = opened(browser, server.base)
        for size in ((1920, 1080), (1280, 720), (3840, 2160), (1080, 1920)):
            page.set_viewport_size({"width": size[0], "height": size[1]})
            assert page.evaluate(_BEYOND) == [], size
            assert page.evaluate(_SCROLLS) == [False, False], size
            assert page.evaluate(_CUT) == [], size
        shown = page.locator("[data-press]").count()
        assert shown == count if count <= 60 else shown >= 60
        page.context.close()


def test_what_reaches_beyond_the_screen_is_noticed(browser: Browser, tmp_path: Path) -> None:
    with serving(many_presses(tmp_path, 60, loud=9)) as server:
        page = opened(browser, server.base)
        page.evaluate("document.documentElement.style.fontSize = '20px'")
        assert page.evaluate(_BEYOND) != []
        page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_can_be_read_from_afar_in_both_themes(
    browser: Browser, tmp_path: Path, scheme: Literal["light", "dark"]
) -> None:
    with serving(many_presses(tmp_path, 40, loud=9, silent=2)) as server:
        page = opened(browser, server.base, scheme=scheme)
        assert page.evaluate(_CONTRAST) == []
        assert page.evaluate(_SMALLEST) >= 21
        assert (
            page.evaluate("document.querySelectorAll('a, button, input, select, summary, [tabindex]').length")
            == 0
        )
        page.context.close()


@pytest.fixture
def wall(browser: Browser, tmp_path: Path) -> Iterator[tuple[Page, PageServer]]:
    with serving(many_presses(tmp_path, 12, loud=1)) as server:
        page = opened(browser, server.base)
        yield page, server
        page.context.close()


def test_an_event_renews_it_without_a_reload(wall: tuple[Page, PageServer]) -> None:
    page, server = wall
    page.evaluate("window.sameDocument = true; document.querySelector('h1').textContent = 'old'")
    page.evaluate("document.querySelector('[data-live=opening]').dataset.seen = 'old'")
    server.heard.put("alarm")
    expect(page.get_by_role("heading", level=1)).to_contain_text("One of 12 presses", timeout=15_000)
    assert page.evaluate("window.sameDocument") is True


def test_it_says_when_the_network_is_gone_and_goes_on_when_it_is_back(wall: tuple[Page, PageServer]) -> None:
    page, _ = wall
    stale = page.get_by_text("The server has not answered since")
    expect(stale).to_be_hidden()
    page.context.set_offline(True)
    expect(stale).to_be_visible(timeout=15_000)
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.wall-rows').parentElement).opacity")
        == "0.45"
    )
    page.context.set_offline(False)
    expect(stale).to_be_hidden(timeout=15_000)


def test_it_says_when_the_server_answers_with_trouble(wall: tuple[Page, PageServer]) -> None:
    page, server = wall

    def refuse(route: Route) -> None:
        if "x-fragment" in route.request.headers:
            route.fulfill(status=503, body="busy")
        else:
            route.continue_()

    page.route("**/wall", refuse)
    server.heard.put("alarm")
    stale = page.get_by_text("The server has not answered since")
    expect(stale).to_be_visible(timeout=15_000)
    page.unroute("**/wall")
    expect(stale).to_be_hidden(timeout=20_000)
