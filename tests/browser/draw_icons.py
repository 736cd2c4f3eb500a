"""Draws the icons of the installed page from `web/static/icon.svg`: `python -m tests.browser.draw_icons`."""

from pathlib import Path

from playwright.sync_api import Browser

from server.settings import outside
from server.show.manifest import ICONS
from tests.chromium import chromium

#: Of an icon that may be cut to a circle, the middle part that stays: the drawing is made smaller by it.
_SAFE = 0.72
_GROUND = "#0a5f6b"


def drawing(edge: int, purpose: str) -> str:
    """A page that is nothing but the icon."""
    svg = (outside("web") / "static" / "icon.svg").read_text(encoding="utf-8")
    inner = round(edge * _SAFE) if purpose == "maskable" else edge
    ground = _GROUND if purpose == "maskable" else "transparent"
    return (
        f"<style>html,body{{margin:0;background:{ground}}}body{{width:{edge}px;height:{edge}px;display:grid;"
        f"place-items:center}}svg{{width:{inner}px;height:{inner}px}}</style>{svg}"
    )


def draw(browser: Browser, edge: int, purpose: str) -> bytes:
    """One icon as PNG."""
    page = browser.new_page(viewport={"width": edge, "height": edge})
    page.set_content(drawing(edge, purpose))
    picture = page.screenshot(omit_background=True)
    page.close()
    return picture


def place_of(file: str) -> Path:
    return outside("web") / "static" / file


def main() -> None:
    """Write every icon."""
    with chromium() as browser:
        for file, edge, purpose in ICONS:
            place_of(file).parent.mkdir(exist_ok=True)
            place_of(file).write_bytes(draw(browser, edge, purpose))


if __name__ == "__main__":
    main()
