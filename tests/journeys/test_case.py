"""From an alarm to a proven fix, in a browser: case, containment, weights, another valve, verdict.

The shots are put into the database by hand, since what they say is the point; all that people do goes
through pages and the API of a running server, whose clock is moved on while the press makes shots.
"""

import dataclasses
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
import uvicorn
from playwright.sync_api import Browser, Page, expect

from server.app import build_app, build_objects
from server.clock import now_ms as read_clock
from server.contract import SHOT_COLUMNS
from server.notify.alarms import react
from server.notify.conditions import Condition
from server.record.valves import put_valve
from server.settings import Settings
from server.store.database import Store
from server.store.engine import upgrade
from server.store.plant import Setup, keep_setup, need_press, put_press, setup_digest
from server.store.records import Baseline, add_baseline
from server.store.shots import note_arrival, store_shots
from server.store.tables import press_states
from tests.chromium import chromium
from tests.processes import free_port

pytestmark = pytest.mark.browser

MINUTE, HOUR = 60_000, 3_600_000
CYCLE = 20_000
#: What a page may take on a machine that is busy with other things, in ms.
PATIENCE = 20_000
WEIGHTS = [41.8, 40.2, 42.6, 39.9, 41.1, 43.0, 40.5, 42.2, 39.7, 41.4]


@dataclasses.dataclass
class Clock:
    """What the server takes for the time."""

    at_ms: int


@dataclasses.dataclass
class House:
    """A running server over a plant with one press, and the clock it reads."""

    base: str
    store: Store
    clock: Clock
    counter: int = 1

    def run(self, shots: int, *, level: float) -> None:
        """Let the press make shots with a swept stroke about `level`, while time goes on."""
        chance = np.random.default_rng(self.counter)
        start = self.clock.at_ms

        def job(c: sa.Connection) -> None:
            press = need_press(c, "P07")
            setup = setup_digest("M-113", "PP", "S1", "{}")
            keep_setup(c, Setup(press.press_id, setup, "M-113", "PP", "S1", "{}", start))
            rows = []
            for i in range(shots):
                swept = level + 0.05 * chance.standard_normal()
                values: dict[str, Any] = {"shot_size_mm": 80.0, "cushion_mm": 80.0 - swept, "box": "2231"}
                cells = (values.get(name) for name in SHOT_COLUMNS)
                rows.append((start + (i + 1) * CYCLE, self.counter + i, setup, *cells))
            store_shots(c, press.press_id, rows)
            note_arrival(
                c, press.press_id, last_shot_ms=start + shots * CYCLE, last_counter=self.counter + shots,
                now_ms=start + shots * CYCLE,
            )  # fmt: skip

        self.store.write(job)
        self.counter += shots
        self.clock.at_ms += (shots + 1) * CYCLE


def _fill(c: sa.Connection, at_ms: int) -> None:
    put_press(c, "P07", {"name": "Thistle", "area": "Hall B"}, now_ms=at_ms)
    press = need_press(c, "P07")
    signals = {"signals": {"swept_mm": {"center": 74.0, "sigma": 0.05}}, "dose_lag": 0, "cycle_ms": 20_000.0}
    add_baseline(
        c,
        Baseline(
            press.press_id, 0, "M-113", "PP", None, at_ms - HOUR, at_ms - MINUTE, 200, "approved", signals,
            "", "ada", at_ms, "ada", at_ms,
        ),
    )  # fmt: skip
    put_valve(c, press, {"part_number": "RV-50-3", "shots_before": 400_000}, who="ada", now_ms=at_ms)
    c.execute(sa.update(press_states).values(mold="M-113", material="PP"))


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    url = f"sqlite:///{tmp_path / 'plant.db'}"
    upgrade(url)
    port = free_port()
    start = read_clock() - 30 * 24 * HOUR
    settings = Settings(database_url=url, port=port, no_login=True)
    clock = Clock(start)
    objects = build_objects(settings, now_ms=lambda: clock.at_ms)
    made = House(f"http://127.0.0.1:{port}", objects.store, clock)
    made.store.write(lambda c: _fill(c, start))
    config = uvicorn.Config(
        build_app(objects, run_pipeline=False), host="127.0.0.1", port=port, log_level="error",
        timeout_graceful_shutdown=1,
    )  # fmt: skip
    running = uvicorn.Server(config)
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    end = time.monotonic() + 20
    while not running.started and time.monotonic() < end:
        time.sleep(0.02)
    assert running.started
    yield made
    running.should_exit = True
    thread.join(timeout=15)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened


def opened(page: Page, house: House, path: str) -> None:
    page.goto(f"{house.base}{path}")
    page.locator("html[data-ready='1']").wait_for(state="attached", timeout=PATIENCE)


def test_from_an_alarm_to_a_proven_fix(house: House, browser: Browser) -> None:
    house.run(60, level=74.0)
    house.run(300, level=74.6)
    leak = Condition("leak", True, True, "now", "steady_leak", {"likelihood": 0.95})
    house.store.write(lambda c: react(c, need_press(c, "P07"), leak, now_ms=house.clock.at_ms - 250 * CYCLE))
    context = browser.new_context(
        viewport={"width": 1024, "height": 768}, has_touch=True, extra_http_headers={"X-Ringtell": "page"}
    )
    page = context.new_page()
    page.set_default_timeout(PATIENCE)
    expect.set_options(timeout=PATIENCE)

    # The line lead opens a case from the alarm, and sees which parts are suspect.
    opened(page, house, "/alarms")
    page.get_by_text("or a case for the engineer").click()
    page.get_by_role("button", name="Open a case").click()
    page.get_by_role("link", name="Case 1").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("the cause is being looked for")
    page.get_by_role("link", name="Suspect parts").click()
    expect(page.get_by_role("main")).to_contain_text("2231")

    # Short shots are weighed: the cautions first, the column pasted, the study kept; they stand in the story.
    opened(page, house, "/studies?kind=short-shot&press=P07")
    weighing = page.locator("#short-shot")
    weighing.locator("[data-confirm]").check()
    weighing.get_by_label("Another limit").fill("5")
    weighing.get_by_role("button", name="Begin weighing").click()
    page.get_by_text("Paste a column").click()
    page.locator("form.entry-many textarea").first.fill("\n".join(map(str, WEIGHTS)))
    page.locator("form.entry-many button[type=submit]").first.click()
    expect(page.locator(".readings li")).to_have_count(len(WEIGHTS))
    house.clock.at_ms += MINUTE
    page.get_by_role("button", name="Keep this study").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Short-shot weights on P07")
    expect(page.get_by_role("main")).to_contain_text("Cautions read and confirmed by")
    house.clock.at_ms += MINUTE
    opened(page, house, "/cases/P07/1")
    expect(page.locator("[data-live=story]")).to_contain_text("Short-shot weights")

    # Another valve is entered in the ledger; the case takes it up and waits for shots.
    opened(page, house, "/valves")
    page.get_by_text("Enter a fitted valve").click()
    form = page.locator("form[data-post*='/valve']").first
    form.get_by_label("The work was done by trained").check()
    form.get_by_label("Press").select_option("P07")
    form.get_by_label("Part number").fill("RV-50-4")
    form.get_by_label("What was found on it").fill("seat cut")
    form.get_by_role("button", name="Enter").click()
    expect(page.get_by_role("main")).to_contain_text("RV-50-4")
    opened(page, house, "/cases/P07/1")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Not yet: 50 more shots")
    expect(page.locator("#close [name=verdict] option")).to_have_text(["cannot say"])

    # Shots come, settling ones are left out, and the comparison is ready.
    house.run(90, level=74.0)
    opened(page, house, "/cases/P07/1")
    expect(page.get_by_role("heading", level=1)).to_contain_text("It is fixed.")
    expect(page.locator("[data-live=proofs]")).to_contain_text("back at the record")
    closing = page.locator("#close")
    closing.locator("[name=verdict]").select_option("fixed")
    closing.locator("[name=note]").fill("seat was cut; parts good again")
    closing.get_by_role("button", name="Close the case").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("P07: It is fixed.")
    expect(page.get_by_role("main")).to_contain_text("seat was cut; parts good again")
    expect(page.get_by_role("button", name="Close the case")).to_have_count(0)

    # What it says of the valve that went stands on that valve's page, in the score's record and next time.
    opened(page, house, "/valves/P07/1")
    expect(page.get_by_role("heading", level=1)).to_contain_text("had failed (the change fixed it)")
    proofs = context.request.get(f"{house.base}/api/v1/studies?press=P07").json()["items"]
    assert (proofs[0]["kind"], proofs[0]["verdict"]) == ("proof", "fixed")
    house.clock.at_ms += MINUTE
    again = context.request.post(
        f"{house.base}/api/v1/presses/P07/cases", data={"about": "scatter on night shift"}
    )
    assert again.ok, again.text()
    opened(page, house, "/cases/P07/2")
    expect(page.get_by_role("main")).to_contain_text("The valve changed (RV-50-3 → RV-50-4): fixed")
    page.close()
    context.close()
