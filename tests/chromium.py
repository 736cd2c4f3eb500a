"""Chromium for tests that look at pages: the one of the system, or the one playwright keeps."""

import contextlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")

# Without its sandbox: in containers and as root it would not start.
_ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]

# Whatever is waited for comes within a second on an idle machine; the cores are rarely idle while tests run.
PATIENCE_MS = 20_000
expect.set_options(timeout=PATIENCE_MS)


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """A headless browser; skips with the reason when there is none."""
    found = next((place for name in _NAMES if (place := shutil.which(name))), None)
    with sync_playwright() as driver:
        own = driver.chromium.executable_path
        if found is None and not Path(own).exists():
            pytest.skip("no chromium on PATH: apt-get install chromium")
        browser = driver.chromium.launch(executable_path=found, args=_ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()
