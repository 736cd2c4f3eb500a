"""A startup record of year one against one of year three: molds come and go, the valve is changed between.

Everything people do goes through the pages and the API of the whole application, whose clock is moved on;
shots come in bulk, as a gateway would bring them, and are evaluated at once.
"""

import asyncio
import dataclasses
import html
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from server.app import build_app, build_objects
from server.contract import SHOT_COLUMNS
from server.ingest.batch import ReadBatch, ReadShot
from server.ingest.labels import Label
from server.settings import Settings
from server.store.engine import upgrade

CYCLE, DAY = 20_000, 86_400_000
YEAR = 365 * DAY
#: 2023-05-02T06:00:00Z
FIRST = 1_683_007_200_000
#: Weights of short shots whose scatter stays within the limit beyond doubt: 1 % apart at most.
WEIGHTS = [round(40.0 + 0.1 * (i % 5), 1) for i in range(20)]


@dataclasses.dataclass
class Years:
    """The application, the clock it reads, and the counter of the press."""

    url: str
    at_ms: int = FIRST
    counter: int = 1

    def __post_init__(self) -> None:
        settings = Settings(database_url=self.url, no_login=True, child_process=False)
        self.objects = build_objects(settings, now_ms=lambda: self.at_ms)
        self.app = build_app(self.objects, run_pipeline=False)

    def ask(self, method: str, path: str, body: Any = None, *, status: int = 200) -> Any:
        async def send() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                return await client.request(method, path, json=body, headers={"X-Ringtell": "page"})

        answer = asyncio.run(send())
        assert answer.status_code == status, answer.text
        return answer.json() if "json" in answer.headers["content-type"] else answer.text

    def page(self, path: str) -> str:
        """As a reader gets it: no tags, entities resolved, spaces single."""
        text = self.ask("GET", f"/presses/P07{path}")
        return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))

    def api(self, path: str) -> Any:
        return self.ask("GET", f"/api/v1/presses/P07{path}")

    def run(self, mold: str, shots: int, *, swept: float = 74.0, hold: float = 400.0) -> None:
        """The press makes shots after standing still for an hour, and time goes on."""
        self.at_ms += 3_600_000
        chance = np.random.default_rng(self.counter)
        label = Label("P07", mold, "PP", "S1", f'{{"hold_bar":{hold}}}')
        rows = []
        for i in range(shots):
            size = 80.0 + 0.03 * chance.standard_normal()
            given = {
                "shot_size_mm": round(size, 2),
                "cushion_mm": round(size - swept + 0.05 * chance.standard_normal(), 2),
                "peak_pressure_bar": float(round(1000 + 4 * chance.standard_normal())),
                "fill_time_s": round(1.4 + 0.005 * chance.standard_normal(), 3),
                "recovery_time_s": round(6 + 0.05 * chance.standard_normal(), 2),
                "cycle_time_s": 20.0,
            }
            values = tuple(given.get(name) for name in SHOT_COLUMNS)
            rows.append(ReadShot(i, label, self.at_ms + i * CYCLE, self.counter + i, values))
        self.at_ms += shots * CYCLE
        self.counter += shots
        self.objects.pipeline.take_in(ReadBatch(shots, rows, []), accept_unknown=True)
        self.evaluate()

    def evaluate(self) -> None:
        self.objects.pipeline.evaluate_all()


@pytest.fixture
def years(tmp_path: Path) -> Iterator[Years]:
    url = f"sqlite:///{tmp_path / 'plant.db'}"
    upgrade(url)
    made = Years(url)
    yield made
    made.objects.pipeline.close()
    made.objects.store.close()


def test_a_record_of_year_one_against_one_of_year_three(years: Years) -> None:
    # Year one: guidance where there is no record, then one that is captured, qualified and approved.
    years.run("M-A", 300)
    years.ask("PUT", "/api/v1/presses/P07/valve", {"part_number": "RV-50-3"})
    assert years.api("/baselines")["advice"]["kind"] == "capture"
    assert "How to record one" in years.page("/baselines")
    samples = [{"t_s": t / 2, "position_mm": 30.0 - 0.0005 * t} for t in range(40)]
    check = {"press": "P07", "mold": "M-A", "pressure_bar": 800, "samples": samples}
    assert years.ask("POST", "/api/v1/studies/drift-check", check)["verdict"] == "fine"
    body: dict[str, Any] = {"mold": "M-A", "setup": "S1", "last_shots": 200, "note": "first parts released"}
    draft = years.ask("POST", "/api/v1/presses/P07/baselines", body, status=201)
    assert (draft["id"], draft["state"]) == (1, "draft")
    assert "relative only" in years.page("/baselines/1").lower()
    weighed = {"press": "P07", "mold": "M-A", "weights_g": WEIGHTS, "limit_pct": 5}
    assert years.ask("POST", "/api/v1/studies/short-shot", weighed)["verdict"] == "within"
    years.ask("POST", "/api/v1/presses/P07/baselines/1/approve", {"note": "start of series"})
    years.run("M-A", 120)
    assert years.api("")["baseline"]["qualification"]["status"] == "qualified"
    assert "judged against record 1 of 2 May, qualified" in years.page("/baselines")
    report_then = years.api("/baselines/1")

    # Another mold has no record of its own; when the first one is back, its record is found by itself.
    years.run("M-B", 260, swept=61.0, hold=300.0)
    assert years.api("")["baseline"] is None
    assert "no record fits what it runs now" in years.page("/baselines")
    years.at_ms += 14 * DAY
    years.run("M-A", 120)
    assert years.api("")["baseline"]["id"] == 1
    advice = years.api("/baselines")["advice"]
    assert (advice["kind"], advice["back_after"]) == ("none", "M-B")
    assert "M-A is back with its record" in years.page("")
    assert years.api("/leak")["likelihood"] < 0.1, "the set-points of the mold between are no change of these"

    # Year three: the valve was changed meanwhile; a new record is suggested once it has settled, never made.
    years.at_ms = FIRST + 2 * YEAR
    years.ask("PUT", "/api/v1/presses/P07/valve", {"part_number": "RV-50-4", "removed_reason": "worn"})
    years.evaluate()
    years.at_ms += YEAR // 2
    years.run("M-A", 100, swept=74.08)
    assert years.api("/baselines")["advice"]["kind"] == "wait"
    years.run("M-A", 260, swept=74.08)
    advice = years.api("/baselines")["advice"]
    assert (advice["kind"], [one["kind"] for one in advice["changes"]]) == ("renew", ["valve_change"])
    assert "Capture a new startup record" in years.page("")
    assert [one["id"] for one in years.api("/baselines")["items"]] == [1]
    offered = re.search(r"data-body=\"([^\"]+)\"", years.ask("GET", "/presses/P07/baselines"))
    assert offered
    asked = json.loads(html.unescape(offered[1]))
    assert years.ask("POST", "/api/v1/presses/P07/baselines", asked, status=201)["state"] == "draft"
    assert years.api("")["baseline"]["id"] == 1, "a draft judges nothing"
    years.ask("POST", "/api/v1/presses/P07/baselines/2/approve", {"note": "new valve, weighed"})
    years.run("M-A", 60, swept=74.08)
    assert years.api("")["baseline"]["id"] == 2

    # The two stand side by side for ever, with the size of what changed between them.
    found = years.api("/baselines/compare?first=1&second=2")
    swept = next(one for one in found["signals"] if one["signal"] == "swept_mm")
    low, high = swept["difference_interval"]
    assert low < 0.08 < high < 0.12
    assert swept["effect_interval"][0] < 0.08 / 0.05 < swept["effect_interval"][1]
    assert (swept["moved"], swept["scattered"]) == (True, False)
    peak = next(one for one in found["signals"] if one["signal"] == "peak_pressure_bar")
    assert peak["moved"] is False
    page = years.page("/baselines/compare?first=1&second=2")
    assert "On P07 swept stroke has moved by +0.0" in page
    assert "Record 1 of 2 May 2023" in page
    assert "Record 1: followed by record 2" in years.page("/baselines")
    # What later checks add or take is no part of what was judged.
    report_now = years.api("/baselines/1")
    assert report_now == report_then
    assert report_now["approved_note"] == "start of series"

    # The press reports a change of its set-points by itself.
    years.run("M-A", 40, swept=74.08, hold=450.0)
    (change,) = [one for one in years.api("/setups")["changes"] if one["author"] == "the press itself"]
    assert (change["setting"], change["from"], change["to"]) == ("hold_bar", "400", "450")
    assert "hold_bar 400 → 450" in years.page("/setups")
    kinds = [one["kind"] for one in years.api("/baselines")["advice"]["changes"]]
    assert kinds == ["set_points", "setting"]
