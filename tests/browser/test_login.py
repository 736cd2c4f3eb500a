"""The way in, typed by hand: a password may be pasted, and looked at where nobody else is looking."""

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import PageServer, watch

pytestmark = pytest.mark.browser

LONG = "three lamps above the old door, and one below"


def test_a_password_may_be_pasted_and_looked_at(browser: Browser, server: PageServer) -> None:
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    watched = watch(context.new_page())
    page = watched.page
    page.goto(server.base + "/login")
    field = page.locator("form[action='/login'] [name=password]")
    field.wait_for()
    page.locator("form[action='/login'] [data-reveal]").wait_for()
    # As the browser itself pastes, with every listener of the page hearing it.
    pasted = """(field, text) => {
      field.focus();
      const data = new DataTransfer();
      data.setData('text/plain', text);
      const event = new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true });
      return field.dispatchEvent(event) && document.execCommand('insertText', false, text);
    }"""
    assert field.evaluate(pasted, LONG)
    assert field.input_value() == LONG
    assert field.get_attribute("type") == "password"
    page.get_by_label("Show what I type").first.check()
    assert field.get_attribute("type") == "text"
    page.get_by_label("Show what I type").first.uncheck()
    assert field.get_attribute("type") == "password"
    page.get_by_label("Show what I type").first.check()
    page.evaluate("window.dispatchEvent(new Event('pagehide'))")
    assert field.get_attribute("type") == "password"
    assert watched.complaints == []
    context.close()
