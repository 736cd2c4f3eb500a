"""The newcomer: from an empty plant to a press that is judged, by what the pages offer and nothing else.

Every step is taken by a word somebody sees; the only address typed is the one the program names. Where a
page stops offering the next step, the walk stops there.
"""

import csv
import datetime as dt
import json
import random
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.conftest import Watched, watch
from tests.processes import Served, run_command

pytestmark = pytest.mark.browser

#: "Within 5 minutes": what a machine needs is little of it, the rest is for reading.
MACHINE_S = 60.0
SHOTS = 240
HEADERS = (
    "Time", "Shot counter", "Shot size [mm]", "Cushion [mm]", "Transfer position [mm]", "Peak pressure [bar]",
    "Fill time [s]", "Recovery time [s]", "Cycle time [s]",
)  # fmt: skip
PASSWORD = "nine grey herons on a flooded yard"


def a_file(folder: Path) -> Path:
    """What a press's own display writes: no press, no mold, local times, shots of a month ago."""
    chance = random.Random(4)
    start = dt.datetime.now(dt.UTC).replace(microsecond=0, tzinfo=None) - dt.timedelta(days=32)
    path = folder / "export.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(HEADERS)
        for number in range(SHOTS):
            at = start + dt.timedelta(seconds=30 * number)
            size = 80.0 + chance.gauss(0, 0.03)
            cushion, peak = size - 74 + chance.gauss(0, 0.04), 1128 + chance.gauss(0, 4)
            fill, recovery = 1.4 + chance.gauss(0, 0.004), 6 + chance.gauss(0, 0.05)
            values = (
                f"{size:.2f}",
                f"{cushion:.2f}",
                "16.00",
                f"{peak:.0f}",
                f"{fill:.3f}",
                f"{recovery:.2f}",
            )
            rows.writerow([at.isoformat(sep=" "), 500 + number, *values, "30.0"])
    return path


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Served]:
    served = Served(
        "demo", "--empty", "--no-login", "--data", str(tmp_path / "demo"), folder=tmp_path, settings={}
    )
    served.start()
    yield served
    served.stop()


@pytest.fixture
def newcomer(browser: Browser) -> Iterator[Watched]:
    context = browser.new_context(viewport={"width": 1400, "height": 900}, service_workers="block")
    context.set_default_timeout(15_000)
    watched = watch(context.new_page())
    yield watched
    context.close()


def press_button(page: Page, word: str) -> None:
    page.get_by_role("button", name=word, exact=True).click()


def field(page: Page, word: str) -> Locator:
    """A field by the words above it; hints stand in the same label."""
    above = page.locator("span", has_text=re.compile(f"^{re.escape(word)}$"))
    return page.locator("label").filter(has=above).locator("input, select")


def follow(page: Page, word: str) -> None:
    page.get_by_role("link", name=word, exact=True).click()
    expect(page.locator("html")).to_have_attribute("data-ready", "1")


def steps(page: Page) -> dict[str, str]:
    """Each step with what it is: done, next or later."""
    found = page.get_by_role("region", name="First steps").get_by_role("listitem")
    looks = [one.get_attribute("class") or "" for one in found.all()]
    words = [one.locator("strong").inner_text() for one in found.all()]
    return dict(zip(words, [look.removeprefix("first-") for look in looks], strict=True))


def walk(page: Page, file: Path) -> None:
    """From the empty plant page to the judged press."""
    press, shots, record, approval = (
        "Put a press into the plant",
        "Bring its shots in",
        "Read its chart and capture a startup record",
        "Approve the record",
    )
    expect(page.get_by_role("heading", level=1)).to_have_text("No press sends shots yet.")
    assert steps(page) == {press: "next", shots: "later", record: "later", approval: "later"}
    field(page, "What it is called").fill("K 4")
    field(page, "Screw diameter, mm").fill("45")
    press_button(page, "Add the press")
    expect(page.get_by_text("K 4 is in the plant.")).to_be_visible()
    # Said by the chart, whose library is loaded here for the first time.
    expect(page.get_by_text("No shot has come yet.")).to_be_visible(timeout=20_000)
    assert steps(page) == {press: "done", shots: "next", record: "later", approval: "later"}

    follow(page, "Import a file")
    page.get_by_label("Drop a file here or choose one").set_input_files(file)
    expect(field(page, "Press")).to_have_value("K 4", timeout=20_000)
    field(page, "Mold").fill("M-9")
    field(page, "Time zone of its times").fill("UTC")
    field(page, "Time zone of its times").press("Enter")
    expect(page.get_by_role("cell", name="M-9", exact=True).first).to_be_visible(timeout=20_000)
    press_button(page, "Store these rows")
    expect(page.get_by_text(f"{SHOTS} of {SHOTS} rows stored, 0 were there already")).to_be_visible(
        timeout=30_000
    )
    expect(page.get_by_text("K 4 has shots.")).to_be_visible()

    follow(page, "Open the chart of K 4")
    expect(page.locator(".js-plotly-plot .scatterlayer path.js-line").first).to_be_attached(timeout=30_000)
    assert steps(page) == {press: "done", shots: "done", record: "next", approval: "later"}

    follow(page, "Capture a startup record")
    expect(field(page, "Mold")).to_have_value("M-9", timeout=20_000)
    press_button(page, "Capture")
    expect(page.get_by_text("Record 1 is captured.")).to_be_visible(timeout=20_000)
    assert steps(page)[approval] == "next"

    field(page, "Why it may be approved").fill("parts measured and good")
    press_button(page, "Approve")
    expect(page.get_by_role("region", name="First steps")).to_have_count(0, timeout=20_000)

    follow(page, "Back to K 4")
    expect(page.locator(".js-plotly-plot .scatterlayer path.js-line").first).to_be_attached(timeout=30_000)
    expect(page.get_by_text("Record 1 is approved and judges every shot after it.")).to_be_visible()
    expect(page.get_by_text("it is judged by itself with its next shots")).to_be_visible()
    expect(page.get_by_role("region", name="First steps")).to_have_count(0)


def test_a_newcomer_gets_from_an_empty_plant_to_a_judged_press(
    empty: Served, newcomer: Watched, tmp_path: Path
) -> None:
    began = time.monotonic()
    newcomer.page.goto(empty.address)
    walk(newcomer.page, a_file(tmp_path))
    assert time.monotonic() - began < MACHINE_S
    assert newcomer.complaints == []
    assert newcomer.violations() == []


def test_with_a_login_the_way_begins_at_the_login(newcomer: Watched, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'new.db'}"
    settings = {"RINGTELL_DATABASE_URL": url}
    served = Served("serve", folder=tmp_path, settings=settings)
    served.start()
    try:
        page = newcomer.page
        page.goto(served.address)
        expect(page.get_by_text("Nobody has an account here yet.")).to_be_visible()
        command = page.get_by_role("main").locator("code").inner_text().replace("NAME", "mara")
        program, *words = command.split()
        assert program == "ringtell"
        said = run_command(*words, folder=tmp_path, settings=settings)
        page.reload()
        assert "Nobody has an account" not in page.get_by_role("main").inner_text()
        page.get_by_label("Name", exact=True).fill("mara")
        page.get_by_label("Password", exact=True).fill(json.loads(said)["one_time_password"])
        press_button(page, "Sign in")
        page.get_by_label("New password").fill(PASSWORD)
        press_button(page, "Keep")
        walk(page, a_file(tmp_path))
        assert newcomer.complaints == []
    finally:
        served.stop()
