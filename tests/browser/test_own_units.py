"""Who thinks in inches types inches; millimetres are kept, and what nobody touched stays exact."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Page

from tests.browser.whole import serving

pytestmark = pytest.mark.browser


@pytest.fixture
def base(tmp_path: Path) -> Iterator[str]:
    with serving(tmp_path) as (address, _app):
        units = {"units": {"length": "in", "pressure": "psi", "temperature": "degF", "volume": "in3"}}
        assert httpx.put(f"{address}/api/v1/settings", json=units, timeout=20).is_success
        yield address


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 1400, "height": 900})
    yield opened
    opened.close()


def screw(base: str) -> float:
    return float(httpx.get(f"{base}/api/v1/presses/P07", timeout=20).json()["screw_diameter_mm"])


def test_a_length_is_typed_in_inches_and_kept_in_millimetres(base: str, page: Page) -> None:
    httpx.put(f"{base}/api/v1/presses/P07", json={"screw_diameter_mm": 41.3}, timeout=20)
    page.goto(f"{base}/presses/P07")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    field = page.locator("input[name=screw_diameter_mm]")
    assert field.input_value() == "1.62598"
    page.locator("input[name=area]").fill("Hall C")
    page.locator("form:has(input[name=screw_diameter_mm]) button[type=submit]").click()
    page.locator("input[name=area][value='Hall C']").wait_for(state="attached")
    assert screw(base) == 41.3
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    field.fill("2")
    page.locator("form:has(input[name=screw_diameter_mm]) button[type=submit]").click()
    page.locator("input[name=screw_diameter_mm][value='2']").wait_for(state="attached")
    assert screw(base) == 50.8


def test_readings_of_a_drift_check_are_typed_in_inches(base: str, page: Page) -> None:
    asked = {
        "kind": "drift-check", "mold": "M-113", "resin": "pp", "method": "frozen_gate", "pressure_bar": 500,
        "confirmed": ["hot_melt", "heat_soak", "blocked_nozzle"],
    }  # fmt: skip
    made = httpx.post(f"{base}/api/v1/presses/P07/sheets", json=asked, timeout=20)
    assert made.is_success, made.text
    page.goto(f"{base}/presses/P07/sheets/{made.json()['id']}")
    page.locator("input[name=value]").fill("3")
    page.locator("input[name=second]").fill("1.5")
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_text("3 → 1.5").wait_for()
    kept = httpx.get(f"{base}/api/v1/presses/P07/sheets/{made.json()['id']}", timeout=20).json()
    assert [(one["value"], one["second"]) for one in kept["readings"]] == [(3.0, 38.1)]
