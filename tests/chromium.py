"""Chromium for tests that look at pages: the one of the system, or the one playwright keeps."""

import contextlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """A headless browser; skips with the reason when there is none."""
    found = next((place for name in _NAMES if (place := shutil.which(name))), None)
    with sync_playwright() as driver:
        own = driver.chromium.executable_path
        if found is None and not Path(own).exists():
            pytest.skip("no chromium on PATH: apt-get install chromium")
        # Without its sandbox: in containers and as root it would not start.
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()
