"""Pages in Chromium: no complaint, nothing against the policy, the chart draws, taps are kept and sent."""

import time
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PageServer, Watched, watch

pytestmark = pytest.mark.browser

PATHS = (
    "/", "/presses/P07", "/presses/Q%2001%20%C3%A4%2Bb", "/presses/P07/baselines", "/molds", "/molds/M-113",
    "/alarms", "/alarms/performance", "/alarm-budget", "/settings/messages", "/containment",
    "/studies?kind=short-shot", "/valves", "/import", "/settings", "/help", "/find",
    "/find?q=p07", "/login",
)  # fmt: skip
Scheme = Literal["light", "dark"]
LOOKS: tuple[tuple[Scheme, int, int], ...] = (("light", 1440, 900), ("dark", 820, 1180), ("light", 400, 800))

_LOOKERS = Path(__file__).parent
#: Texts too pale for what stands behind them, controls without a name, targets too small for gloves.
_CONTRAST, _UNNAMED, _SMALL = (
    (_LOOKERS / f"{name}.js").read_text(encoding="utf-8") for name in ("contrast", "unnamed", "small")
)


def opened(
    browser: Browser, server: PageServer, path: str, look: tuple[Scheme, int, int] = LOOKS[0]
) -> Watched:
    scheme, width, height = look
    context = browser.new_context(color_scheme=scheme, viewport={"width": width, "height": height})
    watched = watch(context.new_page())
    watched.page.goto(server.base + path, wait_until="load")
    until(watched.page, "document.documentElement.dataset.ready === '1'")
    return watched


def until(page: Page, claim: str, *, seconds: float = 30.0) -> None:
    """Wait for a claim to hold; the page's policy forbids the browser to do the waiting by itself."""
    end = time.monotonic() + seconds
    while not page.evaluate(claim):
        assert time.monotonic() < end, f"still not so after {seconds:g} s: {claim}"
        page.wait_for_timeout(50)


def answered(page: Page, server: PageServer, count: int, *, seconds: float = 30.0) -> None:
    """Wait for answers to reach the server: the page says so only until it renews itself."""
    end = time.monotonic() + seconds
    while len(server.answered) < count:
        assert time.monotonic() < end, f"{len(server.answered)} of {count} answers came in {seconds:g} s"
        page.wait_for_timeout(50)


def drawn(page: Page, turn: int = 1) -> None:
    until(page, f"Number(document.querySelector('[data-chart]').dataset.drawn ?? 0) >= {turn}")


@pytest.mark.parametrize("look", LOOKS, ids=["desk, light", "tablet, dark", "phone, light"])
def test_pages_open_without_a_complaint(
    browser: Browser, server: PageServer, look: tuple[Scheme, int, int]
) -> None:
    watched = opened(browser, server, "/", look)
    page = watched.page
    amiss: dict[str, list[str]] = {}
    for path in PATHS:
        page.goto(server.base + path, wait_until="load")
        if path == "/presses/P07":
            drawn(page)
        found = watched.violations() + page.evaluate(_UNNAMED) + page.evaluate(_CONTRAST)
        if page.evaluate("document.documentElement.scrollWidth") > look[1]:
            found.append("wider than the screen")
        if found:
            amiss[path] = found
    assert amiss == {}
    assert watched.complaints == []
    page.context.close()


def test_the_chart_draws_under_the_strict_policy_and_zooms(browser: Browser, server: PageServer) -> None:
    watched = opened(browser, server, "/presses/P07")
    page = watched.page
    drawn(page)
    assert page.locator(".js-plotly-plot .scatterlayer .trace path.js-line").count() >= 6
    assert page.locator(".js-plotly-plot .shapelayer path").count() >= 10
    assert page.evaluate("document.querySelectorAll('.js-plotly-plot .points path').length") == 0
    box = page.locator(".js-plotly-plot .nsewdrag").first.bounding_box()
    assert box
    with page.expect_response(lambda answer: "/figure?" in answer.url and "from=" in answer.url) as asked:
        page.mouse.move(box["x"] + box["width"] * 0.85, box["y"] + 20)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.95, box["y"] + 22, steps=5)
        page.mouse.up()
    assert asked.value.status == 200
    drawn(page, 2)
    page.get_by_role("button", name="Back").click()
    drawn(page, 3)
    assert watched.complaints == []
    assert watched.violations() == []
    page.context.close()


def test_a_stretch_dragged_on_the_chart_is_what_a_record_is_captured_from(
    browser: Browser, server: PageServer
) -> None:
    watched = opened(browser, server, "/presses/P07/baselines")
    page = watched.page
    assert page.locator(".js-plotly-plot").count() == 0, "folded away, the chart is not even loaded"
    page.get_by_text("Pick a stretch on the chart").click()
    drawn(page)
    page.locator(".js-plotly-plot .nsewdrag").first.scroll_into_view_if_needed()
    box = page.locator(".js-plotly-plot .nsewdrag").first.bounding_box()
    assert box
    with page.expect_response(lambda answer: "/figure?" in answer.url and "from=" in answer.url) as asked:
        page.mouse.move(box["x"] + box["width"] * 0.85, box["y"] + 20)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.95, box["y"] + 22, steps=5)
        page.mouse.up()
    drawn(page, 2)
    meta = asked.value.json()["layout"]["meta"]
    for name in ("from", "to"):
        sent = page.evaluate(f"new Date(document.querySelector('[data-stretch={name}]').value).getTime()")
        assert abs(sent - meta[f"{name}_ms"]) < 1_000
    assert "stands below as From and To" in page.locator("[data-stretch-says]").inner_text()
    assert watched.complaints == []
    assert watched.violations() == []
    page.context.close()


def test_an_event_brings_the_page_up_to_date_without_a_reload(browser: Browser, server: PageServer) -> None:
    page = opened(browser, server, "/").page
    page.evaluate("window.sameDocument = true")
    page.evaluate("document.querySelector('h1').textContent = 'old'")
    page.evaluate("document.querySelector('[data-live=opening]').dataset.seen = 'old'")
    server.heard.put("alarm")
    until(page, "document.querySelector('h1').textContent.includes('need someone')")
    assert page.evaluate("window.sameDocument") is True
    page.context.close()


def test_every_target_on_the_alarm_page_is_large_enough_for_gloves(
    browser: Browser, server: PageServer
) -> None:
    page = opened(browser, server, "/alarms", ("light", 820, 1180)).page
    page.locator("summary").first.click()
    assert page.evaluate(_SMALL) == []
    page.context.close()


def test_a_tap_answers_an_alarm_once(browser: Browser, server: PageServer) -> None:
    server.answered.clear()
    page = opened(browser, server, "/alarms").page
    page.get_by_role("group", name="Answer P07").get_by_role("button", name="Going to it").click()
    page.get_by_text("Answered: Going to it.").wait_for(timeout=10_000)
    assert [one["id"] for one in server.answered] == ["P07-1"]
    assert server.answered[0]["body"]["reason"] == "going"
    assert server.answered[0]["guard"] == "page"
    page.context.close()


def test_taps_without_a_network_are_kept_and_sent_once_when_it_is_back(
    browser: Browser, server: PageServer
) -> None:
    server.answered.clear()
    page = opened(browser, server, "/alarms").page
    page.context.set_offline(True)
    page.get_by_role("group", name="Answer P11").get_by_role("button", name="Planned work").click()
    page.get_by_text("Your taps are kept and sent when it is back (1 waiting)").wait_for(timeout=10_000)
    assert server.answered == []
    page.context.set_offline(False)
    answered(page, server, 1)
    page.wait_for_timeout(1_500)
    assert [one["body"]["reason"] for one in server.answered] == ["planned"]
    page.context.close()


def test_a_tap_outlives_a_server_that_is_down_and_a_reload(browser: Browser, server: PageServer) -> None:
    server.answered.clear()
    server.down = True
    page = opened(browser, server, "/alarms").page
    page.get_by_role("group", name="Answer P07").get_by_role("button", name="Seen").click()
    page.get_by_text("Kept: Seen.").wait_for(timeout=10_000)
    page.reload()
    page.get_by_text("Kept: Seen.").wait_for(timeout=10_000)
    server.down = False
    answered(page, server, 1)
    assert len({one["key"] for one in server.answered}) == 1
    page.context.close()


def test_a_study_opens_only_when_its_caution_is_confirmed(browser: Browser, server: PageServer) -> None:
    page = opened(browser, server, "/studies?kind=short-shot").page
    begin = page.locator("#short-shot button[type=submit]")
    assert begin.is_disabled()
    page.locator("#short-shot [data-confirm]").check()
    assert begin.is_enabled()
    page.context.close()


def test_a_tick_of_one_person_is_seen_by_the_next_with_name_and_time(
    browser: Browser, server: PageServer
) -> None:
    first = opened(browser, server, "/presses/P07").page
    first.locator("[data-step=contain]").check()
    first.get_by_text("ines, 14:22").wait_for(timeout=10_000)
    second = opened(browser, server, "/presses/P07").page
    assert second.locator("[data-step=contain]").is_checked()
    assert not second.locator("[data-step=inspect]").is_checked()
    second.locator("[data-step=contain]").uncheck()
    until(second, "!document.body.textContent.includes('ines, 14:22')")
    for page in (first, second):
        page.context.close()
