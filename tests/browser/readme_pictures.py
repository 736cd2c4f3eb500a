"""The pictures README shows, taken of the demo plant: `python -m tests.browser.readme_pictures`.

It starts a demo of its own, waits until every shot is judged, and writes each picture anew beside this file.
"""

import dataclasses
import io
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, Final

import httpx
from PIL import Image
from playwright.sync_api import Browser

from tests.chromium import chromium
from tests.processes import TLS, Served

ROOT: Final = Path(__file__).resolve().parents[2]
FOLDER: Final = Path(__file__).parent / "readme"
#: All pictures together, in bytes.
MOST: Final = 600_000
#: Until the demo is filled and judged; a busy machine takes its time.
WITHIN_S: Final = 240.0
_QUALITY: Final = 82


@dataclasses.dataclass(frozen=True)
class Picture:
    """What is shown: `says` stands for it where it cannot be seen, `path` is the page, sizes in pixels."""

    name: str
    says: str
    path: str
    width: int = 1440
    height: int = 900
    touch: bool = False
    dark: bool = False

    @property
    def file(self) -> Path:
        return FOLDER / f"{self.name}.webp"

    @property
    def line(self) -> str:
        """How README shows it."""
        return f"![{self.says}]({self.file.relative_to(ROOT).as_posix()})"


PICTURES: Final = (
    Picture("plant", "The plant: every press, the one that needs somebody first", "/"),
    Picture("press", "A press: what moved and when, why it is suspected, what to do next", "/presses/P07"),
    Picture("mold", "A mold on every press it runs on, beside the limits of its drawing", "/molds/M-127"),
    Picture(
        "alarms", "Alarms on a tablet in a dark hall: few, in words, answered with one tap", "/alarms",
        width=820, height=1100, touch=True, dark=True,
    ),
)  # fmt: skip


def judged(presses: list[dict[str, Any]]) -> bool:
    """Whether nothing of a plant waits to be judged, and something of it has been."""
    known = [one for one in presses if one["leak_likelihood"] is not None]
    return bool(known) and all(one["pending_shots"] <= 5 for one in presses)


def wait_until_judged(address: str, *, within_s: float = WITHIN_S) -> None:
    """Look every second; raises TimeoutError."""
    until = time.monotonic() + within_s
    with httpx.Client(base_url=f"{address}/api/v1", timeout=20, trust_env=False, verify=TLS) as api:
        while time.monotonic() < until:
            codes = [one["press"] for one in api.get("/presses?limit=1000").json()["items"]]
            presses = [api.get(f"/presses/{code}").json() for code in codes]
            if judged(presses) and api.get("/alarms").json()["items"]:
                return
            time.sleep(1.0)
    raise TimeoutError(f"the demo at {address} was not judged within {within_s:g} s")


def take(browser: Browser, address: str, picture: Picture) -> bytes:
    """One picture as WebP."""
    context = browser.new_context(
        viewport={"width": picture.width, "height": picture.height},
        color_scheme="dark" if picture.dark else "light",
        has_touch=picture.touch,
        reduced_motion="reduce",
    )
    page = context.new_page()
    page.goto(address + picture.path, wait_until="load")
    page.wait_for_selector("html[data-ready='1']", state="attached")
    if page.locator("[data-chart]").count():
        page.wait_for_selector("[data-chart] .main-svg", timeout=30_000)
        page.wait_for_timeout(800)
    shot = page.screenshot()
    context.close()
    out = io.BytesIO()
    Image.open(io.BytesIO(shot)).convert("RGB").save(out, "WEBP", quality=_QUALITY, method=6)
    return out.getvalue()


def main() -> int:
    """Write every picture; what they weigh is said, and too much is a failure."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        data = ("--data", str(Path(folder) / "plant"))
        demo = Served("demo", "--no-login", *data, folder=Path(folder), settings={})
        demo.start()
        try:
            wait_until_judged(demo.address)
            with chromium() as browser:
                taken = {one.file: take(browser, demo.address, one) for one in PICTURES}
        finally:
            demo.kill()
    for file, content in taken.items():
        file.write_bytes(content)
    for old in set(FOLDER.glob("*")) - set(taken):
        old.unlink()
    weight = sum(map(len, taken.values()))
    sys.stdout.write(f"{len(taken)} pictures, {weight:,} bytes, in {FOLDER.relative_to(ROOT)}\n")
    return 0 if weight <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
