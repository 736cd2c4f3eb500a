"""Studies at the press in Chromium, on a whole server: weighed by keyboard, lost, found again, kept."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, FilePayload, Page

from tests.browser.conftest import watch
from tests.browser.test_browser import until
from tests.processes import Served
from tests.record.test_photos import telling

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("studies")
    options = ("--empty", "--no-login", "--data", str(folder / "data"))
    server = Served("demo", *options, folder=folder, settings={})
    server.start()
    for path, body in (("presses/P07", {"screw_diameter_mm": 50}), ("molds/M-113", {"part": "latch cover"})):
        httpx.put(f"{server.address}/api/v1/{path}", json=body).raise_for_status()
    httpx.put(f"{server.address}/api/v1/presses/P07/valve", json={"nominal_clearance_mm": 0.08})
    yield server
    server.kill()


def tablet(browser: Browser, served: Served, path: str) -> Page:
    context = browser.new_context(viewport={"width": 1024, "height": 768}, has_touch=True)
    page = watch(context.new_page()).page
    go(page, served, path)
    return page


def go(page: Page, served: Served, path: str) -> None:
    page.goto(served.address + path, wait_until="load")
    until(page, "document.documentElement.dataset.ready === '1'")


def begin(page: Page, served: Served, kind: str, **choices: str) -> None:
    go(page, served, f"/studies?kind={kind}&press=P07")
    page.locator(f"#{kind} [data-confirm]").check()
    for name, value in choices.items():
        field = page.locator(f"#{kind} [name={name}]")
        if field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)
    page.locator(f"#{kind} button[type=submit]").click()


def arrived(page: Page, part: str) -> None:
    page.wait_for_url(f"**/{part}/*")
    until(page, "document.documentElement.dataset.ready === '1'")


def weigh(page: Page, *values: float) -> None:
    box = page.locator(".entry-one [name=value]")
    for value in values:
        before = page.locator(".readings li").count()
        box.fill(str(value))
        box.press("Enter")
        until(page, f"document.querySelectorAll('.readings li').length > {before}")
        # The list may hear of the reading before its sender is answered.
        until(page, "document.querySelector('.entry-one [name=value]').value === ''")
        assert page.evaluate("document.activeElement.name") == "value"


def test_what_is_typed_while_the_answer_is_on_its_way_is_the_next_reading(
    browser: Browser, served: Served
) -> None:
    page = tablet(browser, served, "/studies")
    begin(page, served, "short-shot", mold="M-113")
    arrived(page, "sheets")

    box = page.locator(".entry-one [name=value]")
    box.fill("41.8")
    page.evaluate(
        "document.querySelector('.entry-one').requestSubmit();"
        " document.querySelector('.entry-one [name=value]').value = '41.6'"
    )
    until(page, "document.querySelectorAll('.readings li').length === 1")
    until(page, "!document.querySelector('.entry-one button[type=submit]').disabled")
    assert box.input_value() == "41.6"


def test_weights_are_typed_one_by_one_survive_a_lost_tablet_and_are_kept(
    browser: Browser, served: Served
) -> None:
    page = tablet(browser, served, "/studies")
    begin(page, served, "short-shot", mold="M-113")
    arrived(page, "sheets")
    address = page.url
    weigh(page, 41.8, 41.6, 418.0)
    page.get_by_role("button", name="Undo 418.0").click()
    until(page, "document.querySelectorAll('.readings .gone').length === 1")
    page.context.close()

    other = tablet(browser, served, address.removeprefix(served.address))
    assert other.locator(".readings li").count() == 3
    weigh(other, 41.9, 41.75)
    assert other.locator("svg.plot").count() == 1
    assert other.get_by_text("True variation over the limit").is_visible()
    other.locator(".sides input").nth(1).check()
    other.locator("details.inner summary").click()
    pasted = other.locator("form.entry-many textarea").nth(1)
    pasted.fill("44,80\n44,81\n44,79\n44,80")
    other.locator("form.entry-many button[type=submit]").nth(2).click()
    other.get_by_text("Hold pressure repairs it").wait_for(timeout=10_000)
    other.get_by_role("button", name="Keep this study").click()
    arrived(other, "studies")
    assert "Short-shot weights on P07" in other.locator("h1").inner_text()
    assert other.get_by_text("Cautions read and confirmed by").is_visible()
    other.context.close()


def test_a_plug_with_a_gassing_resin_is_refused_with_the_reason_and_nothing_typed_is_lost(
    browser: Browser, served: Served
) -> None:
    page = tablet(browser, served, "/studies")
    begin(page, served, "drift-check", resin="pom", method="rated_plug", pressure_bar="500")
    page.get_by_text("POM must never stand in a blocked nozzle").wait_for(timeout=10_000)
    assert page.locator("#drift-check [name=pressure_bar]").input_value() == "500"
    page.locator("#drift-check [name=method]").select_option("frozen_gate")
    page.locator("#drift-check button[type=submit]").click()
    arrived(page, "sheets")
    readings = b"s;mm\n0;30,0\n5;29,9\n10;29,8\n15;29,7\n20;29,6\n"
    page.locator("details.inner summary").click()
    drift: FilePayload = {"name": "drift.csv", "mimeType": "text/csv", "buffer": readings}
    page.set_input_files("input[type=file]", files=[drift])
    page.get_by_role("button", name="Take the file").click()
    page.get_by_text("0.020 mm/s").first.wait_for(timeout=10_000)
    page.context.close()


def test_a_qualification_is_a_list_that_says_what_is_missing(browser: Browser, served: Served) -> None:
    page = tablet(browser, served, "/studies")
    begin(page, served, "qualification", mold="M-113")
    arrived(page, "sheets")
    assert page.locator("h1").inner_text().startswith("0 of 9 checks done, 0 of 30 minutes gone")
    page.locator("#check-speed summary").click()
    page.locator("#check-speed textarea").fill("20 19.8\n60 58.5\n100 96")
    page.locator("#check-speed button[type=submit]").click()
    page.get_by_text("1 of 9 checks done").wait_for(timeout=10_000)
    assert page.locator("#check-speed .state").inner_text() == "passed"
    page.get_by_role("button", name="Keep this study").click()
    arrived(page, "studies")
    assert page.get_by_text("Not done: position reading").is_visible()
    page.context.close()


def test_an_inspection_is_measured_and_photographed(browser: Browser, served: Served, tmp_path: Path) -> None:
    page = tablet(browser, served, "/studies?kind=inspection&press=P07")
    page.locator("#inspection [data-confirm]").check()
    page.locator("[name='measurements.0.value_mm']").fill("49.80")
    page.locator("[name='measurements.3.value_mm']").fill("50.06")
    page.locator("#inspection input[value=scoring]").check()
    page.locator("#inspection button[type=submit]").click()
    arrived(page, "studies")
    assert page.get_by_text("0.130 ± 0.006 mm").first.is_visible()
    assert page.get_by_text("More than the 0.08 mm it was made with.").is_visible()
    (tmp_path / "ring.jpg").write_bytes(telling())
    page.set_input_files("#photos input[type=file]", tmp_path / "ring.jpg")
    page.locator("#photos [name=caption]").fill("scored ring")
    page.get_by_role("button", name="Add photo").click()
    until(page, "document.querySelector('.photos img')?.naturalWidth > 0")
    assert page.locator(".photos img").get_attribute("alt") == "scored ring"
    page.context.close()
