"""The help page with a script: it narrows while somebody types, and a link to an entry always shows it."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import PageServer
from tests.browser.test_browser import opened

pytestmark = pytest.mark.browser


def help_page(browser: Browser, server: PageServer, path: str = "/help") -> Page:
    page = opened(browser, server, path).page
    page.wait_for_selector("html[data-ready='1']", state="attached")
    return page


def shown(page: Page) -> int:
    return page.locator("[data-entry]:visible").count()


def test_the_page_narrows_while_somebody_types_as_it_does_without_a_script(
    browser: Browser, server: PageServer
) -> None:
    page = help_page(browser, server)
    every = shown(page)
    page.get_by_label("Only what speaks of").fill("bissell")
    expect(page.locator("#demand-chance")).to_be_visible()
    expect(page.locator("#alarm-silent")).to_be_hidden()
    expect(page.get_by_role("heading", name="Units and time")).to_be_hidden()
    narrowed = shown(page)
    assert 0 < narrowed < every
    expect(page.locator(".help-filter output")).to_have_text(f"{narrowed} of {every} entries.")
    assert page.evaluate("window.location.search") == "?q=bissell"
    page.reload(wait_until="load")
    assert shown(page) == narrowed
    page.get_by_label("Only what speaks of").fill("zeppelin")
    expect(page.locator(".help-filter output")).to_have_text("Nothing here speaks of that.")
    page.get_by_label("Only what speaks of").fill("")
    assert shown(page) == every
    page.context.close()


def test_a_link_to_an_entry_shows_it_whatever_was_asked_for_before(
    browser: Browser, server: PageServer
) -> None:
    page = help_page(browser, server, "/help?q=bissell")
    expect(page.locator("#alarm-silent")).to_be_hidden()
    page.evaluate("window.location.hash = '#alarm-silent'")
    expect(page.locator("#alarm-silent")).to_be_in_viewport()
    assert page.get_by_label("Only what speaks of").input_value() == ""
    page.context.close()


def test_a_mark_on_a_page_leads_to_its_entry(browser: Browser, server: PageServer) -> None:
    page = opened(browser, server, "/presses/P07").page
    page.get_by_role("link", name="Explained: Leak-likelihood").click()
    page.wait_for_url("**/help#likelihood")
    expect(page.locator("#likelihood")).to_be_in_viewport()
    page.context.close()
