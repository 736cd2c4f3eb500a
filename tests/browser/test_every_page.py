"""Every page there is, on desk and tablet, light and dark: nothing amiss, and pictures to look at."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser

from server.record import cases, setting_trials, sheets
from server.record.studies import CAUTIONS
from server.store.plant import need_press
from tests.browser.every_page import PICTURED, SCREENS, THEMES, Walk
from tests.browser.whole import serving
from tests.pages.plant import DAY, NOW
from tests.security.callers import routes_of

pytestmark = pytest.mark.browser

#: Looked at after the run; git ignores them.
PICTURES = Path(__file__).parent / "pictures"
#: What stands for the parts of an address; the plant below has one of each.
PARTS = {"press": "P07", "mold": "M-113", "number": "1"}
#: Answers to browsers that are no pages.
NO_PAGES = {"/favicon.ico", "/manifest.webmanifest", "/service-worker.js", "/healthz", "/readyz", "/metrics"}
#: The reference of the API is drawn from its own document and has its own tests.
OTHERS = {"/docs", "/openapi.json"}


def page_paths(app: FastAPI) -> list[str]:
    """Every address that answers with a page, its parts filled in."""
    found = []
    for method, path in sorted(routes_of(app)):
        if method == "GET" and not path.startswith(("/api/", "/static/")) and path not in NO_PAGES | OTHERS:
            for name, value in PARTS.items():
                path = path.replace("{" + name + "}", value)
            assert "{" not in path, f"PARTS does not say what stands for a part of {path}"
            found.append(path)
    return found


def _work(connection: Any) -> None:
    """A case, a setting trial and a study that is being done, so that each page has something to show."""
    press = need_press(connection, "P07")
    told = {"about": "scatter on night shift"}
    cases.open_one(connection, press, told, onset_ms=NOW - DAY, who="ada", now_ms=NOW - DAY // 2)
    asked = {"setting": "decompression", "unit": "mm", "levels": ["4", "6"], "seed": 5}
    setting_trials.plan(connection, press, asked, who="ines", now_ms=NOW - DAY // 4)
    kind = "short-shot"
    sheet = {"kind": kind, "mold": "M-113", "confirmed": list(CAUTIONS[kind])}
    sheets.open_sheet(connection, press, sheet, who="ines", now_ms=NOW - DAY // 48)


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[tuple[str, FastAPI]]:
    with serving(tmp_path, _work) as found:
        yield found


def test_every_page_is_in_order_on_every_screen_in_both_themes(
    browser: Browser, plant: tuple[str, FastAPI]
) -> None:
    base, app = plant
    paths = page_paths(app)
    assert {"/", "/presses/P07", "/cases/P07/1", "/trials/P07/1", "/presses/P07/sheets/1"} <= set(paths)
    asked = {"kind": "capability", "subject": "M-113", "span": "last_30_days"}
    assert httpx.post(f"{base}/api/v1/reports", json=asked, timeout=20).json()["number"] == 1
    shutil.rmtree(PICTURES, ignore_errors=True)
    walk = Walk(browser, base, PICTURES)
    amiss = walk.over(paths)
    assert walk.visited == len(paths) * len(SCREENS) * len(THEMES)
    assert len(list(PICTURES.glob("*.jpg"))) == len(paths) * len(PICTURED)
    assert amiss == []


def test_the_walk_notices_what_it_forbids(browser: Browser, plant: tuple[str, FastAPI]) -> None:
    base, _ = plant
    walk = Walk(browser, base, None, settle_s=0.0)
    spoil = """document.addEventListener('DOMContentLoaded', () => {
      if (window.location.pathname !== '/help') return;
      const wide = document.createElement('img');
      wide.style.cssText = 'display:block;width:3000px;height:9px';
      document.querySelector('main').append(wide);
      console.error('spoilt');
      fetch('https://elsewhere.example/').catch(() => {});
    });"""
    walk.page.add_init_script(spoil)
    said = " | ".join(one.what for one in walk.over(["/help"]))
    for wanted in ("px wide", "console: spoilt", "elsewhere.example", "image-alt"):
        assert wanted in said
