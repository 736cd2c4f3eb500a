"""A walk over pages in one browser: what is amiss on each screen, in each theme, and pictures of them."""

import dataclasses
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]  # it has no types
from playwright.sync_api import Browser, Page, Request

Theme = Literal["light", "dark"]
SCREENS = {"desk": (1400, 900), "upright": (768, 1024), "lying": (1024, 768)}
THEMES: tuple[Theme, ...] = ("light", "dark")
#: Looks that are kept as pictures; the others are measured alone.
PICTURED = (*((screen, "light") for screen in SCREENS), ("desk", "dark"), ("lying", "dark"))
#: What axe-core calls grave enough to keep somebody from a page.
GRAVE = ("serious", "critical")
_AXE = Axe().axe_script
_RULES = "axe.run({resultTypes: ['violations']}).then((found) => found.violations)"
#: Of all rules only these depend on the theme.
_COLOURS = (
    "axe.run({resultTypes: ['violations'], runOnly: ['color-contrast', 'link-in-text-block']})"
    ".then((found) => found.violations)"
)
_READY = "document.documentElement.dataset.ready === '1'"
_WIDTH = "document.documentElement.scrollWidth"


@dataclasses.dataclass(frozen=True)
class Amiss:
    """One thing a page was caught at."""

    path: str
    screen: str
    theme: str
    what: str


class Walk:
    """Goes over pages and notes what is amiss; `pictures` is the folder its screenshots go to."""

    def __init__(self, browser: Browser, base: str, pictures: Path | None, *, settle_s: float = 4.0) -> None:
        self.base = base
        self.pictures = pictures
        self.settle_s = settle_s
        self.amiss: list[Amiss] = []
        self.visited = 0
        self._at = ("", "", "")
        self._context = browser.new_context(reduced_motion="reduce")
        self.page: Page = self._context.new_page()
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self._note(f"script failed: {error}"))
        self.page.on("request", self._asked)

    def over(self, paths: Sequence[str]) -> list[Amiss]:
        """Every path on every screen in both themes."""
        for path in paths:
            self._open(path)
            for theme in THEMES:
                self.page.emulate_media(color_scheme=theme, reduced_motion="reduce")
                for screen, (width, height) in SCREENS.items():
                    self.page.set_viewport_size({"width": width, "height": height})
                    self._at = (path, screen, theme)
                    self._look(width)
                self._rules(_RULES if theme == "light" else _COLOURS)
        self._context.close()
        return self.amiss

    def _open(self, path: str) -> None:
        self._at = (path, "desk", "light")
        self.page.emulate_media(color_scheme="light", reduced_motion="reduce")
        self.page.set_viewport_size({"width": 1400, "height": 900})
        answer = self.page.goto(self.base + path, wait_until="load")
        if answer is None or answer.status != 200:
            self._note(f"answered {answer.status if answer else 'nothing'}")
        until = time.monotonic() + 20
        while not self.page.evaluate(_READY):
            assert time.monotonic() < until, f"{path} was not ready after 20 s"
            self.page.wait_for_timeout(25)
        self.page.evaluate(_AXE)

    def _look(self, width: int) -> None:
        self.visited += 1
        until = time.monotonic() + self.settle_s
        # A chart draws itself again after the screen was turned.
        while (wide := self.page.evaluate(_WIDTH)) > width and time.monotonic() < until:
            self.page.wait_for_timeout(50)
        if wide > width:
            self._note(f"{wide} px wide on a screen of {width} px")
        if self.pictures is not None and self._at[1:] in PICTURED:
            self.pictures.mkdir(parents=True, exist_ok=True)
            path, screen, theme = self._at
            name = "".join(one if one.isalnum() else "-" for one in path).strip("-") or "plant"
            self.page.screenshot(path=self.pictures / f"{name}.{screen}.{theme}.jpg", type="jpeg", quality=60)

    def _rules(self, asked: str) -> None:
        for broken in self.page.evaluate(asked):
            if broken["impact"] in GRAVE:
                self._note(f"{broken['id']}: {_places(broken)}")

    def _said(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self._note(f"console: {message.text}")

    def _asked(self, request: Request) -> None:
        if not request.url.startswith((self.base, "data:", "blob:")):
            self._note(f"asked {request.url}")

    def _note(self, what: str) -> None:
        self.amiss.append(Amiss(*self._at, what))


def _places(broken: dict[str, Any]) -> str:
    """The first elements a rule is broken at, as their markup begins."""
    return "; ".join(node["html"][:120] for node in broken["nodes"][:3])
