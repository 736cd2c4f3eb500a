"""A shared tablet in a real browser: chosen by name and short number, locked when left, changed over."""

import socket
import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect

from server.access.passwords import hash_new_pin
from server.access.people import need_person
from server.routes.cookies import TABLET
from server.store.engine import upgrade
from server.store.people import change_person
from tests.security.callers import House, house

PIN = "270915"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[House, str]]:
    url = f"sqlite:///{tmp_path_factory.mktemp('change-over') / 'plant.db'}"
    upgrade(url)
    with house(url) as made, socket.socket() as listening:
        for name in ("line_lead", "quality_lead"):
            made.objects.store.write(
                lambda c, who=name: change_person(
                    c, need_person(c, who).person_id, pin_hash=hash_new_pin(PIN)
                )
            )
        listening.bind(("127.0.0.1", 0))
        running = uvicorn.Server(uvicorn.Config(made.app, log_level="error", timeout_graceful_shutdown=1))
        thread = threading.Thread(target=running.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        until = time.monotonic() + 20
        while not running.started and time.monotonic() < until:
            time.sleep(0.02)
        yield made, f"http://127.0.0.1:{listening.getsockname()[1]}"
        made.objects.hub.close()
        running.should_exit = True
        thread.join(timeout=10)


@pytest.fixture
def tablet(served: tuple[House, str], browser: Browser) -> Iterator[Page]:
    made, base = served
    token = made.callers["administrator by pin"].headers["Cookie"].partition(f"{TABLET}=")[2]
    context = browser.new_context(
        viewport={"width": 1024, "height": 768}, has_touch=True, base_url=base, service_workers="block"
    )
    context.add_cookies([{"name": TABLET, "value": token, "url": base}])
    page = context.new_page()
    page.clock.install()
    yield page
    context.close()


def ready(page: Page) -> None:
    expect(page.locator("html")).to_have_attribute("data-ready", "1")


def enter(page: Page, name: str, pin: str = PIN) -> None:
    ready(page)
    page.get_by_label(name).check()
    for digit in pin:
        page.locator(f"[data-digit='{digit}']").tap()
    page.get_by_role("button", name="Go on").tap()


def test_people_change_over_by_name_and_short_number(tablet: Page) -> None:
    tablet.goto("/login?next=/molds")
    enter(tablet, "line_lead", "999123")
    expect(tablet.locator("[data-short] output")).to_contain_text("wrong")
    expect(tablet.locator("[name=pin]")).to_have_value("")
    enter(tablet, "line_lead")
    tablet.wait_for_url("**/molds")
    ready(tablet)
    expect(tablet.locator(".foot")).to_contain_text("line_lead")
    tablet.locator("[data-change-over]").tap()
    tablet.wait_for_url("**/login?next=%2Fmolds")
    assert tablet.request.get("/api/v1/me").status == 401
    enter(tablet, "quality_lead")
    tablet.wait_for_url(lambda url: url.endswith("/molds") and "login" not in url)
    expect(tablet.locator(".foot")).to_contain_text("quality_lead")


def test_a_tablet_nobody_touches_locks_itself(tablet: Page) -> None:
    tablet.goto("/login?next=/valves")
    enter(tablet, "line_lead")
    tablet.wait_for_url(lambda url: url.endswith("/valves") and "login" not in url)
    ready(tablet)
    tablet.clock.run_for(200_000)
    tablet.locator("h1").tap()
    tablet.clock.run_for(200_000)
    assert "login" not in tablet.url
    tablet.clock.run_for(105_000)
    tablet.wait_for_url("**/login?next=%2Fvalves")
    assert tablet.request.get("/api/v1/me").status == 401
