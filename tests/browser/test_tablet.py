"""The alarm page on a tablet: installed, by touch, without a network, for two people at once."""

import contextlib
import dataclasses
import struct
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect

from server.access.passwords import hash_new_password
from server.access.people import add_person
from server.app import build_app, build_objects
from server.clock import now_ms as read_clock
from server.notify.alarms import react
from server.notify.conditions import Condition
from server.settings import Settings
from server.store import alarms as kept
from server.store.alarms import AlarmStep
from server.store.database import Store
from server.store.engine import upgrade
from server.store.people import change_person, person_by_name
from server.store.plant import need_press, put_press, put_settings
from tests.browser.draw_icons import draw, place_of
from tests.browser.test_browser import _SMALL, until
from tests.processes import free_port

pytestmark = pytest.mark.browser

PASSWORD = "correct horse 12"
PEOPLE = {"vera": "line_lead", "olek": "line_lead"}
#: The server's clock goes half a year after the browser's, and so do its pages.
BEHIND_MS = 180 * 86_400_000
PATIENCE = 20_000


@dataclasses.dataclass
class Floor:
    """A running server with people and alarms."""

    base: str
    store: Store

    def alarm(self, press: str, *, active: bool = True, urgency: str = "now") -> None:
        condition = Condition("leak", active, active, urgency, "steady_leak", {"likelihood": 0.95})
        now = read_clock() - BEHIND_MS
        self.store.write(lambda c: react(c, need_press(c, press), condition, now_ms=now))

    def steps(self, press: str) -> list[AlarmStep]:
        with self.store.read() as connection:
            return kept.steps_of(connection, need_press(connection, press).press_id, 1)

    def answers(self, press: str) -> list[tuple[str, str]]:
        return [(one.who, one.reason) for one in self.steps(press) if one.action == "acknowledged"]


@pytest.fixture
def floor(tmp_path: Any) -> Iterator[Floor]:
    url = f"sqlite:///{tmp_path / 'floor.db'}"
    upgrade(url)
    port = free_port()
    objects = build_objects(Settings(database_url=url, port=port), now_ms=lambda: read_clock() - BEHIND_MS)
    objects.store.write(_fill)
    config = uvicorn.Config(
        build_app(objects, run_pipeline=False),
        host="127.0.0.1",
        port=port,
        log_level="error",
        timeout_graceful_shutdown=1,
    )
    running = uvicorn.Server(config)
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    end = time.monotonic() + 20
    while not running.started and time.monotonic() < end:
        time.sleep(0.02)
    assert running.started
    made = Floor(f"http://127.0.0.1:{port}", objects.store)
    for press in ("P07", "P11"):
        made.alarm(press, urgency="now" if press == "P07" else "this_shift")
    yield made
    running.should_exit = True
    thread.join(timeout=15)


def _fill(connection: Any) -> None:
    now = read_clock() - BEHIND_MS
    put_settings(connection, {"plant_name": "Ottermoor Works", "time_zone": "Europe/Berlin"})
    for press, name in (("P07", "Thistle"), ("P11", "Plover")):
        put_press(connection, press, {"name": name, "area": "Hall B"}, now_ms=now)
    for name, role in PEOPLE.items():
        add_person(connection, name, role, by="tests", now_ms=now)
        person = person_by_name(connection, name)
        assert person is not None
        secret = hash_new_password(name, old="", new=PASSWORD)
        change_person(connection, person.person_id, password_hash=secret, must_change=False)


@contextlib.contextmanager
def tablet(
    browser: Browser, floor: Floor, who: str, *, width: int = 800, height: int = 1280
) -> Iterator[BrowserContext]:
    """A tablet in somebody's hands, signed in."""
    context = browser.new_context(has_touch=True, is_mobile=True, viewport={"width": width, "height": height})
    sign_in(context, floor, who)
    try:
        yield context
    finally:
        context.close()


def sign_in(context: BrowserContext, floor: Floor, who: str) -> None:
    answer = context.request.post(
        f"{floor.base}/api/v1/login",
        data={"name": who, "password": PASSWORD},
        headers={"X-Ringtell": "page"},
    )
    assert answer.ok, answer.text()


_KEPT_FOR = """async () => {
  const known = await (await caches.open('ringtell-pages')).match('/alarms?person');
  return known ? known.text() : '';
}"""


def alarms(context: BrowserContext, floor: Floor) -> Page:
    page = context.new_page()
    page.goto(f"{floor.base}/alarms")
    ready(page)
    return page


def ready(page: Page) -> None:
    until(page, "document.documentElement.dataset.ready === '1'")


def kept_offline(page: Page) -> None:
    """The worker has the page, as far as a page can tell."""
    script = """async () => {
      const shelf = await caches.open('ringtell-pages');
      return !!(await shelf.match('/alarms')) && !!navigator.serviceWorker.controller;
    }"""
    end = time.monotonic() + 20
    while not page.evaluate(script):
        assert time.monotonic() < end, "the worker never kept the page"
        page.wait_for_timeout(100)


def tap(page: Page, press: str, word: str) -> None:
    page.get_by_role("group", name=f"Answer {press}").get_by_role("button", name=word).tap()


def eventually(claim: Any, *, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not claim():
        assert time.monotonic() < end, "still not so"
        time.sleep(0.1)


def test_the_page_can_be_installed(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        address = page.locator("link[rel=manifest]").get_attribute("href")
        manifest = context.request.get(floor.base + str(address)).json()
        told = [manifest[name] for name in ("scope", "start_url", "display")]
        assert told == ["/", "/alarms", "standalone"]
        for icon in manifest["icons"]:
            picture = context.request.get(floor.base + icon["src"]).body()
            if icon["type"] == "image/png":
                width, height = struct.unpack(">II", picture[16:24])
                assert icon["sizes"] == f"{width}x{height}"
            else:
                assert picture.startswith(b"<svg")
        assert {icon["purpose"] for icon in manifest["icons"]} == {"any", "maskable"}
        kept_offline(page)
        scope = page.evaluate("navigator.serviceWorker.ready.then((one) => one.scope)")
        assert scope == f"{floor.base}/"


def test_the_icons_are_drawn_from_the_drawing(browser: Browser) -> None:
    assert draw(browser, 192, "any") == place_of("icons/icon-192.png").read_bytes()


@pytest.mark.parametrize(("width", "height"), [(800, 1280), (1280, 800)], ids=["portrait", "landscape"])
def test_every_target_is_large_enough_for_gloves_either_way_round(
    browser: Browser, floor: Floor, width: int, height: int
) -> None:
    with tablet(browser, floor, "vera", width=width, height=height) as context:
        page = alarms(context, floor)
        for summary in page.locator("summary").all():
            summary.tap()
        assert page.evaluate(_SMALL) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_tap_with_a_finger_answers_under_the_name_of_who_holds_the_tablet(
    browser: Browser, floor: Floor
) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        tap(page, "P07", "Going to it")
        expect(page.locator(".quiet-alarms")).to_contain_text("vera", timeout=PATIENCE)
        assert floor.answers("P07") == [("vera", "going")]


def test_a_finger_faster_than_the_script_is_heard(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as context:
        page = context.new_page()
        held: list[Any] = []
        page.route("**/js/alarms.js", lambda route: held.append(route))
        page.goto(f"{floor.base}/alarms", wait_until="commit")
        until(page, "document.readyState === 'interactive' || document.readyState === 'complete'")
        page.wait_for_timeout(2_000)
        assert held
        assert page.evaluate("document.documentElement.dataset.ready") is None
        tap(page, "P07", "Seen")
        for route in held:
            route.continue_()
        expect(page.locator(".quiet-alarms")).to_contain_text("vera", timeout=PATIENCE)
        assert floor.answers("P07") == [("vera", "seen")]


def test_without_a_network_the_last_state_shows_with_its_age_and_answers_go_out_once(
    browser: Browser, floor: Floor
) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        clock = page.locator("[data-asof]").get_attribute("data-clock")
        kept_offline(page)
        context.set_offline(True)
        tap(page, "P07", "Planned work")
        expect(page.locator("[data-network]")).to_contain_text("(1 waiting)", timeout=PATIENCE)
        page.reload()
        ready(page)
        age = page.locator("[data-age]")
        expect(age).to_contain_text(f"This is how it stood at {clock}", timeout=PATIENCE)
        # The device's clock is half a year off; the age is not.
        expect(age).to_contain_text("0 min ago")
        expect(page.get_by_text("Kept: Planned work.")).to_be_visible(timeout=PATIENCE)
        expect(page.locator("article.alarm")).to_have_count(2)
        assert floor.answers("P07") == []
        context.set_offline(False)
        eventually(lambda: floor.answers("P07") == [("vera", "planned")])
        expect(age).to_be_hidden(timeout=PATIENCE)
        expect(page.locator("article.alarm")).to_have_count(1, timeout=PATIENCE)
        page.wait_for_timeout(1_000)
        assert floor.answers("P07") == [("vera", "planned")]


def test_a_later_tap_on_the_same_alarm_takes_the_place_of_one_not_sent(
    browser: Browser, floor: Floor
) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        context.set_offline(True)
        tap(page, "P07", "Seen")
        tap(page, "P07", "Not real")
        tap(page, "P11", "Seen")
        expect(page.locator("[data-network]")).to_contain_text("(2 waiting)", timeout=PATIENCE)
        context.set_offline(False)
        eventually(lambda: floor.answers("P07") == [("vera", "not_real")])
        eventually(lambda: floor.answers("P11") == [("vera", "seen")])


def test_an_answer_the_server_refuses_is_shown_until_it_was_seen(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        context.set_offline(True)
        tap(page, "P07", "Seen")
        expect(page.locator("[data-network]")).to_contain_text("(1 waiting)", timeout=PATIENCE)

        def lose_the_right(connection: Any) -> None:
            person = person_by_name(connection, "vera")
            assert person is not None
            change_person(connection, person.person_id, role="viewer")

        floor.store.write(lose_the_right)
        context.set_offline(False)
        refused = page.locator("[data-refused] li")
        expect(refused).to_contain_text("Not taken: P07 Thistle, Seen.", timeout=PATIENCE)
        expect(refused).to_contain_text("may not acknowledge")
        page.locator("[data-seen-refusal]").tap()
        expect(refused).to_have_count(0, timeout=PATIENCE)
        assert floor.answers("P07") == []


def test_two_people_at_once_are_no_error_and_the_first_name_stays(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as hers, tablet(browser, floor, "olek") as his:
        first, second = alarms(hers, floor), alarms(his, floor)
        his.set_offline(True)
        tap(second, "P07", "Seen")
        expect(second.locator("[data-network]")).to_contain_text("(1 waiting)", timeout=PATIENCE)
        tap(first, "P07", "Going to it")
        eventually(lambda: floor.answers("P07") == [("vera", "going")])
        his.set_offline(False)
        expect(second.locator(".quiet-alarms")).to_contain_text("vera", timeout=PATIENCE)
        expect(second.locator("[data-refused] li")).to_have_count(0)
        assert floor.answers("P07") == [("vera", "going")]


def test_whoever_signs_out_leaves_nothing_on_the_device(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        kept_offline(page)
        page.get_by_role("button", name="Sign out").tap()
        page.wait_for_url("**/login*", timeout=PATIENCE)
        eventually(lambda: page.evaluate("caches.has('ringtell-pages')") is False)
        context.set_offline(True)
        with pytest.raises(Exception, match="ERR_"):
            page.goto(f"{floor.base}/alarms")


def test_the_next_person_on_the_same_device_sees_and_sends_nothing_of_the_one_before(
    browser: Browser, floor: Floor
) -> None:
    with tablet(browser, floor, "vera") as context:
        page = alarms(context, floor)
        kept_offline(page)
        context.set_offline(True)
        tap(page, "P07", "Seen")
        expect(page.locator("[data-network]")).to_contain_text("(1 waiting)", timeout=PATIENCE)
        page.close()
        context.set_offline(False)
        sign_in(context, floor, "olek")
        page = alarms(context, floor)
        eventually(lambda: page.evaluate(_KEPT_FOR) == "olek")
        kept_offline(page)
        page.wait_for_timeout(1_500)
        assert floor.answers("P07") == []
        assert not page.get_by_text("Kept: Seen.").is_visible()
        context.set_offline(True)
        page.reload()
        ready(page)
        expect(page.locator(".foot")).to_contain_text("olek", timeout=PATIENCE)
        context.set_offline(False)
        # What vera tapped is hers: it leaves when she is back.
        sign_in(context, floor, "vera")
        page.goto(f"{floor.base}/alarms")
        eventually(lambda: floor.answers("P07") == [("vera", "seen")])


def test_a_shift_hands_over_to_the_next(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as hers, tablet(browser, floor, "olek") as his:
        page = alarms(hers, floor)
        tap(page, "P07", "Going to it")
        eventually(lambda: floor.answers("P07") == [("vera", "going")])
        page.locator("#hand-over summary").tap()
        page.locator("textarea[name=note]").fill("P07 goes on with a watcher.\nBox 2207 is on hold.")
        page.get_by_role("button", name="Hand over").tap()
        other = alarms(his, floor)
        note = other.locator(".handover")
        expect(note).to_contain_text("vera", timeout=PATIENCE)
        expect(note).to_contain_text("Box 2207 is on hold.")
        other.get_by_role("button", name="Read it").tap()
        expect(note).to_have_count(0, timeout=PATIENCE)
        other.locator("#shift-lists > summary").tap()
        expect(other.locator("#shift-lists")).to_contain_text("Read by olek")
        expect(other.locator("#shift-lists")).to_contain_text("vera: going to it")
        expect(other.locator("#shift-lists")).to_contain_text("P11: leak, this shift")


def test_a_device_calls_only_after_its_owner_asked_it_to(browser: Browser, floor: Floor) -> None:
    with tablet(browser, floor, "vera") as context:
        context.grant_permissions(["notifications"], origin=floor.base)
        page = alarms(context, floor)
        expect(page.get_by_text("This device calls when an alarm opens.")).to_be_visible(timeout=PATIENCE)
        shown = """async () => (await (await navigator.serviceWorker.ready).getNotifications())
          .map((one) => one.body)"""
        assert page.evaluate(shown) == []
        floor.alarm("P07", active=False)
        floor.store.write(lambda c: put_press(c, "P20", {"name": "Wren"}, now_ms=0))
        floor.alarm("P20")

        def called() -> bool:
            page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
            return any("P20 Wren" in text for text in page.evaluate(shown))

        eventually(called)
        assert len(page.evaluate(shown)) == 1
