"""Without a mouse: keys that lead about, that are listed, and that can be switched off."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PageServer, Watched
from tests.browser.test_browser import opened

pytestmark = pytest.mark.browser


def address(watched: Watched) -> str:
    return watched.page.evaluate("window.location.pathname + window.location.search")  # type: ignore[no-any-return]  # the browser answers anything


def test_a_slash_leads_to_the_field_that_finds_and_enter_to_what_was_found(
    browser: Browser, server: PageServer
) -> None:
    watched = opened(browser, server, "/")
    page = watched.page
    page.keyboard.press("/")
    page.keyboard.type("thistle")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?q=thistle")
    expect(page.locator("h1")).to_contain_text("“thistle”")
    page.locator(".found a").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/presses/P07")
    assert watched.complaints == []
    page.context.close()


def test_keys_lead_to_pages_and_through_rows(browser: Browser, server: PageServer) -> None:
    watched = opened(browser, server, "/")
    page = watched.page
    page.keyboard.press("j")
    first = page.evaluate("document.activeElement.getAttribute('href')")
    page.keyboard.press("j")
    second = page.evaluate("document.activeElement.getAttribute('href')")
    assert first.startswith("/presses/")
    assert second.startswith("/presses/")
    assert first != second
    page.keyboard.press("k")
    assert page.evaluate("document.activeElement.getAttribute('href')") == first
    page.keyboard.press("g")
    page.keyboard.press("m")
    page.wait_for_url("**/molds")
    page.context.close()


def focused(page: Page) -> str:
    return page.evaluate("document.activeElement.getAttribute('href') ?? ''")  # type: ignore[no-any-return]  # the browser answers anything


@pytest.mark.parametrize(("path", "row"), [("/", ".rows > li"), ("/alarms", ".cards > article")])
def test_arrows_move_through_the_rows_of_the_plant_and_of_the_alarms(
    browser: Browser, server: PageServer, path: str, row: str
) -> None:
    page = opened(browser, server, path).page
    rows = page.locator(row).count()
    assert rows > 1
    page.keyboard.press("ArrowDown")
    first = focused(page)
    assert first.startswith("/presses/")
    assert page.evaluate(f"document.activeElement.closest('{row}') === document.querySelector('{row}')")
    page.keyboard.press("ArrowDown")
    in_second = f"document.querySelectorAll('{row}')[1].contains(document.activeElement)"
    assert page.evaluate(in_second)
    page.keyboard.press("ArrowUp")
    assert focused(page) == first
    page.keyboard.press("End")
    assert page.evaluate(
        f"document.querySelectorAll('{row}')[{rows - 1}].compareDocumentPosition(document.activeElement) >= 4"
    )
    page.keyboard.press("Home")
    assert focused(page) == first
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{first}")
    page.context.close()


def test_arrows_scroll_as_ever_beyond_the_rows_and_where_keys_are_off(
    browser: Browser, server: PageServer
) -> None:
    page = opened(browser, server, "/").page
    page.set_viewport_size({"width": 900, "height": 420})
    page.keyboard.press("Home")
    page.keyboard.press("End")
    # Neither the first row nor the last was focused: nobody is taken into the list by Home or End.
    assert focused(page) == ""
    page.evaluate("window.scrollTo(0, 0); document.querySelector('.rows a').focus()")
    page.keyboard.press("End")
    last = focused(page)
    # From the top there is room to scroll, wherever the focus had taken the page.
    at = page.evaluate("(window.scrollTo(0, 0), window.scrollY)")
    page.keyboard.press("ArrowDown")
    assert focused(page) == last
    page.wait_for_function("(before) => window.scrollY > before", arg=at)
    page.evaluate("localStorage.setItem('ringtell-keys-off', '1')")
    page.reload(wait_until="load")
    page.wait_for_selector("html[data-ready='1']", state="attached")
    page.locator(".rows a").first.focus()
    here = focused(page)
    page.keyboard.press("ArrowDown")
    assert focused(page) == here
    page.context.close()


def test_the_list_opens_and_single_keys_can_be_switched_off_for_good(
    browser: Browser, server: PageServer
) -> None:
    watched = opened(browser, server, "/")
    page = watched.page
    page.keyboard.press("?")
    expect(page.locator("[data-keys]")).to_be_visible()
    page.get_by_label("Single keys act on this device").uncheck()
    page.keyboard.press("Escape")
    expect(page.locator("[data-keys]")).to_be_hidden()
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.matches('[data-find]')") is False
    page.reload(wait_until="load")
    page.wait_for_timeout(300)
    page.keyboard.press("?")
    expect(page.locator("[data-keys]")).to_be_hidden()
    page.get_by_role("button", name="Keys").click()
    page.get_by_label("Single keys act on this device").check()
    page.keyboard.press("Escape")
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.matches('[data-find]')") is True
    page.keyboard.type("/?gm")
    assert page.locator("[data-find]").input_value() == "/?gm"
    assert address(watched) == "/"
    page.context.close()
