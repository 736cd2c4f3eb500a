"""What somebody looks at can be sent as an address: the stretch of the chart stands in it."""

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import PageServer
from tests.browser.test_browser import drawn, opened, until

pytestmark = pytest.mark.browser

STRETCH = "from=2026-11-17T06:00&to=2026-11-17T18:00"


def test_an_address_opens_the_chart_where_it_says_and_back_leads_out(
    browser: Browser, server: PageServer
) -> None:
    watched = opened(browser, server, "/molds")
    page = watched.page
    with page.expect_response(lambda answer: "/figure?" in answer.url) as asked:
        page.goto(f"{server.base}/presses/P07?{STRETCH}", wait_until="load")
    assert "from=2026-11-17T06%3A00" in asked.value.url
    meta = asked.value.json()["layout"]["meta"]
    assert (meta["to_ms"] - meta["from_ms"]) / 3_600_000 == pytest.approx(12, abs=0.1)
    drawn(page)
    assert "from=2026-11-17" in page.evaluate("window.location.search")
    page.locator("[data-span='back']").click()
    until(page, "window.location.search === ''")
    assert watched.complaints == []
    page.context.close()


def test_a_stretch_dragged_stands_in_the_address(browser: Browser, server: PageServer) -> None:
    watched = opened(browser, server, "/presses/P07")
    page = watched.page
    drawn(page)
    drag = page.locator(".js-plotly-plot .nsewdrag").first
    drag.scroll_into_view_if_needed()
    box = drag.bounding_box()
    assert box
    page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + 20)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.9, box["y"] + 22, steps=5)
    page.mouse.up()
    until(page, "window.location.search.includes('from=') && window.location.search.includes('to=')")
    here = page.evaluate("window.location.href")
    with page.expect_response(lambda answer: "/figure?" in answer.url and "from=" in answer.url):
        page.goto(here, wait_until="load")
    page.locator("[data-span='30d']").click()
    until(page, "window.location.search === ''")
    page.context.close()
