"""Finding by keyboard alone: suggestions as somebody types, chosen by arrows, said to a screen reader."""

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PageServer
from tests.browser.every_page import _AXE, _RULES, GRAVE
from tests.browser.test_browser import opened, until

pytestmark = pytest.mark.browser
FIELD = "[data-find]"


def suggested(page: Page) -> list[str]:
    return page.locator("#find-list [role=option] strong").all_inner_texts()


def typed(page: Page, words: str) -> None:
    page.focus(FIELD)
    page.keyboard.type(words)
    until(page, "!document.getElementById('find-list').hidden")


def test_a_press_is_found_and_opened_without_a_mouse(browser: Browser, server: PageServer) -> None:
    watched = opened(browser, server, "/molds")
    page = watched.page
    typed(page, "p1")
    typed(page, "1")
    until(page, "document.querySelector('#find-list strong').textContent === 'P11 Plover'")
    field = page.locator(FIELD)
    assert field.get_attribute("role") == "combobox"
    assert field.get_attribute("aria-expanded") == "true"
    assert field.get_attribute("aria-activedescendant") is None
    page.keyboard.press("ArrowDown")
    chosen = field.get_attribute("aria-activedescendant")
    assert page.locator(f"#{chosen}").get_attribute("aria-selected") == "true"
    assert page.locator("[aria-selected=true]").count() == 1
    page.keyboard.press("Enter")
    page.wait_for_url("**/presses/P11")
    assert watched.complaints == []
    assert watched.violations() == []
    page.context.close()


def test_what_is_chosen_stays_chosen_when_a_later_answer_comes(browser: Browser, server: PageServer) -> None:
    watched = opened(browser, server, "/molds")
    page = watched.page
    typed(page, "p1")
    until(page, "document.querySelector('#find-list strong')?.textContent === 'P11 Plover'")
    page.keyboard.press("ArrowDown")
    with page.expect_response(lambda answer: "q=p11" in answer.url):
        typed(page, "1")
    page.wait_for_timeout(300)
    assert page.locator("[aria-selected=true] strong").text_content() == "P11 Plover"
    page.context.close()


def test_arrows_go_around_through_the_field_and_escape_puts_suggestions_away(
    browser: Browser, server: PageServer
) -> None:
    page = opened(browser, server, "/molds").page
    typed(page, "thistle")
    count = len(suggested(page))
    page.keyboard.press("ArrowUp")
    assert page.locator(FIELD).get_attribute("aria-activedescendant") == f"find-{count - 1}"
    page.keyboard.press("ArrowDown")
    assert page.locator(FIELD).get_attribute("aria-activedescendant") is None
    page.keyboard.press("Escape")
    assert page.locator("#find-list").is_hidden()
    assert page.locator(FIELD).get_attribute("aria-expanded") == "false"
    assert page.locator(FIELD).input_value() == "thistle"
    page.context.close()


def test_enter_without_a_choice_leads_to_everything_that_fits(browser: Browser, server: PageServer) -> None:
    page = opened(browser, server, "/").page
    typed(page, "M-113")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?q=M-113")
    assert "M-113" in page.locator("h1").inner_text()
    page.context.close()


def test_what_is_suggested_is_said_and_breaks_no_rule(browser: Browser, server: PageServer) -> None:
    page = opened(browser, server, "/", ("dark", 820, 1180)).page
    typed(page, "cushion")
    until(page, "document.querySelector('.find output').textContent.includes('suggestions')")
    page.evaluate(_AXE)
    broken = [one["id"] for one in page.evaluate(_RULES) if one["impact"] in GRAVE]
    assert broken == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 820
    page.keyboard.type("zzz")
    until(page, "document.querySelector('.find output').textContent === 'Nothing found.'")
    assert page.locator("#find-list").is_hidden()
    page.context.close()


def test_without_a_script_the_field_is_a_form(browser: Browser, server: PageServer) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(server.base + "/")
    page.fill(FIELD, "thistle")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?q=thistle")
    assert page.locator(".found a").first.get_attribute("href") == "/presses/P07"
    context.close()
